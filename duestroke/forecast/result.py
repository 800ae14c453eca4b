"""A forecast as it is kept: quantiles at fixed levels, from which any level is answered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from duestroke.errors import BadField
from duestroke.forecast.dates import LEVELS
from duestroke.forecast.facts import State
from duestroke.times import format_time, from_micros

DEFAULT_LEVELS: Final = (0.1, 0.5, 0.9)


@dataclass(frozen=True, slots=True)
class Chance:
    """Chance, 0 to 1, that the tool has ended before a stop; `stop` is None for a stand-in."""

    stop: str | None
    at: datetime
    chance: float


@dataclass(frozen=True, slots=True)
class Interval:
    """A fixed interval of the plant: strokes left (>= 0, None where it counts days only).

    due_us: when it is reached, microseconds since 1970 at DEFAULT_LEVELS; None beyond 50 years
    or where the press never moved.
    """

    strokes_left: float | None
    due_us: tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is expected of one tool, with the basis it rests on.

    remaining: strokes left at LEVELS, None without a basis.  due_us: microseconds since 1970 at
    LEVELS, None each beyond 50 years, None where there is no rate or no basis.  rate: strokes per
    running day and its window.  basis: the contract's `basis`.  inputs, digest: what it was made
    from and its SHA-256, see `duestroke.forecast.digest`.
    """

    press: str
    position: str
    kind: str
    serial: str
    made_at: datetime
    as_of: datetime | None
    state: State
    strokes: float | None
    remaining: tuple[float, ...] | None
    due_us: tuple[int | None, ...] | None
    chances: tuple[Chance, ...]
    rate: tuple[float, datetime, datetime] | None
    interval: Interval | None
    basis: Mapping[str, object]
    inputs: Mapping[str, object]
    digest: str


def check_levels(levels: Sequence[float]) -> tuple[float, ...]:
    """Levels in order, each once. Raises BadField for one outside (0, 1)."""
    for level in levels:
        if not 0 < level < 1:
            raise BadField("levels", level, "numbers between 0 and 1, both excluded")
    return tuple(sorted(set(levels)))


def level_key(level: float) -> str:
    """A level as a key: the number in shortest form."""
    return np.format_float_positional(level, trim="-")


def remaining_at(forecast: Forecast, levels: Sequence[float]) -> list[float | None]:
    """Strokes left at any levels in (0, 1); between kept levels interpolated, never falling.

    Below the first kept level it goes to zero; above the last it stays.
    """
    if forecast.remaining is None:
        return [None for _ in levels]
    kept = [0.0, *forecast.remaining]
    return [float(value) for value in np.interp(levels, [0.0, *LEVELS], kept)]


def due_at(forecast: Forecast, levels: Sequence[float]) -> list[datetime | None]:
    """Due times at any levels in (0, 1), never before the forecast was made."""
    if forecast.due_us is None:
        return [None for _ in levels]
    known = np.array([np.nan if at is None else float(at) for at in forecast.due_us])
    first = min(_micros(forecast.made_at), np.inf if np.isnan(known[0]) else known[0])
    times = np.interp(levels, [0.0, *LEVELS], [first, *known])
    return [None if np.isnan(at) else from_micros(round(float(at))) for at in times]


def _micros(at: datetime) -> float:
    return at.timestamp() * 1e6


def answer(forecast: Forecast, levels: Sequence[float] = DEFAULT_LEVELS) -> dict[str, object]:
    """The contract's **Forecast** as plain JSON content, at the levels asked.

    Raises BadField for a level outside (0, 1).
    """
    asked = check_levels(levels)
    keys = [level_key(level) for level in asked]
    remaining = remaining_at(forecast, asked)
    due = [None if at is None else format_time(at) for at in due_at(forecast, asked)]
    return {
        "press": forecast.press,
        "position": forecast.position,
        "serial": forecast.serial,
        "state": forecast.state,
        "strokes": forecast.strokes,
        "remaining_strokes": dict(zip(keys, remaining, strict=True)),
        "due": dict(zip(keys, due, strict=True)),
        "chance_before": [
            {"stop": each.stop, "at": format_time(each.at), "chance": each.chance}
            for each in forecast.chances
        ],
        "rate": _rate(forecast),
        "interval": _interval(forecast.interval),
        "basis": dict(forecast.basis),
    }


def _rate(forecast: Forecast) -> dict[str, object] | None:
    if forecast.rate is None:
        return None
    strokes, start, end = forecast.rate
    return {"strokes_per_day": strokes, "from": format_time(start), "to": format_time(end)}


def _interval(interval: Interval | None) -> dict[str, object] | None:
    if interval is None:
        return None
    due = {
        level_key(level): None if at is None else format_time(from_micros(at))
        for level, at in zip(DEFAULT_LEVELS, interval.due_us, strict=True)
    }
    return {"strokes_left": interval.strokes_left, "due": due}

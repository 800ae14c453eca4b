"""Forecasts of the tools in one press: strokes left, due times, chances before stops, state."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass, fields, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from duestroke.forecast.cautions import cautions
from duestroke.forecast.dates import LEVELS, WEIGHTS, DueDays
from duestroke.forecast.digest import digest, rate_as_content
from duestroke.forecast.facts import MODEL_VERSION, LifeBasis, PressFacts, State, ToolFacts
from duestroke.forecast.intervals import interval_of
from duestroke.forecast.result import DEFAULT_LEVELS, Chance, Forecast
from duestroke.forecast.states import Outlook, state_in_silence, state_of
from duestroke.forecast.unknown_age import remaining_at_unknown_age
from duestroke.forecast.view import View
from duestroke.inference.ahead import remaining_quantiles
from duestroke.inference.tool import ToolRecord
from duestroke.times import format_time, to_micros

Floats = NDArray[np.float64]


def forecast_press(
    press: PressFacts, tools: Sequence[tuple[ToolFacts, LifeBasis]], now: datetime
) -> list[Forecast]:
    """Forecasts of all tools in a press as things stand at `now`, in the order given.

    Pure: the same facts give the same content to the byte. Raises nothing for odd data: what
    cannot be told is said by the state and in the cautions.
    """
    return forecast_presses([(press, tools)], now)[0]


def forecast_presses(
    presses: Sequence[tuple[PressFacts, Sequence[tuple[ToolFacts, LifeBasis]]]], now: datetime
) -> list[list[Forecast]]:
    """Forecasts of all tools of many presses, by press and tool in the order given.

    A press alone gets the same bytes as among others.
    """
    return [_of_press(press, tools, now) for press, tools in presses]


def _of_press(
    press: PressFacts, tools: Sequence[tuple[ToolFacts, LifeBasis]], now: datetime
) -> list[Forecast]:
    view = View(press, now)
    based = [k for k, (_, basis) in enumerate(tools) if basis.law is not None]
    left = _strokes_left(press, [tools[k] for k in based])
    unseen = np.array([view.unseen(tools[k][0]) for k in based])
    ahead = dict(zip(based, _ahead(view, left, unseen), strict=True))
    return [_forecast(view, *pair, ahead.get(k)) for k, pair in enumerate(tools)]


@dataclass(frozen=True, slots=True)
class _Ahead:
    """One tool's future: strokes left and due times at LEVELS, chances, outlooks by scenario."""

    remaining: Floats
    due_us: tuple[int | None, ...] | None
    chances: Floats
    stood: tuple[float, tuple[float, float]]
    ran: tuple[float, tuple[float, float]]


def _strokes_left(press: PressFacts, tools: Sequence[tuple[ToolFacts, LifeBasis]]) -> Floats:
    """Strokes left at the last report, (tools, levels), growing with the level."""
    rows = []
    for tool, basis in tools:
        assert basis.law is not None  # noqa: S101 - the caller picked those with a law
        if tool.read_past_limit:
            rows.append(np.zeros(len(LEVELS)))  # found at its end: state, range and chances agree
        elif tool.strokes is None:
            rows.append(remaining_at_unknown_age(basis.law, tool.strokes_since_fit, LEVELS))
        else:
            record = _record(press, tool, tool.strokes)
            rows.append(remaining_quantiles(basis.law, [record], LEVELS)[0])
    left = np.array(rows, dtype=float).reshape(len(rows), len(LEVELS))
    left += _doubt_of_age([tool for tool, _ in tools])
    return np.maximum.accumulate(np.maximum(left, 0.0), axis=1)


def _doubt_of_age(tools: Sequence[ToolFacts]) -> Floats:
    """Strokes that each level moves by, (tools, levels), since an age is not known to the stroke.

    Low levels stand as if the tool were as old as it may be, high ones as if as young. None of it
    where the tool was found at its end.
    """
    told = [not tool.read_past_limit for tool in tools]
    hidden = np.array([tool.strokes_hidden for tool in tools]) * told
    margin = np.array([tool.age_margin for tool in tools]) * told
    return np.asarray(margin[:, None] * (2 * LEVELS - 1) - hidden[:, None] * (1 - LEVELS))


def _record(press: PressFacts, tool: ToolFacts, age: float) -> ToolRecord:
    return ToolRecord(
        age=age,
        good_at=tool.good_at,
        readings=tool.readings,
        press=press.press,
        batch=tool.batch,
        life_number=tool.life_number,
        speed_so_far=tool.speed_so_far,
        speed_now=tool.speed_now,
        rough_so_far=tool.rough_so_far,
        rough_now=tool.rough_now,
    )


def _ahead(view: View, left: Floats, unseen: Floats) -> list[_Ahead]:
    """Futures of tools with strokes `left`, of which up to `unseen` may be gone.

    The range is widened by what may have run: low levels as if it ran flat out, high ones as if
    it stood.
    """
    if not len(left):
        return []
    remaining = np.maximum(left - unseen[:, None] * (1 - LEVELS), 0.0)
    widened = _Future(view, remaining)
    stood = ran = widened
    if view.silent:
        stood = _Future(view, left)
        ran = _Future(view, np.maximum(left - unseen[:, None], 0.0))
    chances = widened.chances([stop.start for stop in view.stops])
    judged = [view.now, *view.second_and_third]
    if_stood, if_ran = stood.chances(judged), ran.chances(judged)
    due = widened.due()
    return [
        _Ahead(remaining[k], due[k], chances[k], _split(if_stood[k]), _split(if_ran[k]))
        for k in range(len(left))
    ]


def _split(chances: Floats) -> tuple[float, tuple[float, float]]:
    now, second, third = (float(chance) for chance in chances)
    return now, (second, third)


class _Future:
    """When strokes left (tools, levels) are used up; without a rate only what is past is known."""

    def __init__(self, view: View, remaining: Floats) -> None:
        self._view, self._remaining = view, remaining
        rate = view.press.rate
        self._days = None if rate is None else DueDays(remaining, rate)

    def chances(self, instants: Sequence[datetime]) -> Floats:
        """Chance of the end before instants, (tools, instants)."""
        if self._days is None:
            ended = np.asarray((self._remaining < 1) @ WEIGHTS)
            return np.repeat(ended[:, None], len(instants), axis=1)
        return self._days.chance_before(self._view.running_days(instants))

    def due(self) -> list[tuple[int | None, ...] | None]:
        """Due times at LEVELS by tool."""
        if self._days is None:
            return [None for _ in self._remaining]
        return [self._view.due_us(row) for row in self._days.quantiles]


def _forecast(view: View, tool: ToolFacts, basis: LifeBasis, ahead: _Ahead | None) -> Forecast:
    press = view.press
    inputs = _inputs(view, tool, basis)
    made = Forecast(
        press=press.press,
        position=tool.position,
        kind=tool.kind,
        serial=tool.serial,
        made_at=view.now,
        as_of=press.as_of,
        state=_state(view, tool, ahead),
        strokes=tool.strokes,
        remaining=None,
        due_us=None,
        chances=(),
        rate=_rate(press),
        interval=interval_of(view, tool, view.unseen(tool), spread=True),
        basis=_basis(view, tool, basis),
        inputs=inputs,
        digest=digest(inputs),
    )
    return made if ahead is None else _with_ahead(made, view, ahead)


def _with_ahead(made: Forecast, view: View, ahead: _Ahead) -> Forecast:
    chances = tuple(
        Chance(stop.id, stop.start, round(float(chance), 6))
        for stop, chance in zip(view.stops, ahead.chances, strict=True)
    )
    remaining = tuple(np.round(ahead.remaining, 1).tolist())
    return replace(made, remaining=remaining, due_us=ahead.due_us, chances=chances)


def _rate(press: PressFacts) -> tuple[float, datetime, datetime] | None:
    rate = press.rate
    return None if rate is None else (rate.strokes_per_day, rate.start, rate.end)


def _state(view: View, tool: ToolFacts, ahead: _Ahead | None) -> State:
    if view.press.counter_stands_since is not None:
        return "cant-tell"
    stood = _outlook(view, tool, None if ahead is None else ahead.stood, 0.0)
    if not view.silent:
        return state_of(stood)
    ran = _outlook(view, tool, None if ahead is None else ahead.ran, view.unseen(tool))
    return state_in_silence(stood, ran)


def _outlook(
    view: View,
    tool: ToolFacts,
    life: tuple[float, tuple[float, float]] | None,
    unseen: float,
) -> Outlook:
    interval = interval_of(view, tool, unseen, spread=False)
    reached = (False, False, False)
    if interval is not None:
        at = interval.due_us[DEFAULT_LEVELS.index(0.5)]
        second, third = view.second_and_third
        reached = _by(at, view.now), _before(at, second), _before(at, third)
        if interval.strokes_left == 0:
            reached = (True, True, True)
    ended, chances = (None, None) if life is None else life
    if life is None and interval is not None and not any(reached):
        # No life is asked for where the plant keeps a fixed interval and nothing else.
        ended, chances = 0.0, (0.0, 0.0)
    return Outlook(ended, chances, tool.read_past_limit, reached)


def _by(at: int | None, instant: datetime) -> bool:
    return at is not None and at <= to_micros(instant)


def _before(at: int | None, instant: datetime) -> bool:
    return at is not None and at < to_micros(instant)


def _basis(view: View, tool: ToolFacts, basis: LifeBasis) -> dict[str, object]:
    as_of = view.press.as_of
    words = cautions(view.press, tool, basis, view.silent, view.unseen(tool))
    return {
        "lives": basis.lives,
        "failures": basis.failures,
        "families": dict(basis.families or {}),
        "wear": None,
        "prior_only": basis.prior_only,
        "fit": basis.fit,
        "as_of": None if as_of is None else format_time(as_of),
        "cautions": words,
    }


def _inputs(view: View, tool: ToolFacts, basis: LifeBasis) -> Mapping[str, object]:
    """All that the forecast was made from; with the fit of that name it can be made again."""
    press = view.press
    own = {field.name: getattr(tool, field.name) for field in fields(ToolFacts)}
    return own | {
        "readings": [astuple(reading) for reading in tool.readings],
        "model_version": MODEL_VERSION,
        "now": view.now,
        "press": press.press,
        "as_of": press.as_of,
        "max_spm": press.max_spm,
        "registered": press.registered,
        "counter_stands_since": press.counter_stands_since,
        "fit": basis.fit,
        "planned_close": [basis.planned_close, basis.ends],
        "rate": rate_as_content(press.rate),
        "calendar": view.calendar_version,
    }

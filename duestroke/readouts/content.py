"""Small things that all read-outs share: plain numbers, intervals, a generator for each place."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.forecast.digest import digest
from duestroke.inference.draws import LawDraws
from duestroke.inference.place import PlacePosterior
from duestroke.inference.tool import ToolRecord

Array = NDArray[np.float64]
Content = dict[str, object]

_DIGITS: Final = 7
_TAILS: Final = (5.0, 50.0, 95.0)


def plain(value: float) -> float | None:
    """A number for an answer: seven digits, null where there is none."""
    # Adding zero turns -0.0, which a difference may leave, into 0.0.
    return float(f"{value:.{_DIGITS}g}") + 0.0 if math.isfinite(value) else None


def or_none(value: float | None) -> float | None:
    """A number for an answer that may not be known."""
    return None if value is None else plain(value)


def rows(**columns: Array | NDArray[np.int64]) -> list[Content]:
    """Aligned columns, (n,) each, as one object a row."""
    return [
        {
            name: int(value) if isinstance(value, (int, np.integer)) else plain(float(value))
            for name, value in zip(columns, row, strict=True)
        }
        for row in zip(*columns.values(), strict=True)
    ]


def interval(values: Array) -> Content:
    """Median, 5 % and 95 % point of equally likely values, (n,)."""
    low, median, high = np.percentile(values, _TAILS)
    return {"median": plain(float(median)), "low": plain(float(low)), "high": plain(float(high))}


def generator(place: PlacePosterior) -> np.random.Generator:
    """The generator of a place's read-outs: the same lives and handbook, the same numbers.

    Seeded by what went in: what came out may differ in its last digit from process to process.
    """
    lives = [(life.strokes, life.end, life.entry_strokes) for life in place.records]
    known = [place.handbook_life, place.handbook_spread, place.prior.to_dict(), lives]
    return np.random.default_rng(int(digest(known)[:16], 16))


def draws_of(place: PlacePosterior, tool: ToolRecord | None = None) -> LawDraws:
    """Laws of a new tool drawn from the posterior: at the place's reference, or of one sort."""
    seen = place.alternatives(tool or ToolRecord(0.0))
    return LawDraws.of(seen, place.handbook_life, generator(place))


def middle_of(place: PlacePosterior, speed: float | None = None) -> LawDraws:
    """Laws drawn of the middle of all presses and batches: what is open of a new tool's is not in.

    speed: m/s; None: the place's reference speed.
    """
    return LawDraws.of(place.middle(speed), place.handbook_life, generator(place))


def strokes(value: float) -> str:
    """Strokes in words: millions with three digits."""
    return f"{value / 1e6:.3g} M" if value >= 1e5 else f"{value:,.3g}"

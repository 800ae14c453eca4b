"""How the life ended of which a forecast was made: strokes left from then, as far as is known.

A life may be pieced together from several stretches: a tool pulled healthy and fitted again goes
on. It ended when it was first found at its limit, or by a pull for a failure; any other pull that
nothing followed leaves its end open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from duestroke.lives import FAILURES

Outcome = Literal["exact", "interval", "censored", "running"]
"""Seen when it came; found at a look; pulled before it came; still in."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A tool's time in one seat. Totals are those of the press.

    reason, pulled_at: None while it is in.  total: at the pull, or now.
    """

    fitted_at: datetime
    fitted_total: int
    total: int
    pulled_at: datetime | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Look:
    """One inspection. stretch: number of the one it tells of, from 0.  total: the press's then."""

    stretch: int
    at: datetime
    total: int
    is_good: bool = False
    is_worn: bool = False


@dataclass(frozen=True, slots=True)
class Ending:
    """The end of a life, seen from a forecast's `as_of`.

    left_low, left_high: the strokes left lay between, >= 0, and above the first unless it is 0;
    equal for an exact end; `left_high` None where it was still to come.  at_low, at_high: the
    same in time for the stretch that the forecast was made in: once pulled, it has no date.
    """

    outcome: Outcome
    left_low: float
    left_high: float | None
    at_low: datetime
    at_high: datetime | None


def ending(
    stretches: Sequence[Stretch],
    looks: Sequence[Look],
    first: int,
    as_of: datetime,
    total: int,
    now: datetime,
) -> Ending | None:
    """How it ended, as known at `now`.

    stretches: of one life, in order.  looks: in order of time.  first: number of the stretch that
    holds `as_of`.  total: its press's at `as_of`.  None where the tool was known to be at its
    limit by then.
    """
    life = _Life(stretches, first, total)
    good = _last_good(stretches, looks)
    worn = next((k for k in looks if k.is_worn and (good is None or k.at > good.at)), None)
    least = (0.0, as_of) if good is None else (life.left(good), max(good.at, as_of))
    if worn is not None:
        if worn.at <= as_of:
            return None
        return Ending("interval", least[0], life.left(worn), *life.dates(least[1], worn.at))
    last = stretches[-1]
    if last.pulled_at is None:
        return Ending("running", life.end, None, *life.dates(now, None))
    if last.reason not in FAILURES:
        return Ending("censored", life.end, None, *life.dates(last.pulled_at, None))
    if last.reason == "worn" and good is not None and least[0] < life.end:
        return Ending("interval", least[0], life.end, *life.dates(least[1], last.pulled_at))
    return Ending("exact", life.end, life.end, *life.dates(last.pulled_at, last.pulled_at))


def came_before(
    end: Ending, from_stop: float, to_stop: float, stop_at: datetime, out_at: datetime | None
) -> bool | None:
    """Whether the end came before a stop; None where the record does not tell.

    from_stop, to_stop: strokes of the press from `as_of` to the stop's begin and to its end: what
    is found in the stop was so before it.  stop_at: its begin.  out_at: when the tool left the
    press, if it did.
    """
    if end.left_high is not None and end.left_high <= to_stop:
        return True
    if out_at is not None and out_at < stop_at and end.left_low < from_stop:
        return None
    return False if end.left_low >= from_stop else None


def _last_good(stretches: Sequence[Stretch], looks: Sequence[Look]) -> Look | None:
    """The last look that found it good while it was in: on the bench the pull has the word."""
    good = [look for look in looks if look.is_good and _was_in(stretches, look)]
    return good[-1] if good else None


def _was_in(stretches: Sequence[Stretch], look: Look) -> bool:
    pulled = stretches[look.stretch].pulled_at
    return pulled is None or look.at < pulled


class _Life:
    """Strokes from the forecast on, along the stretches; negative before it."""

    def __init__(self, stretches: Sequence[Stretch], first: int, total: int) -> None:
        self._stretches, self._first = stretches, first
        self._begins = [0.0]
        for stretch in stretches:
            self._begins.append(self._begins[-1] + stretch.total - stretch.fitted_total)
        origin = self._begins[first] + total - stretches[first].fitted_total
        self._begins = [begin - origin for begin in self._begins]

    @property
    def end(self) -> float:
        return max(self._begins[-1], 0.0)

    def left(self, look: Look) -> float:
        """Strokes left until a look, 0 where it was before; never beyond its stretch."""
        stretch = self._stretches[look.stretch]
        inside = min(look.total, stretch.total) - stretch.fitted_total
        return max(self._begins[look.stretch] + inside, 0.0)

    def dates(self, low: datetime, high: datetime | None) -> tuple[datetime, datetime | None]:
        pulled = self._stretches[self._first].pulled_at
        is_last = self._first == len(self._stretches) - 1
        if pulled is None or is_last or (high is not None and high <= pulled):
            return low, high
        return min(low, pulled), None

"""How the life ended of which a forecast was made: strokes left from then, as far as is known.

A life may be pieced together from several stretches: a tool pulled healthy and fitted again goes
on. It ended when it was first found at its limit, or by a pull for a failure; any other pull that
nothing followed leaves its end open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final, Literal

from duestroke.lives import FAILURES

LEAST_SHARE: Final = 0.5
"""A reading below says nothing of an end that was called worn."""

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
    """One inspection. stretch: number of the one it tells of, from 0.  total: the press's then.

    share, margin: what was read, as a part of the limit, and the half-width of its 95 % range;
    None without a reading.  age: strokes since new or the last rework, None where nobody knows.
    """

    stretch: int
    at: datetime
    total: int
    is_good: bool = False
    is_worn: bool = False
    share: float | None = None
    margin: float = 0.0
    age: float | None = None

    @property
    def doubt(self) -> tuple[float, float]:
        """Strokes by which the limit may have been passed before a good look, and after a bad one.

        A gauge that may be off by its margin does not tell 0.97 of the limit from 1.03. Wear
        straight from new, at an age `a` a reading of `r` give or take `m` puts the limit at
        `a / (r + m)` to `a / (r - m)`.
        """
        if self.share is None or not self.age:
            return 0.0, 0.0
        most, least = self.share + self.margin, max(self.share - self.margin, LEAST_SHARE)
        return self.age * max(1 - 1 / max(most, 1.0), 0.0), self.age * max(1 / least - 1, 0.0)


@dataclass(frozen=True, slots=True)
class Ending:
    """The end of a life, seen from a forecast's `as_of`.

    left_low, left_high: the strokes left lay between, >= 0, and above the first unless it is 0;
    equal for an exact end; `left_high` None where it was still to come.  at_low, at_high: the
    same in time for the stretch that the forecast was made in: once pulled, it has no date.
    doubt_low, doubt_high: by how much the gauge's margin widened the two.
    """

    outcome: Outcome
    left_low: float
    left_high: float | None
    at_low: datetime
    at_high: datetime | None
    doubt_low: float = 0.0
    doubt_high: float = 0.0


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
    life = _Life(stretches, first, as_of, total)
    good = _last_good(stretches, looks)
    worn = next((k for k in looks if k.is_worn and (good is None or k.at > good.at)), None)
    if worn is not None and worn.at <= as_of:
        return None
    last = stretches[-1]
    if worn is None and last.pulled_at is None:
        return Ending("running", life.end, None, *life.dates(now, None))
    if worn is None and last.reason not in FAILURES:
        return Ending("censored", life.end, None, *life.dates(last.pulled_at or now, None))
    found = worn or _gauged_at_pull(stretches, looks)
    is_found = worn is not None or (good is not None and life.left(good) < life.end)
    if worn is None and (last.reason != "worn" or not is_found):
        return Ending("exact", life.end, life.end, *life.dates(last.pulled_at, last.pulled_at))
    return life.between(good, found)


def _gauged_at_pull(stretches: Sequence[Stretch], looks: Sequence[Look]) -> Look:
    """What was read of a tool as it came out, a look without a reading where nobody did."""
    number, last = len(stretches) - 1, stretches[-1]
    assert last.pulled_at is not None  # noqa: S101 - the caller asks of a pulled tool
    bare = Look(number, last.pulled_at, last.total)
    read = [k for k in looks if k.stretch == number and k.total >= last.total and k.share]
    return replace(read[-1], at=last.pulled_at) if read else bare


def came_before(
    end: Ending, from_stop: float, to_stop: float, stop_at: datetime, out_at: datetime | None
) -> bool | None:
    """Whether the end came before a stop; None where the record does not tell.

    from_stop, to_stop: strokes of the press from `as_of` to the stop's begin and to its end: what
    is found in the stop was so before it.  stop_at: its begin.  out_at: when the tool left the
    press, if it did.
    """
    low = end.left_low + end.doubt_low
    if end.left_high is not None and end.left_high - end.doubt_high <= to_stop:
        return True
    if out_at is not None and out_at < stop_at and low < from_stop:
        return None
    return False if low >= from_stop else None


def _last_good(stretches: Sequence[Stretch], looks: Sequence[Look]) -> Look | None:
    """The last look that found it good while it was in: on the bench the pull has the word."""
    good = [look for look in looks if look.is_good and _was_in(stretches, look)]
    return good[-1] if good else None


def _was_in(stretches: Sequence[Stretch], look: Look) -> bool:
    pulled = stretches[look.stretch].pulled_at
    return pulled is None or look.at < pulled


class _Life:
    """Strokes from the forecast on, along the stretches; negative before it."""

    def __init__(
        self, stretches: Sequence[Stretch], first: int, as_of: datetime, total: int
    ) -> None:
        self._stretches, self._first, self._as_of = stretches, first, as_of
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

    def between(self, good: Look | None, found: Look) -> Ending:
        """The end lies after the last good look and before the find, each as far as it is sure."""
        low, high = 0.0 if good is None else self.left(good), self.left(found)
        doubt_low = 0.0 if good is None else min(good.doubt[0], low)
        doubt_high = found.doubt[1]
        at_low, at_high = self._as_of, self._at(found.at, high, doubt_high)
        if good is not None and good.at > self._as_of:
            at_low = self._at(good.at, low, -doubt_low)
        dates = self.dates(at_low, at_high)
        return Ending("interval", low - doubt_low, high + doubt_high, *dates, doubt_low, doubt_high)

    def _at(self, at: datetime, left: float, more: float) -> datetime:
        """A time moved by some strokes, at the pace up to it."""
        return at + (at - self._as_of) * (more / left) if left > 0 else at

    def dates(
        self, low: datetime | None, high: datetime | None
    ) -> tuple[datetime, datetime | None]:
        pulled = self._stretches[self._first].pulled_at
        least = low or self._as_of
        is_last = self._first == len(self._stretches) - 1
        if pulled is None or is_last or (high is not None and high <= pulled):
            return least, high
        return min(least, pulled), None

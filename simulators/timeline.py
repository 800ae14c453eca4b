"""When a press runs and how many strokes it has made: whole numbers, so that nothing rounds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Micros = NDArray[np.int64]
Strokes = NDArray[np.int64]

WORK_A_STROKE: Final = 60_000_000
"""Work is rate times time in (strokes a minute) x microseconds; so much of it makes a stroke."""


@dataclass(frozen=True)
class Timeline:
    """Pieces of constant rate from `times[0]` on. Times in microseconds since 1970.

    times: shape (n,), growing.  spm: shape (n,), strokes a minute from that time on, 0 when it
    stands.  work: shape (n,), work done before that time.
    """

    times: Micros
    spm: NDArray[np.int64]
    work: NDArray[np.int64]

    def work_at(self, at: ArrayLike) -> NDArray[np.int64]:
        """Work done up to `at`; 0 before the first time."""
        at = np.asarray(at, dtype=np.int64)
        piece = np.maximum(np.searchsorted(self.times, at, side="right") - 1, 0)
        return self.work[piece] + self.spm[piece] * np.maximum(at - self.times[piece], 0)

    def strokes(self, at: ArrayLike) -> Strokes:
        """Whole strokes made since the first time, at each of `at`; same shape."""
        return np.asarray(self.work_at(at) // WORK_A_STROKE, dtype=np.int64)

    def time_of_work(self, work: int) -> int:
        """The first microsecond at which so much work is done. Raises ValueError beyond the end."""
        piece = int(np.searchsorted(self.work, work, side="left")) - 1
        if piece < 0:
            return int(self.times[0])
        rate = int(self.spm[piece])
        if rate == 0:
            raise ValueError("the press never makes so many strokes")
        return int(self.times[piece]) + -(-(work - int(self.work[piece])) // rate)

    def running(self, at: ArrayLike) -> NDArray[np.bool_]:
        """Whether the ram moves at each of `at`."""
        piece = np.searchsorted(self.times, np.asarray(at, dtype=np.int64), side="right") - 1
        return (piece >= 0) & (self.spm[np.maximum(piece, 0)] > 0)

    def running_share(self, frm: int, to: int) -> float:
        """Share of the time from `frm` to `to` in which the ram moves."""
        edges = np.clip(np.append(self.times, to), frm, to)
        return float(np.diff(edges)[self.spm > 0].sum() / (to - frm))


def merge_stands(starts: Micros, ends: Micros) -> tuple[Micros, Micros]:
    """Union of stretches of time in any order, as growing, disjoint starts and ends."""
    order = np.argsort(starts, kind="stable")
    starts, ends = starts[order], np.maximum.accumulate(ends[order])
    first = np.append(True, starts[1:] > ends[:-1])
    last = np.append(first[1:], True)
    return starts[first], ends[last]


def build(begin: int, starts: Micros, ends: Micros, rates: Sequence[tuple[int, int]]) -> Timeline:
    """A timeline that stands in the merged stretches and runs at the set rate otherwise.

    rates: (from time, strokes a minute), growing; the first holds from the start.
    """
    starts, ends = np.maximum(starts, begin), np.maximum(ends, begin)
    keep = ends > starts
    starts, ends = starts[keep], ends[keep]
    changes = np.array([max(at, begin) for at, _ in rates], dtype=np.int64)
    times = np.unique(np.concatenate([[begin], starts, ends, changes]).astype(np.int64))
    set_rate = np.array([spm for _, spm in rates], dtype=np.int64)
    spm = set_rate[np.maximum(np.searchsorted(changes, times, side="right") - 1, 0)]
    inside = np.searchsorted(starts, times, side="right") > np.searchsorted(
        ends, times, side="right"
    )
    spm = np.where(inside, 0, spm)
    work = np.concatenate([[0], np.cumsum(spm[:-1] * np.diff(times))]).astype(np.int64)
    return Timeline(times, spm, work)

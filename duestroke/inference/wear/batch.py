"""Readings of many tools as padded arrays, ages in typical lives of their place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.lives import WearReading

Array = NDArray[np.float64]
Readings = Sequence[WearReading]

FURTHEST_SHARE: Final = 25.0
"""A reading further from its fitted size than this many limits says no more than one that is."""
_OLDEST: Final = 1e4
_WIDEST_SD: Final = 100.0


@dataclass(frozen=True)
class Batch:
    """n tools with up to r readings each, in order of age; what is not there comes last.

    age: typical lives, >= 0.  share: part of the limit used up.  sd: stated, or usual at the
    place.  All (n, r), 0, 0 and 1 where there is no reading.
    least_sd: noise below which no gauge reads, part of the limit.
    there: whether there is a reading, (n, r).
    alike: whether two readings share a session, (n, r, r); true on the diagonal.
    """

    age: Array
    share: Array
    sd: Array
    there: NDArray[np.bool_]
    alike: NDArray[np.bool_]
    least_sd: float = 0.0

    @property
    def count(self) -> NDArray[np.int64]:
        """Readings of each tool, (n,)."""
        return np.asarray(self.there.sum(axis=1))

    @property
    def latest(self) -> Array:
        """1 at the latest reading of each tool, else 0, (n, r)."""
        rank = np.arange(self.age.shape[1])
        return np.where(rank == self.count[:, None] - 1, 1.0, 0.0)

    @property
    def has_sessions(self) -> bool:
        """Whether any two readings of one tool share a session."""
        return bool(self.alike.sum() > self.there.sum())

    def rows(self, wanted: slice | NDArray[np.intp]) -> Batch:
        """Some of the tools, without columns that none of them needs."""
        there = self.there[wanted]
        width = int(there.sum(axis=1).max(initial=0))
        return Batch(
            self.age[wanted, :width],
            self.share[wanted, :width],
            self.sd[wanted, :width],
            there[:, :width],
            self.alike[wanted, :width, :width],
            self.least_sd,
        )

    def without_last(self) -> Batch:
        """The same tools without the latest reading of each."""
        keep = self.there & (self.latest == 0)
        return Batch(
            np.where(keep, self.age, 0.0),
            np.where(keep, self.share, 0.0),
            np.where(keep, self.sd, 1.0),
            keep,
            self.alike & keep[:, :, None] & keep[:, None, :],
            self.least_sd,
        )


def batch_of(
    tools: Sequence[Readings], *, typical_life: float, usual_sd: float, least_sd: float = 0.0
) -> Batch:
    """Columns of the readings of each tool, sorted by age.

    typical_life: strokes, > 0.  usual_sd: taken where a reading states none, > 0.  least_sd: see
    Batch.  Both parts of the limit.
    """
    count = np.fromiter(map(len, tools), dtype=np.int64, count=len(tools))
    width = int(count.max(initial=0))
    there = np.arange(width) < count[:, None]
    ordered = [sorted(readings, key=_age) for readings in tools]
    flat = list(chain.from_iterable(ordered))
    age, share, sd = (np.full(there.shape, fill) for fill in (0.0, 0.0, 1.0))
    strokes = np.array([one.strokes for one in flat], dtype=np.float64)
    age[there] = np.minimum(strokes / typical_life, _OLDEST)
    share[there] = [one.share for one in flat]
    sd[there] = [usual_sd if one.sd is None else one.sd for one in flat]
    np.clip(share, -FURTHEST_SHARE, FURTHEST_SHARE, out=share)
    np.minimum(sd, _WIDEST_SD, out=sd)
    return Batch(age, share, sd, there, _alike(flat, there), least_sd)


def _age(reading: WearReading) -> float:
    return reading.strokes


def _alike(flat: Sequence[WearReading], there: NDArray[np.bool_]) -> NDArray[np.bool_]:
    # A reading without a session is a session of its own: a negative number of its own.
    session = np.zeros(there.shape, dtype=np.int64)
    own = iter(range(-1, -len(flat) - 1, -1))
    session[there] = [next(own) if one.session is None else abs(one.session) for one in flat]
    same = session[:, :, None] == session[:, None, :]
    return np.asarray(same & there[:, :, None] & there[:, None, :])

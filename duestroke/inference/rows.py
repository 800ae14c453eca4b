"""Lives as weights on a lattice of log life, and their likelihood under any law from there.

Every contribution is a sum over the lattice: of the law's log density where an end was seen, of its
log survival where a life was censored or entered late, and of the law itself where the life lies
in a range or where readings say how likely each life is. The last need a logarithm of their own
for each life; the others can be summed over lives first.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from duestroke.inference.families import Family
from duestroke.inference.lattice import Axis, interpolation, shares, shifted_copies
from duestroke.inference.observations import CENSORED, EXACT, INTERVAL, UNSEEN
from duestroke.inference.relative import Readings, Told

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_LEAST: Final = -80.0
"""A life is never rarer than this log chance: no single one rules a place."""
_LEAST_AT_ENTRY: Final = -30.0
_AT_ONCE: Final = 4_000_000


@dataclass(frozen=True)
class Pairs:
    """Two ages of each of r lives as weights on log survival, (r, k) each; `open_low` is age 0."""

    of: Index
    low: csr_array
    high: csr_array
    open_low: NDArray[np.bool_]

    def log_survivals(self, copies: Array, some: slice) -> tuple[Array, Array]:
        """At the lower and at the upper age, (some, s * m); the upper never above the lower."""
        low = np.asarray(self.low[some] @ copies)
        low[self.open_low[some]] = 0.0
        low = np.minimum(low, 0.0)
        high: Array = np.minimum(self.high[some] @ copies, low)
        return low, high


@dataclass(frozen=True)
class Rows:
    """Weights of n lives on an axis of k log lives.

    exact, survived, entered: (n, k), on log density, log survival and log survival at entry.
    found: ends between two ages.  unseen: tools that may be worn since the lower age.
    doubtful: the same at entry, divided by.
    read: (r, k + 2), on the law itself with the chance of all shorter lives in front and of all
    longer ones behind, for the lives `read_of`.  q: share of ends that only an inspection shows.
    """

    axis: Axis
    exact: csr_array
    survived: csr_array
    entered: csr_array
    found: Pairs
    unseen: Pairs
    doubtful: Pairs
    read_of: Index
    read: Array
    q: float

    def log_likelihood(self, family: Family, m: Axis, s: Array, gather: csr_array) -> Array:
        """Sums over lives by `gather` (c, n) at all points, (c, s, m); `m` has the rows' step."""
        table = _Table.build(family, self.axis, m, s)
        lasting = _copies(table.log_survival, self.axis, m)
        out: Array = np.asarray((gather @ self.survived) @ lasting)
        out -= (gather @ self.entered) @ np.maximum(lasting, _LEAST_AT_ENTRY)
        if self.exact.nnz:
            out += (gather @ self.exact) @ _copies(table.log_density, self.axis, m)
        out += _pair_sums(self.found, lasting, gather, _between, _LEAST)
        mixed = partial(_mixed, share=self.q)
        out += _pair_sums(self.unseen, lasting, gather, mixed, _LEAST)
        out -= _pair_sums(self.doubtful, lasting, gather, mixed, _LEAST_AT_ENTRY)
        if self.read_of.size:
            out += _read_sums(self.read, self.read_of, table.law(self.axis, m), gather)
        return out.reshape(-1, s.size, m.size)


def rows_on(told: Told, axis: Axis) -> Rows:
    """The weights of all lives on an axis, which covers their ages."""
    seen, hard = told.shares, told.used.copy()
    if told.readings is not None:
        hard[told.readings.of] = False
    at = _LogAges.of(told)
    sure = told.used & (seen.entry > 0) & (seen.entry_low == seen.entry)
    doubtful = told.used & (seen.entry_low < seen.entry)
    read = told.readings
    return Rows(
        axis,
        _at(axis, at.high, hard & (seen.code == EXACT)),
        _at(axis, at.high, hard & (seen.code == CENSORED)),
        _at(axis, at.entry, sure),
        _pairs(axis, at.low, at.high, hard & (seen.code == INTERVAL)),
        _pairs(axis, at.low, at.high, hard & (seen.code == UNSEEN)),
        _pairs(axis, at.entry_low, at.entry, doubtful),
        np.zeros(0, dtype=np.intp) if read is None else read.of,
        np.zeros((0, axis.size + 2)) if read is None else _as_law_weights(read, axis),
        told.q,
    )


@dataclass(frozen=True)
class _LogAges:
    low: Array
    high: Array
    entry_low: Array
    entry: Array

    @staticmethod
    def of(told: Told) -> _LogAges:
        seen = told.shares
        with np.errstate(divide="ignore"):  # age 0 is -inf on purpose
            columns = [
                np.log(column) + told.shift
                for column in (seen.low, seen.high, seen.entry_low, seen.entry)
            ]
        return _LogAges(*columns)


@dataclass(frozen=True)
class _Table:
    """A family at every difference of a log life and a log median, (k + m - 1, s)."""

    log_density: Array
    log_survival: Array

    @staticmethod
    def build(family: Family, x: Axis, m: Axis, s: Array) -> _Table:
        u = Axis(x.low - m.high, x.step, x.size + m.size - 1).points[:, None]
        return _Table(
            np.maximum(family.log_density(u, s), _LEAST),
            np.maximum(family.log_survival(u, s), _LEAST),
        )

    def law(self, x: Axis, m: Axis) -> Array:
        """(k + 2, s * m): chance of all shorter lives, density on the axis, chance of longer."""
        density = _copies(np.exp(self.log_density), x, m)
        ends = np.stack([self.log_survival[: m.size], self.log_survival[-m.size :]])
        ends = ends[:, ::-1].transpose(0, 2, 1).reshape(2, -1)
        return np.concatenate([-np.expm1(ends[:1]), density, np.exp(ends[1:])])


def _copies(table: Array, x: Axis, m: Axis) -> Array:
    return shifted_copies(table, m.size).reshape(x.size, -1)


def _pair_sums(
    pairs: Pairs,
    copies: Array,
    gather: csr_array,
    term: Callable[[Array, Array], Array],
    least: float,
) -> Array:
    """Logs of what pairs of survivals say, gathered over lives, (c, s * m)."""
    out = np.zeros((gather.shape[0], copies.shape[1]))
    for some in _slices(pairs.of.size, copies.shape[1]):
        value = np.maximum(term(*pairs.log_survivals(copies, some)), least)
        out += gather[:, pairs.of[some]] @ value
    return out


def _read_sums(rows: Array, of: Index, law: Array, gather: csr_array) -> Array:
    out = np.zeros((gather.shape[0], law.shape[1]))
    for some in _slices(of.size, law.shape[1]):
        value = np.maximum(rows[some] @ law, math.exp(_LEAST))
        out += gather[:, of[some]] @ np.log(value, out=value)
    return out


def _slices(count: int, width: int) -> Iterator[slice]:
    step = max(1, _AT_ONCE // width)
    for first in range(0, count, step):
        yield slice(first, first + step)


def _between(at_low: Array, at_high: Array) -> Array:
    """log(S(low) - S(high)) from the two logs."""
    with np.errstate(divide="ignore"):
        return np.asarray(at_low + np.log(-np.expm1(at_high - at_low)))


def _mixed(at_low: Array, at_high: Array, share: float) -> Array:
    """log(share S(low) + (1 - share) S(high)) from the two logs."""
    with np.errstate(divide="ignore"):
        return np.asarray(at_low + np.log(share + (1 - share) * np.exp(at_high - at_low)))


def _at(axis: Axis, x: Array, where: NDArray[np.bool_]) -> csr_array:
    """Interpolation weights of those rows, others empty, (n, k)."""
    rows = np.flatnonzero(where)
    some = csr_array(interpolation(axis, x[rows]))
    pick = csr_array((np.ones(rows.size), (rows, np.arange(rows.size))), (x.size, rows.size))
    return pick @ some


def _pairs(axis: Axis, low: Array, high: Array, where: NDArray[np.bool_]) -> Pairs:
    of = np.flatnonzero(where)
    is_open = np.isneginf(low[of])
    at_low = np.where(is_open, axis.low, low[of])
    return Pairs(
        of,
        csr_array(interpolation(axis, at_low)),
        csr_array(interpolation(axis, high[of])),
        is_open,
    )


def _as_law_weights(readings: Readings, axis: Axis) -> Array:
    inside = (readings.mass * readings.axis.step) @ shares(axis, readings.axis.points)
    return np.column_stack([readings.mass[:, 0], inside, readings.mass[:, -1]])


def everyone(count: int) -> csr_array:
    """The gathering of all lives into one sum, (1, n)."""
    return csr_array(np.ones((1, count)))


def gathered(groups: int, of: Index, lives: Index, weight: Array, count: int) -> csr_array:
    """Gathering with weights: row `of` takes `weight` of the life in `lives`, (groups, n)."""
    return csr_array((weight, (of, lives)), shape=(groups, count))


def covering(told: Sequence[Told], m: Axis) -> Axis:
    """The axis of log lives that covers all ages, and the medians with room, at the step of `m`."""
    spans = np.array([one.span() for one in told])
    low, high = min(spans[:, 0].min(), m.low), max(spans[:, 1].max(), m.high)
    for one in told:
        if one.readings is not None:
            low, high = min(low, one.readings.axis.low), max(high, one.readings.axis.high)
    return Axis.over(low - 3 * m.step, high + 3 * m.step, m.step)

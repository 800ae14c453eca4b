"""One batch or press against the others: by how much its median differs, and what would show it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from duestroke.inference.lattice import Axis, interpolation
from duestroke.inference.locate import LogPrior
from duestroke.inference.pooled import Pooled, PooledFamily
from duestroke.inference.pooling import TAUS, Grouping, shift_density, tau_masses
from duestroke.inference.posterior import Interval

Array = NDArray[np.float64]

RATIOS: Final = (1.25, 1.5)
_REACH: Final = 1.2
_STEPS: Final = (0.005, 0.02)
_DEPTH: Final = 14.0
_LEAST_FAMILY: Final = 0.05
_MOST_NEEDED: Final = 500


@dataclass(frozen=True)
class Compared:
    """A group against the others.

    lives, failures: its own.  ratio: its median life over that of the others, with the 5 and 95 %
    points.  differs: whether that interval leaves out 1.
    needed: for each true ratio, failures (or tools with telling wear readings) of its own at which
    the interval would be expected to leave out 1, the others being as they are; None: not with 500.
    """

    label: str
    lives: int
    failures: int
    ratio: Interval
    differs: bool
    needed: dict[float, int | None]


def compare(
    pooled: Pooled, kind: Grouping, failed: NDArray[np.bool_], log_prior: LogPrior, scale: float
) -> tuple[Compared, ...]:
    """All groups of a kind, each against the rest taken as one population.

    The group's own shift of log life, if it has one, has the prior that the groups themselves
    suggest: Student t, its scale weighed by what all groups say. That most groups have none is left
    to the forecasts: here the question is how far this one may be off. At the mean of the
    exponents; families of 5 % or more.
    failed: of each life, (n,).  scale: prior scale of the scale of the shifts.
    """
    groups = pooled.groups.get(kind)
    if groups is None:
        return ()
    families = [one for one in pooled.families if one.mass >= _LEAST_FAMILY] or [
        max(pooled.families, key=lambda one: one.mass)
    ]
    tables = [_Sides.of(pooled, one, kind, log_prior) for one in families]
    taus = _tau_weights(pooled, kind, scale)
    out = []
    for row, label in enumerate(groups.labels):
        own = groups.of == row
        shift = _Shift.of(tables, row, taus)
        interval = shift.interval()
        out.append(
            Compared(
                label,
                int(np.count_nonzero(own)),
                int(np.count_nonzero(own & failed)),
                Interval(*np.exp([interval.median, interval.low, interval.high]).tolist()),
                interval.low > 0 or interval.high < 0,
                {ratio: shift.needed(float(np.log(ratio))) for ratio in RATIOS},
            )
        )
    return tuple(out)


def _tau_weights(pooled: Pooled, kind: Grouping, scale: float) -> Array:
    """What the groups say of the scale by which they differ, where all of them do."""
    found = np.zeros(len(TAUS))
    for one in pooled.slices():
        if one.kind == kind and one.scale.share == 1:
            found[TAUS.index(one.scale.tau)] += one.total
    return found / found.sum() if found.sum() > 0 else tau_masses(scale)


@dataclass(frozen=True)
class _Sides:
    """A family's log likelihoods on the lattice: of each group (g, s, m), of all with the prior."""

    weight: float
    m: Axis
    s: Array
    groups: Array
    everyone: Array

    @staticmethod
    def of(pooled: Pooled, family: PooledFamily, kind: Grouping, log_prior: LogPrior) -> _Sides:
        sums, m = family.sums[kind], pooled.m
        g = pooled.rate.centre - pooled.rate_base
        labels, values = sums.by_group(g, pooled.number.centre, m.points)
        prior = log_prior(m.points, family.s[:, None])
        return _Sides(family.mass, m, family.s, values[labels >= 0], values.sum(axis=0) + prior)


@dataclass(frozen=True)
class _Shift:
    """Posterior of a group's shift of log life on even points (d,), and what it rests on.

    rest_variance: of the others' log median.  unit_variance: of one failure's log life.
    """

    points: Array
    mass: Array
    prior: Array
    rest_variance: float
    unit_variance: float

    @staticmethod
    def of(tables: list[_Sides], row: int, taus: Array) -> _Shift:
        parts = [_of_family(table, row, taus) for table in tables]
        weight = np.array([table.weight for table in tables])
        weight = weight / weight.sum()
        points = parts[int(np.argmax(weight))].points
        mass = sum(
            w * np.interp(points, part.points, part.mass / (part.points[1] - part.points[0]))
            for w, part in zip(weight, parts, strict=True)
        )
        main = parts[int(np.argmax(weight))]
        return replace(main, mass=np.asarray(mass) / np.sum(mass))

    def interval(self) -> Interval:
        reached = np.cumsum(self.mass) - self.mass / 2
        low, median, high = np.interp([0.05, 0.5, 0.95], reached, self.points).tolist()
        return Interval(median, low, high)

    def needed(self, true: float) -> int | None:
        """Fewest failures at which an estimate at the truth would leave out no shift."""
        count = np.arange(1, _MOST_NEEDED + 1)
        variance = self.unit_variance / count + self.rest_variance
        weight = self.prior * np.exp(-0.5 * (true - self.points) ** 2 / variance[:, None])
        below = (weight * (self.points < 0)).sum(axis=1) + 0.5 * weight[:, self.points == 0].sum(
            axis=1
        )
        enough = np.flatnonzero(below < 0.05 * weight.sum(axis=1))
        return int(count[enough[0]]) if enough.size else None


def _of_family(table: _Sides, row: int, taus: Array) -> _Shift:
    own = table.groups[row]
    rest = table.everyone - own
    near = np.flatnonzero(rest.max(axis=0) > rest.max() - _DEPTH)
    low = float(table.m.points[max(near[0] - 1, 0)])
    high = float(table.m.points[min(near[-1] + 1, table.m.size - 1)])
    share = np.exp(rest - rest.max())
    step = float(np.clip(_sd(table.m.points, share.sum(axis=0)) / 1.5, *_STEPS))
    count = int(np.ceil(_REACH / step))
    points: Array = step * np.arange(-count, count + 1, dtype=np.float64)
    at = np.arange(low, high + step, step)
    others = rest @ interpolation(table.m, at).T
    weight = np.exp(others - others.max())
    wide = np.arange(at.size + 2 * count) * step + at[0] - step * count
    mine = own @ interpolation(table.m, wide).T
    likely = np.exp(mine - mine.max())
    windows = sliding_window_view(likely, at.size, axis=1)
    value = np.einsum("sp,sdp->d", weight, windows)
    prior = sum(w * shift_density(points, tau) / tau for w, tau in zip(taus, TAUS, strict=True))
    mass = np.asarray(prior) * value
    middle = _sd(at, weight.sum(axis=0))
    spreads = float(share.sum(axis=1) @ table.s**2 / share.sum())
    return _Shift(points, mass / mass.sum(), np.asarray(prior), middle**2, spreads)


def _sd(points: Array, mass: Array) -> float:
    share = mass / mass.sum()
    mean = float(share @ points)
    return float(np.sqrt(share @ (points - mean) ** 2))

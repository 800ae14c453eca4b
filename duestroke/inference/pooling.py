"""Groups of lives: each batch, or each press, may have a median of its own.

With `E_b(m', s)` the likelihood of a group's lives at its own log median `m'`, and the own medians
Student-t about the population's `m` with scale `tau`, the group says `M_b(m, s)` of the population,
the sum of `K(m', m) E_b(m', s)`: a matrix product on an even lattice. Each group's own median then
has weight `E_b(m', s) sum K(m', m) post(m, s) / M_b(m, s)`, in which its own lives count once.
Source: partial pooling with the group effect integrated out, Gelman and others, Bayesian Data
Analysis, chapter 5; the lattice in place of a sampler is ours.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from duestroke.inference.lattice import Axis, interpolation, shares
from duestroke.inference.rows import gathered

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Grouping = Literal["none", "batch", "press"]

TAUS: Final = (0.1, 0.2, 0.32, 0.5)
_ODD_TAU: Final = 0.32
_ODD_SHARE: Final = 0.15
_ODD_CHANCE: Final = 0.4
_DEGREES: Final = 4.0
_KNOTS: Final = 0.01
_MOST_KNOTS: Final = 24
_AT_ONCE: Final = 4_000_000
_TINY: Final = 1e-280


@dataclass(frozen=True)
class Scale:
    """How the groups differ: a share of them by shifts of scale `tau`, the others not at all."""

    tau: float
    share: float = 1.0

    @property
    def variance(self) -> float:
        """Of a group's shift of log life."""
        return self.share * self.tau**2 * _DEGREES / (_DEGREES - 2)


NO_GROUPS: Final = Scale(0.0, 0.0)
ALL_DIFFER: Final = tuple(Scale(tau) for tau in TAUS)
A_FEW_DIFFER: Final = Scale(_ODD_TAU, _ODD_SHARE)
"""Most groups are even and a few are odd: their evenness must not draw the odd ones in."""
SCALES: Final = (*ALL_DIFFER, A_FEW_DIFFER)


@dataclass(frozen=True)
class Groups:
    """Lives by batch or by press: `of` (n,) is each life's place in `labels`, -1 for none known."""

    kind: Grouping
    labels: tuple[str, ...]
    of: Index

    @cached_property
    def place(self) -> dict[str, int]:
        """Place of each label among the labels."""
        return {label: k for k, label in enumerate(self.labels)}

    @staticmethod
    def by(kind: Grouping, names: Sequence[str | None], used: NDArray[np.bool_]) -> Groups:
        """Groups of the lives that say anything."""
        labels = sorted({name for name, ok in zip(names, used, strict=True) if ok and name})
        place = {label: k for k, label in enumerate(labels)}
        of = np.array([place.get(name or "", -1) for name in names], dtype=np.intp)
        return Groups(kind, tuple(labels), of)

    @staticmethod
    def everyone(count: int) -> Groups:
        """All lives in one, without shifts."""
        return Groups("none", (), np.full(count, -1, dtype=np.intp))


@dataclass(frozen=True)
class Cells:
    """Lives of one group with one covariate, summed: they shift together.

    group: (c,), rising; -1 first.  z, number: covariates of the cell.  gather: (c, n).
    """

    group: Index
    z: Array
    number: Array
    gather: csr_array

    @staticmethod
    def of(groups: Groups, z: Array, number: Array, used: NDArray[np.bool_]) -> Cells:
        """Covariates go to the two knots next to them, a hundredth apart or two dozen in all."""
        step = max(_KNOTS, float(np.ptp(z)) / _MOST_KNOTS) if z.size else _KNOTS
        below = np.floor(z / step)
        part = z / step - below
        lives = np.tile(np.flatnonzero(used), 2)
        upper = np.repeat([0, 1], np.count_nonzero(used))
        weight = np.where(upper == 1, part[lives], 1 - part[lives])
        lives, upper, weight = lives[weight > 0], upper[weight > 0], weight[weight > 0]
        keys = np.column_stack([groups.of[lives], below[lives] + upper, number[lives]])
        if not lives.size:
            keys = np.array([[-1.0, 0.0, 0.0]])
        cells, place = np.unique(keys, axis=0, return_inverse=True)
        place = place.ravel()[: lives.size]
        gather = gathered(len(cells), place, lives, weight, z.size)
        return Cells(cells[:, 0].astype(np.intp), cells[:, 1] * step, cells[:, 2], gather)


@dataclass(frozen=True)
class Sums:
    """Log likelihood of cells on a lattice, (c, s, m), and how it moves with the exponents."""

    cells: Cells
    m: Axis
    values: Array

    def by_group(self, g: float, c: float, at: Array) -> tuple[Index, Array]:
        """Groups (rising) and their log likelihoods (groups, s, at) with shifts `g z + c number`.

        at: log medians, (a,).
        """
        shift = g * self.cells.z + c * self.cells.number
        distinct, place = np.unique(shift, return_inverse=True)
        out = np.empty((*self.values.shape[:2], at.size))
        moves = interpolation(self.m, (at - distinct[:, None]).ravel())
        for k, move in enumerate(moves.reshape(distinct.size, at.size, self.m.size)):
            rows = place == k
            out[rows] = self.values[rows] @ move.T
        groups, starts = np.unique(self.cells.group, return_index=True)
        return groups, np.add.reduceat(out, starts, axis=0)

    def total(self, g: float, c: float, at: Array) -> Array:
        """Log likelihood of all lives at one median, (s, at)."""
        return np.asarray(self.by_group(g, c, at)[1].sum(axis=0))


@dataclass(frozen=True)
class GroupLikelihood:
    """Likelihoods of groups on the lattice of own medians, scaled to 1 for each group and spread.

    loose: log likelihood of the lives of no group, (s, p) at the population's medians.
    labels: index of each group, (g,).  value: (g, s, m).  log_scale: (g, s).
    """

    loose: Array
    labels: Index
    value: Array
    log_scale: Array

    @staticmethod
    def of(sums: Sums, g: float, c: float, population: Array) -> GroupLikelihood:
        """Own medians lie on the lattice of the sums."""
        labels, values = sums.by_group(g, c, sums.m.points)
        own = labels >= 0
        loose = np.zeros((values.shape[1], population.size))
        if not own.all():
            loose = values[0] @ interpolation(sums.m, population).T
        top = values[own].max(axis=2)
        return GroupLikelihood(loose, labels[own], np.exp(values[own] - top[:, :, None]), top)

    def log_population(self, kernel: Array) -> Array:
        """Log likelihood of a population's median and spread, (s, p), own medians integrated."""
        total = self.loose + self.log_scale.sum(axis=0)[:, None]
        for said in self._said(kernel):
            total = total + np.log(said).sum(axis=0)
        return np.asarray(total)

    def own_weights(self, row: int, kernel: Array, posterior: Array) -> Array:
        """Weight of a group's own median, (s, m), summing to the posterior's mass, (s, p)."""
        value = self.value[row]
        rest = posterior / np.maximum(value @ kernel, _TINY)
        return np.asarray(value * (rest @ kernel.T))

    def _said(self, kernel: Array) -> Iterator[Array]:
        groups, spreads, size = self.value.shape
        step = max(1, _AT_ONCE // (spreads * kernel.shape[1]))
        for first in range(0, groups, step):
            said = self.value[first : first + step].reshape(-1, size) @ kernel
            yield np.maximum(said.reshape(-1, spreads, kernel.shape[1]), _TINY)


def shift_density(shift: Array, tau: float) -> Array:
    """Density of a group's shift of log life up to a constant: Student t, 4 degrees, scale `tau`.

    Heavy tails let one odd batch among many even ones be seen for what it is; under a normal law
    the even ones would hold it back.
    """
    return np.asarray((1 + (shift / tau) ** 2 / _DEGREES) ** (-(_DEGREES + 1) / 2))


def kernel(own: Axis, population: Array, scale: Scale) -> Array:
    """Chance of each own median about each of the population's, (m, p); columns sum to 1."""
    value = shift_density(own.points[:, None] - population, scale.tau)
    between = np.asarray(value / np.maximum(value.sum(axis=0), _TINY))
    if scale.share == 1:
        return between
    return scale.share * between + (1 - scale.share) * shares(own, population).T


def scale_masses(scale: float) -> Array:
    """Prior on SCALES: that all groups differ, by half-normal masses, or only a few odd ones."""
    return np.append((1 - _ODD_CHANCE) * tau_masses(scale), _ODD_CHANCE)


def tau_masses(scale: float) -> Array:
    """Half-normal prior on the points of `tau`, each for the range up to half way to the next."""
    taus = np.array(TAUS)
    edges = np.concatenate([[0.0], (taus[1:] + taus[:-1]) / 2, [2 * taus[-1]]])
    density = np.exp(-0.5 * (taus / scale) ** 2) * np.diff(edges)
    return np.asarray(density / density.sum())

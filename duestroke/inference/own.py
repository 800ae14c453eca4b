"""The law of one tool's own group, speed and number: all that is open gathered on one lattice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.lattice import Axis, shares
from duestroke.inference.nodes import Nodes
from duestroke.inference.pooled import Pooled, PooledFamily, Slice
from duestroke.inference.pooling import Grouping, kernel

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

_LEAST_MASS: Final = 3e-5
_MOST_OUTSIDE: Final = 1e-3
_FAIR_U: Final = 0.25
_FAIR_M: Final = 0.5
_FAIR_S: Final = 0.9
_MARGIN: Final = 1.0
_LEAST_SHIFT: Final = 1e-9


@dataclass(frozen=True)
class Conditions:
    """What of a tool counts: its groups, log speed over the reference, reworks before."""

    batch: str | None = None
    press: str | None = None
    z: float = 0.0
    number: int = 0

    def label(self, kind: Grouping) -> str | None:
        """Its own group of a kind."""
        return {"none": None, "batch": self.batch, "press": self.press}[kind]


@dataclass(frozen=True)
class Support:
    """Points that the laws of all tools of a place share, so that tables of them can be shared.

    m, log_s: the thinned lattice.  kept: (s, m) for each family, where weight may lie.
    """

    m: Axis
    log_s: Axis
    kept: tuple[Flags, ...]


@dataclass
class OwnLaws:
    """Nodes for the tools of a place, the pieces of each group made once."""

    pooled: Pooled
    _pieces: dict[tuple[Grouping, str | None, float, int], tuple[Array, ...]] = field(
        default_factory=dict
    )

    def nodes(self, at: Conditions) -> tuple[Nodes, ...]:
        """Law of a tool under these conditions, masses summing to 1.

        Tools of about one speed and number have their nodes at the same points. Points that leave
        out more than 1e-3 of a tool's mass are not used for it.
        """
        masses = self._masses(at)
        few = [self._thin(mass, self.support) for mass in masses]
        inside = sum(float(m[k].sum()) for m, k in zip(few, self.support.kept, strict=True))
        if inside < 1 - _MOST_OUTSIDE:
            support = self._support_of(masses)
            few = [self._thin(mass, support) for mass in masses]
        else:
            support = self.support
        return self._as_nodes(few, support, self._offset(at))

    def population(self) -> tuple[Nodes, ...]:
        """Law of the middle of all groups at reference conditions, not of one tool."""
        masses = tuple(
            np.sum([one.mass @ shares(self.axis, one.p) for one in family.slices], axis=0)
            for family in self.pooled.families
        )
        support = self._support_of(masses)
        return self._as_nodes([self._thin(mass, support) for mass in masses], support, 0.0)

    @cached_property
    def axis(self) -> Axis:
        """Log medians on which masses are gathered."""
        m = self.pooled.m
        more = int(np.ceil(_MARGIN / m.step))
        return Axis(m.low - more * m.step, m.step, m.size + 2 * more)

    @cached_property
    def support(self) -> Support:
        """From a tool of no known group at reference conditions."""
        return self._support_of(self._masses(Conditions()))

    def _support_of(self, masses: Sequence[Array]) -> Support:
        total = np.sum(masses, axis=0)
        s = self.pooled.families[0].s
        log_s, sd = np.log(s), _sd(total.sum(axis=0)) * self.axis.step
        usual = float(np.exp(log_s @ total.sum(axis=1)))
        by_m = max(1, int(min(_FAIR_M * sd, _FAIR_U * usual) / self.axis.step))
        by_s = max(1, int(_FAIR_S * _sd(total.sum(axis=1))))
        m = Axis(self.axis.low, by_m * self.axis.step, -(-(self.axis.size - 1) // by_m) + 1)
        step = by_s * float(log_s[1] - log_s[0])
        spreads = Axis(float(log_s[0]), step, -(-(s.size - 1) // by_s) + 1)
        bare = Support(m, spreads, ())
        few = [self._thin(mass, bare) for mass in masses]
        least = _LEAST_MASS * max(float(mass.max()) for mass in few)
        return Support(m, spreads, tuple(mass > least for mass in few))

    def _thin(self, mass: Array, support: Support) -> Array:
        log_s = np.log(self.pooled.families[0].s)
        by_m = shares(support.m, self.axis.points)
        return np.asarray(shares(support.log_s, log_s).T @ mass @ by_m)

    def _as_nodes(self, few: Sequence[Array], support: Support, offset: float) -> tuple[Nodes, ...]:
        total = sum(float(m[k].sum()) for m, k in zip(few, support.kept, strict=True))
        m, s = np.meshgrid(support.m.points - offset, np.exp(support.log_s.points))
        return tuple(
            Nodes(one.family, m[kept], s[kept], mass[kept] / total)
            for one, mass, kept in zip(self.pooled.families, few, support.kept, strict=True)
            if kept.any()
        )

    def _offset(self, at: Conditions) -> float:
        """By how much the tool's points lie below those at reference: whole steps."""
        step = self.support.m.step
        return step * round(self._shift(at) / step)

    def _shift(self, at: Conditions) -> float:
        return self.pooled.rate.centre * at.z + self.pooled.number.centre * at.number

    def _masses(self, at: Conditions) -> tuple[Array, ...]:
        """Mass on the axis, (s, m) for each family; the points lie `_offset` lower."""
        pieces = [self._piece(kind, at) for kind in self.pooled.kinds]
        return tuple(
            np.sum([piece[k] for piece in pieces], axis=0) for k in range(len(self.pooled.families))
        )

    def _piece(self, kind: Grouping, at: Conditions) -> tuple[Array, ...]:
        """Mass of the slices of one kind, (s, m) for each family."""
        label = at.label(kind)
        groups = self.pooled.groups.get(kind)
        if groups is None or label not in groups.labels:
            label = None
        key = (kind, label, at.z, at.number)
        if key not in self._pieces:
            self._pieces[key] = tuple(
                self._gather(family, kind, label, at) for family in self.pooled.families
            )
        return self._pieces[key]

    def _gather(
        self, family: PooledFamily, kind: Grouping, label: str | None, at: Conditions
    ) -> Array:
        total = np.zeros((family.s.size, self.axis.size))
        shifted = self._shift(at) != 0
        back = self._offset(at) - self.pooled.number.centre * at.number if shifted else 0.0
        for one in family.slices:
            if one.kind == kind:
                mass, points = self._own(family, one, label)
                total += mass @ shares(self.axis, points - one.g * at.z + back)
        return self._with_number(total, at.number)

    def _own(self, family: PooledFamily, one: Slice, label: str | None) -> tuple[Array, Array]:
        """Mass of the tool's own median at reference conditions, (s, points), and the points."""
        if one.kind == "none":
            return one.mass, one.p
        m = self.pooled.m
        between = kernel(m, one.p, one.tau)
        if label is None:
            return one.mass @ between.T, m.points
        said = self.pooled.likelihood(family, one.kind, one)
        row = int(np.searchsorted(said.labels, self.pooled.groups[one.kind].labels.index(label)))
        return said.own_weights(row, between, one.mass), m.points

    def _with_number(self, mass: Array, number: int) -> Array:
        """Spread by what is open of the number's effect."""
        effect, axis = self.pooled.number, self.axis
        away = number - self.pooled.mean_number
        if abs(away) * effect.scale < _LEAST_SHIFT or effect.points.size < 2:
            return mass
        moved = np.zeros((axis.size, axis.size))
        for c, weight in zip(effect.points, effect.mass, strict=True):
            moved += weight * shares(axis, axis.points - (c - effect.centre) * away)
        return np.asarray(mass @ moved)


def _sd(mass: Array) -> float:
    place = np.arange(mass.size)
    share = mass / max(float(mass.sum()), 1e-300)
    middle = float(share @ place)
    return float(np.sqrt(share @ (place - middle) ** 2))

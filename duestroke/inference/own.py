"""The law of one tool's own group, speed and number: all that is open gathered on one lattice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.lattice import Axis, shares
from duestroke.inference.nodes import Nodes
from duestroke.inference.pooled import Pooled, PooledFamily, Slice
from duestroke.inference.pooling import Grouping, Scale, kernel

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
    """What of a tool counts: its groups, log speed over the reference, reworks before.

    open_sd: what is open of its log median beside that, as a standard deviation.
    widened: whether a law that knows of more such is widened by it.
    """

    batch: str | None = None
    press: str | None = None
    z: float = 0.0
    number: int = 0
    open_sd: float = 0.0
    widened: bool = True

    def label(self, kind: Grouping) -> str | None:
        """Its own group of a kind."""
        return {"none": None, "batch": self.batch, "press": self.press}[kind]


@dataclass(frozen=True)
class Support:
    """Points that the laws of all tools of a place share, so that tables of them can be shared.

    m, s: the thinned lattice.  by_m, by_s: how masses on the full one go to it.
    kept: (s, m) for each family, where weight may lie.
    """

    m: Axis
    s: Array
    by_m: Array
    by_s: Array
    kept: tuple[Flags, ...]

    def thin(self, mass: Array) -> Array:
        """Masses of the full lattice on this one."""
        return np.asarray(self.by_s @ mass @ self.by_m)


@dataclass
class OwnLaws:
    """Nodes for the tools of a place, the pieces of each group made once."""

    pooled: Pooled
    _pieces: dict[tuple[Grouping, str | None, float, int, float], tuple[Array, ...]] = field(
        default_factory=dict
    )
    _kernels: dict[tuple[Grouping, Scale], Array] = field(default_factory=dict)
    _moves: dict[tuple[bool, float, float, int], Array] = field(default_factory=dict)
    _spreads: dict[float, Array] = field(default_factory=dict)
    _laid: dict[float, list[tuple[Array, Array]]] = field(default_factory=dict)

    def nodes(self, at: Conditions) -> tuple[Nodes, ...]:
        """Law of a tool under these conditions, masses summing to 1.

        Tools of about one speed and number have their nodes at the same points. Points that leave
        out more than 1e-3 of a tool's mass are not used for it.
        """
        pieces = [self._piece(kind, at) for kind in self.pooled.kinds]
        few = _summed(pieces)
        inside = sum(float(m[k].sum()) for m, k in zip(few, self.support.kept, strict=True))
        if inside >= 1 - _MOST_OUTSIDE:
            return self._as_nodes(few, self.support, self._offset(at))
        masses = self._masses(at)
        support = self._support_of(masses)
        return self._as_nodes([support.thin(mass) for mass in masses], support, self._offset(at))

    def population(self, z: float = 0.0) -> tuple[Nodes, ...]:
        """Law of the middle of all groups, not of one tool, at a log speed over the reference."""
        mean = self.pooled.rate.centre
        masses = tuple(
            np.sum(
                [one.mass @ shares(self.axis, one.p - (one.g - mean) * z) for one in family.slices],
                axis=0,
            )
            for family in self.pooled.families
        )
        support = self._support_of(masses)
        return self._as_nodes([support.thin(mass) for mass in masses], support, mean * z)

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
        to_m, to_s = shares(m, self.axis.points), shares(spreads, log_s).T
        bare = Support(m, np.exp(spreads.points), to_m, to_s, ())
        few = [bare.thin(mass) for mass in masses]
        least = _LEAST_MASS * max(float(mass.max()) for mass in few)
        return replace(bare, kept=tuple(mass > least for mass in few))

    def _as_nodes(self, few: Sequence[Array], support: Support, offset: float) -> tuple[Nodes, ...]:
        total = sum(float(m[k].sum()) for m, k in zip(few, support.kept, strict=True))
        points = self._points(support, offset)
        return tuple(
            Nodes(one.family, m, s, mass[kept] / total)
            for one, mass, kept, (m, s) in zip(
                self.pooled.families, few, support.kept, points, strict=True
            )
            if m.size
        )

    def _points(self, support: Support, offset: float) -> list[tuple[Array, Array]]:
        """Medians and spreads kept for each family; one and the same arrays for all tools."""
        if support is self.support and offset in self._laid:
            return self._laid[offset]
        m, s = np.meshgrid(support.m.points - offset, support.s)
        points = [(m[kept], s[kept]) for kept in support.kept]
        if support is self.support:
            self._laid[offset] = points
        return points

    def _offset(self, at: Conditions) -> float:
        """By how much the tool's points lie below those at reference: whole steps."""
        step = self.support.m.step
        return step * round(self._shift(at) / step)

    def _shift(self, at: Conditions) -> float:
        return self.pooled.rate.centre * at.z + self.pooled.number.centre * at.number

    def _masses(self, at: Conditions) -> tuple[Array, ...]:
        """Mass on the axis, (s, m) for each family; the points lie `_offset` lower."""
        kinds = self.pooled.kinds
        return _summed([[self._gather(f, k, at) for f in self.pooled.families] for k in kinds])

    def _piece(self, kind: Grouping, at: Conditions) -> tuple[Array, ...]:
        """Mass of the slices of one kind on the support, (s, m) for each family."""
        key = (kind, self._label(kind, at), at.z, at.number, at.open_sd)
        if key not in self._pieces:
            self._pieces[key] = tuple(
                self.support.thin(self._gather(family, kind, at)) for family in self.pooled.families
            )
        return self._pieces[key]

    def _label(self, kind: Grouping, at: Conditions) -> str | None:
        groups, label = self.pooled.groups.get(kind), at.label(kind)
        return label if groups is not None and label in groups.place else None

    def _gather(self, family: PooledFamily, kind: Grouping, at: Conditions) -> Array:
        label = self._label(kind, at)
        by_g: dict[float, Array] = {}
        for one in family.slices:
            if one.kind == kind:
                mass = self._own(family, one, label)
                by_g[one.g] = by_g[one.g] + mass if one.g in by_g else mass
        total = np.zeros((family.s.size, self.axis.size))
        points = self.pooled.m.points if kind != "none" else self._population_points(kind)
        for g, mass in by_g.items():
            total += mass @ self._to_axis(kind, points, g, at)
        return self._widened(self._with_number(total, at.number), at.open_sd)

    def _own(self, family: PooledFamily, one: Slice, label: str | None) -> Array:
        """Mass of the tool's own median at reference conditions, (s, points)."""
        if one.kind == "none":
            return one.mass
        between = self._kernel(one)
        if label is None:
            return np.asarray(one.mass @ between.T)
        said = self.pooled.likelihood(family, one.kind, one)
        row = int(np.searchsorted(said.labels, self.pooled.groups[one.kind].place[label]))
        return said.own_weights(row, between, one.mass)

    def _population_points(self, kind: Grouping) -> Array:
        return next(one.p for one in self.pooled.slices() if one.kind == kind)

    def _kernel(self, one: Slice) -> Array:
        key = (one.kind, one.scale)
        if key not in self._kernels:
            self._kernels[key] = kernel(self.pooled.m, one.p, one.scale)
        return self._kernels[key]

    def _to_axis(self, kind: Grouping, points: Array, g: float, at: Conditions) -> Array:
        """How masses at own medians go to the axis, for a tool's speed."""
        key = (kind == "none", g, at.z, at.number)
        if key not in self._moves:
            is_shifted = self._shift(at) != 0
            back = self._offset(at) if is_shifted else 0.0
            shift = back - self.pooled.number.centre * at.number - g * at.z
            self._moves[key] = shares(self.axis, points + shift)
        return self._moves[key]

    def _widened(self, mass: Array, sd: float) -> Array:
        """Spread by a normal law of that standard deviation; less than half a step is nothing."""
        if sd < self.axis.step / 2:
            return mass
        if sd not in self._spreads:
            points = self.axis.points
            near = np.exp(-0.5 * ((points[:, None] - points) / sd) ** 2)
            self._spreads[sd] = near / near.sum(axis=1, keepdims=True)
        return np.asarray(mass @ self._spreads[sd])

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


def _summed(pieces: Sequence[Sequence[Array]]) -> tuple[Array, ...]:
    """Sums over kinds, for each family."""
    return tuple(np.sum(parts, axis=0) for parts in zip(*pieces, strict=True))


def _sd(mass: Array) -> float:
    place = np.arange(mass.size)
    share = mass / max(float(mass.sum()), 1e-300)
    middle = float(share @ place)
    return float(np.sqrt(share @ (place - middle) ** 2))

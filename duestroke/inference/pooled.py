"""Posterior of one mode with groups and exponents: what was found, in slices of its lattices."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.effects import Exponents
from duestroke.inference.families import Family
from duestroke.inference.lattice import Axis
from duestroke.inference.pooling import Grouping, GroupLikelihood, Groups, Scale, Sums

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Slice:
    """Posterior mass (s, p) under one grouping, scale of its shifts and rate exponent."""

    kind: Grouping
    scale: Scale
    g: float
    p: Array
    mass: Array

    @property
    def total(self) -> float:
        """Its posterior probability."""
        return float(self.mass.sum())


@dataclass(frozen=True)
class PooledFamily:
    """One family: its lattice of own medians, its spreads, sums of lives and slices."""

    family: Family
    s: Array
    sums: Mapping[Grouping, Sums]
    slices: tuple[Slice, ...]

    @property
    def mass(self) -> float:
        """Posterior probability of the family."""
        return sum(one.total for one in self.slices)


@dataclass(frozen=True)
class Pooled:
    """What the lives say of one mode.

    rate, number: posterior of the exponents.  mean_number: of the lives, about which the effect of
    the number counts.
    """

    families: tuple[PooledFamily, ...]
    m: Axis
    groups: Mapping[Grouping, Groups]
    rate: Exponents
    number: Exponents
    rate_base: float
    mean_number: float
    log_evidence: float
    q: float
    failures: int
    _likelihoods: dict[tuple[str, Grouping, float], GroupLikelihood] = field(
        default_factory=dict, repr=False, compare=False
    )

    @property
    def masses(self) -> dict[str, float]:
        """Posterior probability of each family by name."""
        return {one.family.name: one.mass for one in self.families}

    @property
    def kinds(self) -> dict[Grouping, float]:
        """Posterior probability of each grouping."""
        told: dict[Grouping, float] = {}
        for one in self.slices():
            told[one.kind] = told.get(one.kind, 0.0) + one.total
        return told

    def slices(self) -> Iterator[Slice]:
        """All slices of all families."""
        for one in self.families:
            yield from one.slices

    def rate_mass(self) -> Array:
        """Posterior mass of each point of the rate exponent."""
        mass = np.zeros(self.rate.points.size)
        for one in self.slices():
            mass[int(np.argmin(np.abs(self.rate.points - one.g)))] += one.total
        return mass

    def to_dict(self) -> dict[str, object]:
        """Plain content, for digests and stored forecasts."""
        return {
            "failures": self.failures,
            "q": self.q,
            "log_evidence": self.log_evidence,
            "families": self.masses,
            "groupings": dict(self.kinds),
            "exponent": [self.rate.points.tolist(), self.rate.mass.tolist()],
            "number": [self.number.points.tolist(), self.number.mass.tolist()],
            "m": [self.m.low, self.m.step, self.m.size],
            "s": self.families[0].s.tolist(),
            "slices": [
                [one.family.name, part.kind, part.scale.tau, part.scale.share, part.g, part.total]
                for one in self.families
                for part in one.slices
            ],
        }

    def likelihood(self, one: PooledFamily, kind: Grouping, slice_: Slice) -> GroupLikelihood:
        """Likelihoods of the groups at a slice's exponent and medians."""
        key = (one.family.name, kind, slice_.g)
        if key not in self._likelihoods:
            shift = slice_.g - self.rate_base
            self._likelihoods[key] = GroupLikelihood.of(
                one.sums[kind], shift, self.number.centre, slice_.p
            )
        return self._likelihoods[key]

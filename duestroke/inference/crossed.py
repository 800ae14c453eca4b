"""Batches within presses: both may have medians of their own, one after the other.

The posterior over groupings takes lives to differ by press, or by batch, or not at all. As rivals
they hide each other: where a press makes a difference, a weak batch does not show, and the other
way round. So the presses' shifts, weighed only against there being none, are taken out of the lives
first, at the mean of the exponents; what is left is pooled by batch alone. A tool then has its
batch's own median, moved by its press's shift, its speed and its number of reworks, and widened by
what is open of these.
Source: partial pooling with crossed effects by one round of backfitting, Gelman and others,
Bayesian Data Analysis, chapter 15. That a press's shift stands at its mean, with the variance of
the normal model `1 / (1 / between + lives / within)`, is ours.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from duestroke.inference.laws import PooledLaw
from duestroke.inference.nodes import Nodes
from duestroke.inference.own import Conditions
from duestroke.inference.pooled import Pooled, PooledFamily, Slice
from duestroke.inference.pooling import Grouping, kernel

_TINY: Final = 1e-12
_STEP: Final = 200
"""Shifts are taken to this part of log life, so that tools alike share their laws."""


@dataclass(frozen=True)
class Presses:
    """What presses differ by: shift of each one's log life from the middle, and its variance.

    between: variance of the shift of a press that no life came from.
    """

    shift: Mapping[str, float]
    variance: Mapping[str, float]
    between: float

    def of(self, press: str | None) -> tuple[float, float]:
        """Shift and variance of a press; one that is not known is any."""
        if press is None or press not in self.shift:
            return 0.0, self.between
        return self.shift[press], self.variance[press]


@dataclass(frozen=True)
class CrossedLaw:
    """One mode with presses and batches.

    every: over all groupings, for what is said of exponents and presses.  within: over batches,
    the presses' shifts taken out.  middle: mean log speed of the lives over the reference.
    """

    every: PooledLaw
    within: PooledLaw
    presses: Presses = field(repr=False)
    middle: float

    def nodes(self, at: Conditions) -> tuple[Nodes, ...]:
        """See LifeLaw."""
        effects = self.every.pooled
        shift, _ = self.presses.of(at.press)
        known = effects.rate.centre * at.z + effects.number.centre * at.number
        open_sd = self._open_sd(at) if at.widened else 0.0
        return self.within.nodes(
            Conditions(batch=at.batch, z=_rounded(known - shift), open_sd=open_sd)
        )

    def _open_sd(self, at: Conditions) -> float:
        effects = self.every.pooled
        _, variance = self.presses.of(at.press)
        # A press that has its own lives has them at its own speed: its shift bears the exponent.
        open_share = variance / self.presses.between if self.presses.between > 0 else 1.0
        of_rate = (effects.rate.sd * (at.z - self.middle)) ** 2 * open_share
        of_number = (effects.number.sd * (at.number - effects.mean_number)) ** 2
        return _rounded(math.sqrt(variance + of_rate + of_number))

    def population(self, z: float = 0.0) -> tuple[Nodes, ...]:
        """See LifeLaw."""
        return self.every.population(z)

    @property
    def pooled(self) -> Pooled:
        """See LifeLaw."""
        return self.every.pooled

    def pooled_by(self, kind: Grouping) -> Pooled:
        """See LifeLaw."""
        return self.within.pooled if kind == "batch" else self.every.pooled

    @property
    def masses(self) -> Mapping[str, float]:
        """See LifeLaw."""
        return self.within.masses

    @property
    def log_evidence(self) -> float:
        """See LifeLaw."""
        return self.every.log_evidence

    @property
    def q(self) -> float:
        """See LifeLaw."""
        return self.every.q

    def to_dict(self) -> dict[str, object]:
        """See LifeLaw."""
        return {
            **self.every.to_dict(),
            "within_presses": self.within.to_dict(),
            "presses": dict(self.presses.shift),
            "between_presses": self.presses.between,
        }


def press_effects(pooled: Pooled) -> Presses:
    """Shifts of the presses from a posterior over `none` and `press`."""
    groups = pooled.groups["press"]
    total = dict.fromkeys(groups.labels, 0.0)
    between = 0.0
    for family in pooled.families:
        for one in family.slices:
            if one.kind == "press":
                between += one.total * one.scale.variance
                for label, shift in _own_shifts(pooled, family, one).items():
                    total[label] += shift
    within = sum(
        float(one.mass.sum(axis=1) @ family.s**2)
        for family in pooled.families
        for one in family.slices
    )
    variance = {
        label: 1 / (1 / max(between, _TINY) + float(np.count_nonzero(groups.of == row)) / within)
        for row, label in enumerate(groups.labels)
    }
    return Presses({each: _rounded(shift) for each, shift in total.items()}, variance, between)


def _own_shifts(pooled: Pooled, family: PooledFamily, one: Slice) -> dict[str, float]:
    """Mean of each press's own median less that of the middle, times the mass of the slice."""
    said = pooled.likelihood(family, "press", one)
    between = kernel(pooled.m, one.p, one.scale)
    middle = float((one.mass @ one.p).sum())
    labels = pooled.groups["press"].labels
    own = [said.own_weights(row, between, one.mass) for row in range(len(said.labels))]
    return {
        labels[int(label)]: float((mass @ pooled.m.points).sum()) - middle
        for label, mass in zip(said.labels, own, strict=True)
    }


def _rounded(shift: float) -> float:
    return round(shift * _STEP) / _STEP

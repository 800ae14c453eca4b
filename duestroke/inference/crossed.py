"""Batches within presses: both may have medians of their own, one after the other.

The posterior over groupings takes lives to differ by press, or by batch, or not at all. Where a
press makes a difference, a weak batch would hide behind it. So the presses' shifts, each drawn
towards none by what the records leave open, are taken out of the lives first, at the mean of the
exponents; what is left is pooled by batch alone. A tool then has its batch's own median, moved by
its press's shift, its speed and its number of reworks.
Source: partial pooling with crossed effects by one round of backfitting, Gelman and others,
Bayesian Data Analysis, chapter 15; that the presses' shifts stand at their means is ours, and
leaves out their own uncertainty, a few hundredths of log life.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from duestroke.inference.laws import PooledLaw
from duestroke.inference.nodes import Nodes
from duestroke.inference.own import Conditions
from duestroke.inference.pooled import Pooled
from duestroke.inference.pooling import Grouping, kernel

_STEP: Final = 200
"""Shifts are taken to this part of log life, so that tools alike share their laws."""


@dataclass(frozen=True)
class CrossedLaw:
    """One mode with presses and batches. by_press: shift of each press's log life from the middle.

    every: over all groupings, for what is said of exponents and presses.  within: over batches,
    the presses' shifts taken out.
    """

    every: PooledLaw
    within: PooledLaw
    by_press: Mapping[str, float] = field(repr=False)

    def nodes(self, at: Conditions) -> tuple[Nodes, ...]:
        """See LifeLaw."""
        return self.within.nodes(Conditions(batch=at.batch, z=self._shift(at)))

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
            "presses": dict(self.by_press),
        }

    def _shift(self, at: Conditions) -> float:
        """By how much the tool's own lives are shorter on log scale than those at reference."""
        effects = self.every.pooled
        known = effects.rate.centre * at.z + effects.number.centre * at.number
        return _rounded(known - self.by_press.get(at.press or "", 0.0))


def press_shifts(pooled: Pooled) -> dict[str, float]:
    """Posterior mean shift of log life of each press, over all groupings."""
    groups = pooled.groups["press"]
    total = dict.fromkeys(groups.labels, 0.0)
    for family in pooled.families:
        for one in family.slices:
            if one.kind != "press":
                continue
            said, between = (
                pooled.likelihood(family, "press", one),
                kernel(pooled.m, one.p, one.tau),
            )
            middle = float((one.mass @ one.p).sum())
            for row, label in enumerate(said.labels):
                own = said.own_weights(row, between, one.mass)
                total[groups.labels[int(label)]] += float((own @ pooled.m.points).sum()) - middle
    return {label: _rounded(shift) for label, shift in total.items()}


def _rounded(shift: float) -> float:
    return round(shift * _STEP) / _STEP

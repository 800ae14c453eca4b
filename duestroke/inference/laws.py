"""Posterior of a life law as a place asks for it, with or without groups and exponents."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from duestroke.inference.nodes import Nodes
from duestroke.inference.own import Conditions, OwnLaws
from duestroke.inference.pooled import Pooled
from duestroke.inference.pooling import Grouping
from duestroke.inference.posterior import Posterior


class LifeLaw(Protocol):
    """Posterior of one mode, or of all ends as one."""

    def nodes(self, at: Conditions) -> tuple[Nodes, ...]:
        """Law of a tool under conditions."""
        ...

    def population(self, z: float = 0.0) -> tuple[Nodes, ...]:
        """Law of the middle of all groups at a log speed over the reference."""
        ...

    @property
    def pooled(self) -> Pooled | None:
        """With groups and exponents; None where the lives hold neither."""
        ...

    def pooled_by(self, kind: Grouping) -> Pooled | None:
        """The one by which groups of a kind are held against each other."""
        ...

    @property
    def masses(self) -> Mapping[str, float]:
        """Posterior probability of each family by name."""
        ...

    @property
    def log_evidence(self) -> float:
        """Log of the prior predictive density of the lives, per unit of log life."""
        ...

    @property
    def q(self) -> float:
        """Share of the ends that show only at an inspection."""
        ...

    def to_dict(self) -> dict[str, object]:
        """Plain content, for digests."""
        ...


@dataclass(frozen=True)
class PlainLaw:
    """One law without groups and exponents: today's grid."""

    posterior: Posterior

    def nodes(self, at: Conditions) -> tuple[Nodes, ...]:
        """See LifeLaw."""
        return self.posterior.nodes

    def population(self, z: float = 0.0) -> tuple[Nodes, ...]:
        """See LifeLaw."""
        return self.posterior.nodes

    @property
    def pooled(self) -> Pooled | None:
        """See LifeLaw."""
        return None

    def pooled_by(self, kind: Grouping) -> Pooled | None:
        """See LifeLaw."""
        return None

    @property
    def masses(self) -> Mapping[str, float]:
        """See LifeLaw."""
        return self.posterior.masses

    @property
    def log_evidence(self) -> float:
        """See LifeLaw."""
        return float(np.logaddexp.reduce([part.log_mass for part in self.posterior.parts]))

    @property
    def q(self) -> float:
        """See LifeLaw."""
        return self.posterior.q

    def to_dict(self) -> dict[str, object]:
        """See LifeLaw."""
        return self.posterior.to_dict()


@dataclass(frozen=True)
class PooledLaw:
    """One mode with groups and exponents."""

    pooled: Pooled
    own: OwnLaws = field(compare=False, repr=False)

    @staticmethod
    def of(pooled: Pooled) -> PooledLaw:
        """With its own store of nodes."""
        return PooledLaw(pooled, OwnLaws(pooled))

    def pooled_by(self, kind: Grouping) -> Pooled:
        """See LifeLaw."""
        return self.pooled

    def nodes(self, at: Conditions) -> tuple[Nodes, ...]:
        """See LifeLaw."""
        return self.own.nodes(at)

    def population(self, z: float = 0.0) -> tuple[Nodes, ...]:
        """See LifeLaw."""
        return self.own.population(z)

    @property
    def masses(self) -> Mapping[str, float]:
        """See LifeLaw."""
        return self.pooled.masses

    @property
    def log_evidence(self) -> float:
        """See LifeLaw."""
        return self.pooled.log_evidence

    @property
    def q(self) -> float:
        """See LifeLaw."""
        return self.pooled.q

    def to_dict(self) -> dict[str, object]:
        """See LifeLaw."""
        return self.pooled.to_dict()

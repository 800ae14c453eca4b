"""All that the lives of one kind at one position say: the posterior behind every forecast of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from duestroke.inference.fit import fit
from duestroke.inference.posterior import Interval, Posterior
from duestroke.inference.prior import Prior
from duestroke.inference.tool import Alternative, ToolRecord
from duestroke.lives import Life
from duestroke.names import DEFAULT_SPREAD


@dataclass(frozen=True)
class PlacePosterior:
    """What the lives of one kind at one position say."""

    one_law: Posterior
    worn: int
    sudden: int

    @property
    def handbook_life(self) -> float:
        """The plant's own figure for the median life, strokes."""
        return self.one_law.handbook_life

    @property
    def handbook_spread(self) -> float:
        """The plant's own figure for the sd of log life."""
        return self.one_law.handbook_spread

    @property
    def prior(self) -> Prior:
        """What was believed before any life was seen."""
        return self.one_law.prior

    @property
    def lives(self) -> int:
        """How many lives it rests on."""
        return self.one_law.lives

    @property
    def failures(self) -> int:
        """How many of them ended by a failure."""
        return self.one_law.failures

    @property
    def prior_only(self) -> bool:
        """Whether no life at all stands behind it."""
        return self.one_law.prior_only

    @property
    def model_version(self) -> str:
        """Changes whenever the same lives would give another posterior."""
        return self.one_law.model_version

    @property
    def family_weights(self) -> dict[str, float]:
        """Posterior probabilities of `weibull`, `lognormal` and `early-defect`, which sum to 1."""
        return self.one_law.family_weights

    def alternatives(self, tool: ToolRecord) -> tuple[Alternative, ...]:
        """Ways to see the place for this tool, with weights that sum to 1."""
        return (Alternative(1.0, self.one_law.nodes, None, self.one_law.q),)

    def ahead_factor(self, tool: ToolRecord) -> float:
        """Own strokes ahead for each stroke at the speed so far, > 0."""
        return 1.0

    def parameters(self) -> dict[str, Interval]:
        """Posterior medians with 90 % intervals."""
        return self.one_law.parameters()

    def to_dict(self) -> dict[str, object]:
        """Plain content, for digests and stored forecasts."""
        return self.one_law.to_dict()


def fit_place(
    lives: Sequence[Life],
    *,
    handbook_life: float,
    handbook_spread: float = DEFAULT_SPREAD,
    prior: Prior | None = None,
    unseen_share: float | None = None,
) -> PlacePosterior:
    """Posterior of one kind of tool at one position from all that its lives record.

    handbook_life: the plant's own figure for the median life, strokes, > 0.
    handbook_spread: its figure for the sd of log life, 0.01 to 5.
    unseen_share: share of failures that show only at an inspection, 0 to 1, where the plant knows
        it; None: as the lives say.
    Deterministic: the same lives give the same bytes, in whatever order they come.
    Raises BadField naming the figure that is out of range.
    """
    one_law = fit(
        lives,
        handbook_life=handbook_life,
        handbook_spread=handbook_spread,
        prior=prior,
        unseen_share=unseen_share,
    )
    broken = sum(life.end == "broken" for life in lives)
    return PlacePosterior(one_law, one_law.failures - broken, broken)

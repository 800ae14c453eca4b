"""From observations to a posterior over the families of life laws."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from duestroke.errors import BadField
from duestroke.inference.families import Family
from duestroke.inference.grid import Grid, lay_grid
from duestroke.inference.likelihood import LogAges, log_ages, log_likelihood
from duestroke.inference.observations import Array, Observations, observe
from duestroke.inference.posterior import FamilyPosterior, Posterior
from duestroke.inference.prior import FAMILIES, Prior
from duestroke.lives import Life
from duestroke.names import DEFAULT_SPREAD

MODEL_VERSION: Final = "life-4"
"""Changes whenever the same lives would give another posterior."""


def fit(
    observations: Observations | Sequence[Life],
    *,
    handbook_life: float,
    handbook_spread: float = DEFAULT_SPREAD,
    prior: Prior | None = None,
    unseen_share: float | None = None,
) -> Posterior:
    """Posterior of the life law of one kind of tool at one position, averaged over families.

    observations: what is known of past and running tools; none at all gives the prior.
    handbook_life: the plant's own figure for the median life, strokes, > 0.
    handbook_spread: its figure for the sd of log life, 0.01 to 5.
    unseen_share: share of failures that show only at an inspection, 0 to 1, where the plant knows
        it; None: as the lives say.
    Deterministic: the same lives give the same bytes, in whatever order they come.
    Raises BadField naming the figure that is out of range.
    """
    check_handbook(handbook_life, handbook_spread)
    seen = observations if isinstance(observations, Observations) else observe(observations)
    belief = prior if prior is not None else Prior()
    q = seen.unseen_share if unseen_share is None else unseen_share
    if not 0 <= q <= 1:
        raise BadField("unseen_share", q, "0 to 1")
    ages = log_ages(seen.relative_to(handbook_life), q)
    parts = tuple(
        FamilyPosterior(FAMILIES[name], weight, _lay(FAMILIES[name], ages, belief, handbook_spread))
        for name, weight in belief.families.items()
        if weight > 0
    )
    return Posterior(
        parts=parts,
        handbook_life=handbook_life,
        handbook_spread=handbook_spread,
        prior=belief,
        lives=seen.lives,
        failures=seen.failures,
        q=q,
        model_version=MODEL_VERSION,
    )


def check_handbook(life: float, spread: float) -> None:
    """Raises BadField for a handbook figure that is out of range."""
    if not (np.isfinite(life) and life > 0):
        raise BadField("handbook_life", life, "a number of strokes above 0")
    if not (np.isfinite(spread) and 0.01 <= spread <= 5):
        raise BadField("handbook_spread", spread, "0.01 to 5")


def _lay(family: Family, ages: LogAges, belief: Prior, handbook_spread: float) -> Grid:
    def log_posterior(m: Array, s: Array) -> Array:
        density = belief.log_density(m[:, None], s, handbook_spread=handbook_spread)
        return density + log_likelihood(family, ages, m, s)

    return lay_grid(log_posterior)

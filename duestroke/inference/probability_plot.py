"""Probability-plot data: points of the step curve, lines of a law, on Weibull or lognormal paper.

On the paper of its own family a law is a straight line, so that an engineer sees with the bare eye
where a family does not fit, and which lives are to blame.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from duestroke.inference.curves import StepCurve

Array = NDArray[np.float64]
Paper = Literal["weibull", "lognormal"]

PAPERS: Final[tuple[Paper, ...]] = ("weibull", "lognormal")
LEAST_SHARE: Final = 1e-4
"""Shares beyond this one from 0 or 1 are left off the paper, on which they lie far outside."""


@dataclass(frozen=True)
class PlotPoints:
    """Plotting positions: strokes, and the share that has ended by them, within (0, 1), (n,)."""

    strokes: Array
    share: Array


def plotting_positions(curve: StepCurve) -> PlotPoints:
    """A point for each age with an end, at the middle of the step.

    With complete data (i - 1/2) / n; censored and late-seen lives move it by the step curve.
    Source: Meeker and Escobar 1998, Statistical Methods for Reliability Data, section 6.4.
    """
    before = np.concatenate([[1.0], curve.survival])[:-1]
    share = 1 - (before + curve.survival) / 2
    kept = (share > 0) & (share < 1) & (curve.age > 0)
    return PlotPoints(curve.age[kept], share[kept])


def on_paper(share: Array, paper: Paper) -> Array:
    """Height of a share ended: log(-log(1 - share)) or the normal quantile; NaN outside."""
    inside = (share >= LEAST_SHARE) & (share <= 1 - LEAST_SHARE)
    safe = np.where(inside, share, 0.5)
    height = np.log(-np.log1p(-safe)) if paper == "weibull" else ndtri(safe)
    return np.where(inside, height, np.nan)


def heights(share: Array) -> dict[str, Array]:
    """Height on each paper; the other axis of both is the log of strokes."""
    return {paper: on_paper(share, paper) for paper in PAPERS}

"""Life inference: observations of lives to a posterior over life laws, and what follows from it."""

from __future__ import annotations

from duestroke.inference.fit import MODEL_VERSION, fit
from duestroke.inference.observations import Observations, observe
from duestroke.inference.place import PlacePosterior, fit_place
from duestroke.inference.posterior import Interval, Posterior
from duestroke.inference.prior import Prior
from duestroke.inference.remaining import RemainingLife
from duestroke.inference.tool import Alternative, ToolRecord

__all__ = [
    "MODEL_VERSION",
    "Alternative",
    "Interval",
    "Observations",
    "PlacePosterior",
    "Posterior",
    "Prior",
    "RemainingLife",
    "ToolRecord",
    "fit",
    "fit_place",
    "observe",
]

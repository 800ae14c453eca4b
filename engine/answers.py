"""A fitted life model as `GET /life-models` gives it: plain JSON content, curves included."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final

import numpy as np

from duestroke.errors import BadField
from duestroke.forecast import LifeBasis
from duestroke.inference import Posterior, observe
from duestroke.inference.curves import anderson_darling, step_curve
from duestroke.inference.families import LOGNORMAL, WEIBULL, Lognormal, Weibull
from duestroke.inference.maximum import maximum_likelihood
from duestroke.inference.observations import Observations
from duestroke.lives import Life
from duestroke.times import format_time

CURVE_POINTS: Final = 60
BAND_LEVEL: Final = 0.9
_LAST_CHANCE: Final = 0.995


def life_model_answer(
    posterior: Posterior, lives: Sequence[Life], basis: LifeBasis, now: datetime
) -> dict[str, object]:
    """Weights, parameters with 90 % intervals, step curve, model curve with band, closeness.

    Strokes throughout. `goodness` is None for a family that the lives cannot tell apart.
    """
    seen = observe(lives)
    parameters = {
        name: {"median": value.median, "low": value.low, "high": value.high}
        for name, value in posterior.parameters().items()
    }
    return {
        "kind": basis.kind,
        "position": basis.position,
        "fit": basis.fit,
        "made_at": format_time(now.replace(microsecond=0)),
        "model_version": posterior.model_version,
        "lives": basis.lives,
        "failures": basis.failures,
        "prior_only": basis.prior_only,
        "families": dict(posterior.family_weights),
        "parameters": parameters,
        "interval_level": BAND_LEVEL,
        "median_life": parameters["b50"],
        "b10": parameters["b10"],
        "handbook_life": posterior.handbook_life,
        "handbook_spread": posterior.handbook_spread,
        "handbook_is_default": basis.handbook_is_default,
        "prior": posterior.prior.to_dict(),
        "found_at_inspection": posterior.q,
        "step_curve": _steps(seen),
        "model_curve": _model_curve(posterior),
        "goodness": _goodness(seen),
    }


def _steps(seen: Observations) -> list[dict[str, float | int]]:
    """Product-limit estimate; an end found at an inspection stands where it was found."""
    curve = step_curve(seen)
    columns = (curve.age, curve.survival, curve.low, curve.high, curve.at_risk, curve.ends)
    return [
        {
            "strokes": float(age),
            "survival": float(survival),
            "low": float(low),
            "high": float(high),
            "at_risk": int(at_risk),
            "ends": int(ends),
        }
        for age, survival, low, high, at_risk, ends in zip(*columns, strict=True)
    ]


def _model_curve(posterior: Posterior) -> list[dict[str, float]]:
    last = float(posterior.quantile(_LAST_CHANCE))
    strokes = np.linspace(0.0, last, CURVE_POINTS)
    low, high = posterior.survival_band(strokes, BAND_LEVEL)
    return [
        {"strokes": float(x), "survival": float(s), "low": float(a), "high": float(b)}
        for x, s, a, b in zip(strokes, posterior.survival(strokes), low, high, strict=True)
    ]


def _goodness(seen: Observations) -> dict[str, float | None]:
    """Anderson-Darling distance from the step curve of each family at its most likely law."""
    return {family.name: _closeness(seen, family) for family in (WEIBULL, LOGNORMAL)}


def _closeness(seen: Observations, family: Weibull | Lognormal) -> float | None:
    try:
        value = anderson_darling(maximum_likelihood(seen, family).law, seen)
    except BadField:
        # No failures, or all at one age: there is nothing to compare with.
        return None
    return float(value) if np.isfinite(value) else None

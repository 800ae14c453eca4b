"""The most likely laws of a place by its end codes alone, as a textbook would have them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from duestroke.errors import BadField
from duestroke.inference import observe
from duestroke.inference.bounds import Bounds, Parameter, likelihood_ratio_bounds, wald_bounds
from duestroke.inference.curves import anderson_darling
from duestroke.inference.effects import LEAST_ROUGHNESS_SPREAD, LEAST_SPEED_SPREAD
from duestroke.inference.families import LOGNORMAL, WEIBULL, Lognormal, Weibull
from duestroke.inference.maximum import MaximumLikelihood, maximum_likelihood
from duestroke.inference.observations import Observations
from duestroke.inference.regression import accelerated_life
from duestroke.lives import Life
from duestroke.readouts.content import Content, or_none, plain

FAMILIES: Final[tuple[Weibull | Lognormal, ...]] = (WEIBULL, LOGNORMAL)
LEVEL: Final = 0.9
Found = Mapping[str, MaximumLikelihood | None]

_ALONE: Final = (
    "by end codes alone: where lines of another speed also pull by another rule, the rule shows "
    "here as an effect of the rate"
)
_LEAST: Final = {
    "rate": LEAST_SPEED_SPREAD,
    "life_number": 0.1,
    "roughness": LEAST_ROUGHNESS_SPREAD,
}
"""Standard deviation between lives below which a covariate is left out."""
_COMMON: Final[tuple[Parameter, ...]] = ("b10", "b50", "spread")
_OF_WEIBULL: Final[tuple[Parameter, ...]] = ("weibull_shape", "weibull_scale")


def likeliest(seen: Observations) -> Found:
    """The most likely law of each family; None where the lives have none."""
    return {family.name: likeliest_law(seen, family) for family in FAMILIES}


def likeliest_law(seen: Observations, family: Weibull | Lognormal) -> MaximumLikelihood | None:
    """The most likely law of a family; None without failures at different ages."""
    try:
        return maximum_likelihood(seen, family)
    except BadField:
        return None


def told_closeness(seen: Observations, found: Found) -> dict[str, float | None]:
    """Anderson-Darling distance from the step curve of each family at its most likely law."""
    return {
        name: None if one is None else plain(anderson_darling(one.law, seen))
        for name, one in found.items()
    }


def told_likeliest(found: Found) -> Content:
    """Parameters with Wald's 90 % bounds, log likelihood and Akaike's criterion by family."""
    return {name: None if one is None else _told(one) for name, one in found.items()}


def _told(one: MaximumLikelihood) -> Content:
    return {
        "parameters": {name: _bounds(wald_bounds(one, name, LEVEL)) for name in _parameters(one)},
        "log_likelihood": plain(one.log_likelihood),
        "aic": plain(one.aic),
    }


def told_ratio_bounds(found: Found) -> Content:
    """90 % bounds by likelihood ratio, by family and parameter; null where there is none."""
    return {
        name: None
        if one is None
        else {each: _bounds(likelihood_ratio_bounds(one, each, LEVEL)) for each in _parameters(one)}
        for name, one in found.items()
    }


def _parameters(one: MaximumLikelihood) -> tuple[Parameter, ...]:
    return _COMMON + (_OF_WEIBULL if one.law.family.name == "weibull" else ())


def _bounds(found: Bounds) -> Content:
    return {
        "estimate": plain(found.estimate),
        "low": or_none(found.low),
        "high": or_none(found.high),
    }


def told_regression(lives: Sequence[Life]) -> Content | None:
    """What the end codes alone say of rate, life number and roughness, all at once.

    Lives without a known speed or ratio count as at the mean; what hardly varies is left out.
    None where nothing can be told.
    """
    seen = observe(lives)
    covariates = _covariates(lives) if seen.failures else {}
    if not covariates:
        return None
    try:
        found = accelerated_life(seen, covariates, WEIBULL)
    except BadField:
        return None
    effects = {}
    for name, effect in found.effects.items():
        low, high = effect.bounds(LEVEL)
        # Told as in the model: an exponent above 0 shortens lives.
        effects[name] = {
            "estimate": plain(-effect.value),
            "low": plain(-high),
            "high": plain(-low),
        }
    return {
        "family": "weibull",
        "effects": effects,
        "weibull_shape": plain(found.law.shape),
        "log_likelihood": plain(found.log_likelihood),
        "words": [_ALONE],
    }


def _covariates(lives: Sequence[Life]) -> dict[str, list[float]]:
    columns = {
        "rate": [_log(life.mean_speed_mps) for life in lives],
        "life_number": [float(life.life_number) for life in lives],
        "roughness": [_log(life.mean_roughness) for life in lives],
    }
    filled = {name: _filled(column) for name, column in columns.items()}
    return {name: column for name, column in filled.items() if np.std(column) >= _LEAST[name]}


def _log(value: float | None) -> float:
    return math.nan if value is None else math.log(value)


def _filled(column: list[float]) -> list[float]:
    known = [value for value in column if not math.isnan(value)]
    mean = sum(known) / len(known) if known else 0.0
    return [mean if math.isnan(value) else value for value in column]

"""A fitted place as `GET /life-models` gives it: the part that the engine keeps with the fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from duestroke.inference import observe
from duestroke.inference.curves import step_curve
from duestroke.inference.place import PlacePosterior
from duestroke.lives import Life
from duestroke.readouts.content import Content, draws_of
from duestroke.readouts.curves import (
    CURVE_POINTS,
    told_hazard,
    told_incidence,
    told_modes,
    told_plot,
    told_steps,
    told_survival,
)
from duestroke.readouts.groups import told_effects, told_groups, told_interval, told_modes_of
from duestroke.readouts.likeliest import likeliest, told_closeness, told_likeliest
from duestroke.readouts.lines import end_codes_alone, pulls_near_limit, told_lines
from duestroke.readouts.words import cautions

BAND_LEVEL: Final = 0.9
_LAST_CHANCE: Final = 0.995


def told_model(place: PlacePosterior, lives: Sequence[Life]) -> Content:
    """Weights, parameters with 90 % intervals, curves, comparisons, cautions; strokes throughout.

    lives: those that the place was fitted to. `curves` holds what is answered on request only.
    """
    seen, draws = observe(lives), draws_of(place)
    last = float(np.median(draws.quantile(_LAST_CHANCE)))
    ages = np.linspace(0.0, last, CURVE_POINTS)
    found = likeliest(seen)
    parameters = place.parameters()
    lines = told_lines(place, lives)
    told = {name: told_interval(value) for name, value in parameters.items()}
    return {
        "families": dict(place.family_weights),
        "parameters": told,
        "interval_level": BAND_LEVEL,
        "median_life": told["b50"],
        "b10": told["b10"],
        "handbook_life": place.handbook_life,
        "handbook_spread": place.handbook_spread,
        "prior": place.prior.to_dict(),
        "step_curve": told_steps(step_curve(seen)),
        "model_curve": told_survival(draws, ages),
        "goodness": told_closeness(seen, found),
        "most_likely": told_likeliest(found),
        "end_codes_alone": end_codes_alone(lives),
        "planned_pulls": pulls_near_limit(lives),
        "by_line": lines,
        "effects": told_effects(place),
        "groups": told_groups(place),
        "modes": told_modes_of(place),
        "cautions": cautions(place, lives, lines, parameters),
        "curves": {
            "modes": told_modes(lives, draws, ages),
            "incidence": told_incidence(lives, draws, ages),
            "hazard": told_hazard(seen),
            "probability_plot": told_plot(seen, draws),
        },
    }

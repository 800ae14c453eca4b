"""Curves of a place as content: step curves and model curves with bands, by mode and in all."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference import observe
from duestroke.inference.curves import StepCurve, hazard_curve, step_curve
from duestroke.inference.draws import LawDraws
from duestroke.inference.incidence import cumulative_incidence
from duestroke.inference.modes import mode_of, sudden, wear
from duestroke.inference.observations import Observations
from duestroke.inference.probability_plot import heights, plotting_positions
from duestroke.lives import Life
from duestroke.readouts.content import Content, rows

Array = NDArray[np.float64]

CURVE_POINTS: Final = 60
MODES: Final = ("wear", "sudden")
_BAND: Final = np.array([5.0, 95.0])
_FINE: Final = 120
_PLOT_SHARES: Final = np.array([0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5])


def told_steps(curve: StepCurve) -> list[Content]:
    """A product-limit estimate; an end found at an inspection stands where it was found."""
    return rows(
        strokes=curve.age,
        survival=curve.survival,
        low=curve.low,
        high=curve.high,
        at_risk=curve.at_risk,
        ends=curve.ends,
    )


def told_survival(draws: LawDraws, ages: Array, mode: str | None = None) -> list[Content]:
    """Survival of a new tool with its band, the uncertainty of the law, at each age (k,)."""
    survival = draws.survival(ages, mode)
    low, high = np.percentile(survival, _BAND, axis=1)
    return rows(strokes=ages, survival=survival.mean(axis=1), low=low, high=high)


def told_modes(lives: Sequence[Life], draws: LawDraws, ages: Array) -> list[Content]:
    """Of each mode: its step curve, the other mode censored, and its model curve."""
    if not draws.has_modes:
        return []
    seen = {"wear": wear(lives).seen, "sudden": sudden(lives).seen}
    return [
        {
            "mode": mode,
            "ends": seen[mode].failures,
            "step_curve": told_steps(step_curve(seen[mode])),
            "model_curve": told_survival(draws, ages, mode),
        }
        for mode in MODES
    ]


def told_incidence(lives: Sequence[Life], draws: LawDraws, ages: Array) -> list[Content]:
    """Share ended by each mode, the other competing: by the record and by the model."""
    told = cumulative_incidence(observe(lives), [mode_of(life) for life in lives])
    steps = {
        each.mode: rows(
            strokes=each.age[each.ends > 0],
            share=each.share[each.ends > 0],
            standard_error=each.standard_error[each.ends > 0],
            low=each.low[each.ends > 0],
            high=each.high[each.ends > 0],
            ends=each.ends[each.ends > 0],
        )
        for each in told
    }
    model = _model_incidence(draws, ages) if draws.has_modes else {}
    return [
        {"mode": mode, "steps": steps.get(mode, []), "model": model.get(mode, [])}
        for mode in MODES
        if mode in steps or mode in model
    ]


def _model_incidence(draws: LawDraws, ages: Array) -> dict[str, list[Content]]:
    survival = {mode: draws.survival(ages, mode) for mode in MODES}
    found = {}
    for mode, other in (MODES, MODES[::-1]):
        ended = -np.diff(survival[mode], axis=0)
        there = (survival[other][1:] + survival[other][:-1]) / 2
        share = np.concatenate([np.zeros((1, ended.shape[1])), np.cumsum(ended * there, axis=0)])
        low, high = np.percentile(share, _BAND, axis=1)
        found[mode] = rows(strokes=ages, share=share.mean(axis=1), low=low, high=high)
    return found


def told_hazard(seen: Observations) -> list[Content]:
    """Nelson-Aalen estimate of the cumulated hazard."""
    curve = hazard_curve(seen)
    return rows(strokes=curve.age, hazard=curve.hazard, standard_error=curve.standard_error)


def told_plot(seen: Observations, draws: LawDraws) -> Content:
    """Points and model line on Weibull and lognormal paper; heights are null outside the paper."""
    points = plotting_positions(step_curve(seen))
    shares = np.concatenate([_PLOT_SHARES, 1 - _PLOT_SHARES[-2::-1]])
    first, last = (float(np.median(draws.quantile(share))) for share in (5e-4, 1 - 5e-4))
    fine = np.geomspace(first, last, _FINE)
    ages = np.interp(shares, 1 - draws.survival(fine).mean(axis=1), fine)
    ended = 1 - draws.survival(ages)
    high, low = np.percentile(ended, _BAND[::-1], axis=1)
    line = ended.mean(axis=1)
    return {
        "points": rows(strokes=points.strokes, share=points.share, **heights(points.share)),
        "line": [
            first | {"low_on": low_row, "high_on": high_row}
            for first, low_row, high_row in zip(
                rows(strokes=ages, share=line, low=low, high=high, **heights(line)),
                rows(**heights(low)),
                rows(**heights(high)),
                strict=True,
            )
        ],
    }

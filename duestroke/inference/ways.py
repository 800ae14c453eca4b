"""Two ways to see a place, one law for all ends or two modes, each fitted to the lives."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln

from duestroke.inference.crossed import CrossedLaw, press_effects
from duestroke.inference.effects import (
    LEAST_ROUGHNESS_SPREAD,
    LEAST_SPEED_SPREAD,
    exponents,
)
from duestroke.inference.families import WEIBULL
from duestroke.inference.fit import fit
from duestroke.inference.laws import LifeLaw, PlainLaw, PooledLaw
from duestroke.inference.modes import ModeLives, all_ends, sudden, wear
from duestroke.inference.pooled import Pooled
from duestroke.inference.pooling import Grouping, Groups
from duestroke.inference.prior import FAMILIES, Prior
from duestroke.inference.quadrature import Question, pool
from duestroke.inference.relative import told_by
from duestroke.inference.wear import WearPaths
from duestroke.lives import Life

Array = NDArray[np.float64]

_SPEED_STEP: Final = 0.5
_ROUGHNESS_POINTS: Final = 15
_MOST_ROUGHNESS: Final = 0.25
"""Log ram ratios beyond this are taken as this: the exponent is not tried further out."""


@dataclass(frozen=True)
class Way:
    """One way to see the place with its posterior weight; `sudden` is None for one law."""

    weight: float
    life: LifeLaw
    sudden: LifeLaw | None


@dataclass(frozen=True)
class Setting:
    """What a fit is made under."""

    handbook_life: float
    handbook_spread: float
    prior: Prior
    unseen_share: float | None
    reference_speed: float | None
    paths: WearPaths | None


def reference_speed(lives: Sequence[Life]) -> float | None:
    """The median speed of the lives, m/s, to the next half: a figure that stands still."""
    speeds = [life.mean_speed_mps for life in lives if life.mean_speed_mps is not None]
    if not speeds:
        return None
    return max(_SPEED_STEP * round(float(np.median(speeds)) / _SPEED_STEP), _SPEED_STEP)


def ways(lives: Sequence[Life], setting: Setting) -> tuple[Way, ...]:
    """The ways that the records leave open, with their weights.

    Readings tell the wear apart from sudden ends: two modes. Without them the labels of the ends
    must say; `worn` and `broken` may also only tell how an end was seen, by a constant share of
    all ends, and the evidence of that is weighed against two modes.
    """
    both, at_once = wear(lives, setting.unseen_share), sudden(lives)
    if both.has_readings:
        return (_two_modes(1.0, both, at_once, setting),)
    single = all_ends(lives, setting.unseen_share)
    worn, broken = both.failures, at_once.failures
    chance = setting.prior.two_modes
    if not (worn and broken) or chance == 0:
        return (Way(1.0, _wear_law(single, setting), None),)
    one = Way(1.0, _wear_law(single, setting), None)
    two = _two_modes(1.0, both, at_once, setting)
    assert two.sudden is not None  # noqa: S101 - both modes were fitted
    of_one = one.life.log_evidence + float(betaln(worn + 1, broken + 1))
    of_two = two.life.log_evidence + two.sudden.log_evidence
    odds = of_two - of_one
    share = 1.0 if chance == 1 else _logistic(odds + math.log(chance / (1 - chance)))
    return (Way(1 - share, one.life, None), Way(share, two.life, two.sudden))


def _logistic(log_odds: float) -> float:
    return float(1 / (1 + math.exp(-min(max(log_odds, -700.0), 700.0))))


def _two_modes(weight: float, worn: ModeLives, at_once: ModeLives, setting: Setting) -> Way:
    return Way(weight, _wear_law(worn, setting), _sudden_law(at_once, setting))


def _wear_law(mode: ModeLives, setting: Setting) -> LifeLaw:
    z = mode.log_of("mean_speed_mps", setting.reference_speed or 1.0)
    number = np.array([life.life_number for life in mode.lives], dtype=np.float64)
    used = mode.seen.aligned_to(setting.handbook_life)[1]
    groups = _groups(mode, used)
    if not (mode.has_readings or groups or z.any() or _differ(number)):
        return PlainLaw(
            fit(
                mode.seen,
                handbook_life=setting.handbook_life,
                handbook_spread=setting.handbook_spread,
                prior=setting.prior,
                unseen_share=mode.q,
            )
        )
    question = _wear_question(mode, setting, z, number, groups)
    every = PooledLaw.of(pool(question))
    if {"batch", "press"} <= question.kinds.keys() and mode.failures:
        return _crossed(mode, setting, question, every)
    return every


def _crossed(mode: ModeLives, setting: Setting, asked: Question, every: PooledLaw) -> CrossedLaw:
    """Presses against none, then batches with the presses' shifts and the exponents taken out."""
    effects, prior = every.pooled, asked.prior
    known = effects.rate.centre * asked.z + effects.number.centre * asked.number
    fixed = replace(
        asked,
        z=np.zeros(known.size),
        number=np.zeros(known.size),
        rate=exponents(1.0, prior.rate_exponent_scale, count=1, varies=False),
        number_effect=exponents(0.0, prior.number_scale, count=1, varies=False),
    )

    def pooled_by(kind: Grouping, chance: float, shift: Array) -> Pooled:
        told = told_by(mode, setting.handbook_life, shift, setting.paths)
        kinds: dict[Grouping, float] = {"none": 1 - chance, kind: chance}
        groups = {kind: asked.groups[kind]}
        return pool(replace(fixed, told=told, groups=groups, kinds=kinds))

    presses = press_effects(pooled_by("press", prior.press, known))
    own = np.array([presses.of(life.press)[0] for life in mode.lives], dtype=np.float64)
    within = PooledLaw.of(pooled_by("batch", prior.batch, known - own))
    return CrossedLaw(every, within, presses, float(np.mean(asked.z)))


def _wear_question(
    mode: ModeLives,
    setting: Setting,
    z: Array,
    number: Array,
    groups: Mapping[Grouping, Groups],
) -> Question:
    prior = setting.prior
    speeds = np.array([life.mean_speed_mps is not None for life in mode.lives], dtype=bool)
    varies = bool(speeds.any()) and float(np.std(z[speeds])) >= LEAST_SPEED_SPREAD
    rate = exponents(prior.rate_exponent, prior.rate_exponent_scale, count=9, varies=varies)
    told = told_by(mode, setting.handbook_life, rate.mean * z, setting.paths)
    effect = exponents(0.0, prior.number_scale, count=9, varies=_differ(number[told.used]))

    def log_prior(m: Array, s: Array) -> Array:
        return prior.log_density(m, s, handbook_spread=setting.handbook_spread)

    return Question(
        told=told,
        z=z,
        number=number,
        families={FAMILIES[name]: w for name, w in prior.families.items() if w > 0},
        log_prior=log_prior,
        rate=rate,
        number_effect=effect,
        groups=groups,
        kinds=_kinds(groups, prior),
        prior=prior,
        failures=mode.failures,
    )


def _differ(values: Array) -> bool:
    return np.unique(values).size > 1


def _groups(mode: ModeLives, used: NDArray[np.bool_]) -> dict[Grouping, Groups]:
    """Batches and presses of which the lives hold at least two."""
    told = (
        Groups.by("batch", [life.batch for life in mode.lives], used),
        Groups.by("press", [life.press for life in mode.lives], used),
    )
    return {one.kind: one for one in told if len(one.labels) > 1}


def _kinds(groups: Mapping[Grouping, Groups], prior: Prior) -> dict[Grouping, float]:
    chances: dict[Grouping, float] = {"none": 1 - prior.batch - prior.press}
    chances |= {"batch": prior.batch, "press": prior.press}
    open_ = {
        kind: chance
        for kind, chance in chances.items()
        if chance > 0 and (kind == "none" or kind in groups)
    }
    if not open_:
        return {"none": 1.0}
    total = sum(open_.values())
    return {kind: chance / total for kind, chance in open_.items()}


def _sudden_law(mode: ModeLives, setting: Setting) -> LifeLaw:
    prior = setting.prior
    z = np.clip(mode.log_of("mean_roughness", 1.0), -_MOST_ROUGHNESS, _MOST_ROUGHNESS)
    rough = np.array([life.mean_roughness is not None for life in mode.lives], dtype=bool)
    varies = bool(rough.any()) and float(np.std(z[rough])) >= LEAST_ROUGHNESS_SPREAD
    effect = exponents(
        prior.roughness_exponent,
        prior.roughness_exponent_scale,
        count=_ROUGHNESS_POINTS,
        varies=varies,
        least=0.0,
    )
    told = told_by(mode, setting.handbook_life, effect.mean * z, None)
    question = Question(
        told=told,
        z=z,
        number=np.zeros(z.size),
        families={WEIBULL: 1.0},
        log_prior=prior.sudden_log_density,
        rate=effect,
        number_effect=exponents(0.0, prior.number_scale, count=1, varies=False),
        groups={},
        kinds={"none": 1.0},
        prior=prior,
        failures=mode.failures,
    )
    return PooledLaw.of(pool(question))

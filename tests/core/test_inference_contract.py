"""What any life model has to hold, whatever it was fitted to: one suite for all of them."""

from __future__ import annotations

import json
from collections.abc import Callable

import numpy as np
import pytest

from duestroke.errors import BadField
from duestroke.inference import Posterior, fit, observe
from duestroke.inference.curves import anderson_darling, step_curve
from duestroke.inference.families import LOGNORMAL, WEIBULL
from duestroke.inference.maximum import maximum_likelihood
from duestroke.lives import EndReason, Life
from tests.support.lives import life

HANDBOOK = 50e6
AGES = np.array([0.0, 1e4, 5e6, 40e6, 120e6, 900e6])
LEVELS = np.array([0.001, 0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99, 0.999])


def mixed(count: int, seed: int = 1) -> list[Life]:
    """Lives of every sort, from a Weibull law of shape 2.5 and median 50 M."""
    rng = np.random.default_rng(seed)
    lives = []
    for k in range(count):
        age = 50e6 * (rng.exponential() / np.log(2)) ** 0.4
        entry = float(rng.uniform(0, 0.9) * age) if k % 5 == 0 else 0.0
        low = float(entry + 0.8 * (age - entry))
        ends: list[EndReason] = ["worn", "broken", "planned", "running", "can-defect"]
        end = ends[k % 5] if k % 7 else "running"
        known = low if end in ("worn", "running") else None
        lives.append(life(age, end, low=known, entry=entry, entry_low=0.7 * entry))
    return lives


CASES: dict[str, Callable[[], list[Life]]] = {
    "no life": list,
    "one failure": lambda: [life(30e6, "broken")],
    "one running tool": lambda: [life(30e6)],
    "one tool that may be worn unseen": lambda: [life(30e6, low=22e6)],
    "all censored": lambda: [life(k * 10e6, "planned") for k in range(1, 9)],
    "ties": lambda: [life(40e6, "broken")] * 12 + [life(40e6, "planned")] * 3,
    "zero lives": lambda: [
        life(0.0, "broken"),
        life(0.0, "planned"),
        life(0.0),
        life(40e6, "worn"),
    ],
    "within a thousandth of the handbook": lambda: [life(1e3, "worn", low=10.0), life(2e3)],
    "intervals only": lambda: [life(k * 8e6, "worn", low=(k - 1) * 8e6) for k in range(1, 10)],
    "entries at the very end": lambda: [life(30e6, "broken", entry=30e6), life(20e6, entry=20e6)],
    "handbook wrong by 30": lambda: [life(1500e6 + k * 1e8, "broken") for k in range(12)],
    "handbook wrong by a thirtieth": lambda: [life(1.5e6 + k * 1e5, "broken") for k in range(12)],
    "hardly any spread": lambda: [life(40e6 + k * 1e4, "broken") for k in range(40)],
    "spread over four decades": lambda: [life(10.0**k * 1e4, "broken") for k in range(1, 6)],
    "thirty of every sort": lambda: mixed(30),
    "three hundred of every sort": lambda: mixed(300),
}


@pytest.fixture(params=sorted(CASES), scope="module")
def lives(request) -> list[Life]:
    return CASES[request.param]()


@pytest.fixture(scope="module")
def model(lives) -> Posterior:
    return fit(lives, handbook_life=HANDBOOK)


def check_monotone(model: Posterior) -> None:
    """Survival falls from 1, chances and quantiles rise, nothing is negative or not a number."""
    strokes = np.concatenate([[0.0], np.geomspace(1e3, 1e11, 90)])
    survival = model.survival(strokes)
    assert survival[0] == pytest.approx(1.0, abs=1e-12)
    assert np.all(np.diff(survival) <= 1e-12)
    assert np.all((survival >= 0) & (survival <= 1))
    for age in AGES:
        for good_at in (None, age / 2):
            left = model.remaining_quantiles(age, good_at, LEVELS)
            assert np.all(np.isfinite(left))
            assert np.all(left >= 0)
            assert np.all(np.diff(left) >= 0)
            chance = model.chance_within(age, good_at, strokes)
            assert np.all(np.diff(chance) >= -1e-12)


def check_quantiles_invert_chances(model: Posterior) -> None:
    for age in AGES:
        law = model.remaining_life(age, age / 3)
        left = law.quantiles(LEVELS)
        later = law.due_now + 1e-6 < LEVELS
        assert law.chance_within(left)[later] == pytest.approx(LEVELS[later], abs=1e-3)
        assert np.all(left[~(law.due_now < LEVELS)] == 0)


def check_repeatable(model: Posterior, lives: list[Life]) -> None:
    """Predictions leave the model as it was; the same lives in any order give the same bytes."""
    before = json.dumps(model.to_dict(), sort_keys=True)
    draws = [model.remaining(20e6, 5e6, rng=np.random.default_rng(4)) for _ in range(2)]
    assert draws[0].tobytes() == draws[1].tobytes()
    again = fit(lives[::-1], handbook_life=HANDBOOK)
    assert json.dumps(again.to_dict(), sort_keys=True) == before
    quantiles = again.remaining_quantiles(20e6, 5e6, LEVELS)
    assert quantiles.tobytes() == model.remaining_quantiles(20e6, 5e6, LEVELS).tobytes()


def check_draws_follow_the_law(model: Posterior) -> None:
    """Drawn and summed: two ways to the same law, mass at zero included."""
    for age, good_at in ((0.0, None), (30e6, None), (30e6, 10e6)):
        law = model.remaining_life(age, good_at)
        draws = model.remaining(age, good_at, draws=20_000, rng=np.random.default_rng(11))
        assert np.all(draws >= 0)
        assert np.mean(draws == 0) == pytest.approx(law.due_now, abs=0.015)
        for level in (0.1, 0.5, 0.9):
            at = law.quantiles(level)
            aim = max(level, law.due_now)
            # Less than ten strokes are not told apart.
            assert np.mean(draws < at - 10) <= aim + 0.015
            assert np.mean(draws <= at + 10) >= aim - 0.015


def check_parameters(model: Posterior) -> None:
    told = model.parameters()
    for interval in told.values():
        assert 0 < interval.low <= interval.median <= interval.high
    assert told["b10"].median < told["b50"].median
    assert sum(model.family_weights.values()) == pytest.approx(1.0, abs=1e-9)
    low, high = model.survival_band(np.array([0.0, 1e6, 50e6, 1e9]))
    assert np.all(low <= high)


def test_monotone(model) -> None:
    check_monotone(model)


def test_quantiles_invert_chances(model) -> None:
    check_quantiles_invert_chances(model)


def test_repeatable(model, lives) -> None:
    check_repeatable(model, lives)


def test_draws_follow_the_law(model) -> None:
    check_draws_follow_the_law(model)


def test_parameters(model) -> None:
    check_parameters(model)


def test_counts(model, lives) -> None:
    assert model.lives == len(lives)
    assert model.failures == sum(life.is_failure for life in lives)
    assert model.prior_only == (not lives)


@pytest.mark.parametrize("factor", [1e-6, 1 / 3, 1e5])
def test_scale_is_only_a_unit(factor) -> None:
    """All ages and the handbook in another unit: the same weights, all lives in that unit."""
    plain = fit(mixed(25), handbook_life=HANDBOOK)
    lives = [
        life(
            one.strokes * factor,
            one.end,
            low=None if one.strokes_low is None else one.strokes_low * factor,
            entry=one.entry_strokes * factor,
            entry_low=(one.entry_low or 0.0) * factor,
        )
        for one in mixed(25)
    ]
    scaled = fit(lives, handbook_life=HANDBOOK * factor)
    assert scaled.masses == pytest.approx(plain.masses, rel=1e-6)
    left = plain.remaining_quantiles(20e6, 10e6, LEVELS) * factor
    again = scaled.remaining_quantiles(20e6 * factor, 10e6 * factor, LEVELS)
    assert again == pytest.approx(left, rel=1e-6)


@pytest.mark.parametrize("family", [WEIBULL, LOGNORMAL], ids=lambda f: f.name)
def test_curves_and_maximum_are_told_or_refused(lives, family) -> None:
    """Whatever the record: finite figures, or a refusal that says why; never a warning."""
    seen = observe(lives)
    curve = step_curve(seen)
    assert np.all((curve.low <= curve.survival) & (curve.survival <= curve.high))
    assert np.all(np.diff(curve.survival) <= 0)
    try:
        found = maximum_likelihood(seen, family)
    except BadField as refusal:
        assert refusal.field == "observations"  # noqa: PT017 - both ways out are right
        return
    assert np.isfinite([found.law.median, found.log_likelihood, found.se_log_spread]).all()
    assert anderson_darling(found.law, seen) >= 0

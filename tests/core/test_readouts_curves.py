"""Curves, bounds, regression and goodness of fit: properties that hold for any lives."""

from __future__ import annotations

import math

import numpy as np
import pytest

from duestroke.errors import BadField
from duestroke.inference import observe
from duestroke.inference.bounds import likelihood_ratio_bounds, wald_bounds
from duestroke.inference.curves import hazard_curve, step_curve
from duestroke.inference.draws import LawDraws
from duestroke.inference.families import LOGNORMAL, WEIBULL
from duestroke.inference.goodness import goodness_of_fit
from duestroke.inference.incidence import cumulative_incidence
from duestroke.inference.law import Law
from duestroke.inference.maximum import maximum_likelihood
from duestroke.inference.nodes import Nodes
from duestroke.inference.observations import Observations
from duestroke.inference.probability_plot import heights, plotting_positions
from duestroke.inference.regression import accelerated_life
from duestroke.inference.tool import Alternative
from duestroke.lives import Life
from tests.support.lives import life


def fleet(seed: int, count: int, *, modes: tuple[str, ...] = ("worn", "broken")) -> list[Life]:
    """Lives of a wear law of median 43 and a sudden one, first seen late, pulled at random."""
    rng = np.random.default_rng(seed)
    lives: list[Life] = []
    while len(lives) < count:
        worn, broken = 50 * rng.weibull(2.5), 120 * rng.weibull(1.1)
        pulled, entry = rng.uniform(15, 90), max(0.0, rng.uniform(-30, 25))
        age, end = min((worn, "worn"), (broken, "broken"), (pulled, "planned"))
        if age > entry:
            lives.append(life(age, end if end in modes else "planned", entry=entry))
    return lives


def mode_names(lives: list[Life]) -> list[str | None]:
    return [one.end if one.is_failure else None for one in lives]


@pytest.mark.parametrize("seed", range(4))
def test_shares_by_mode_and_survival_add_up(seed: int) -> None:
    lives = fleet(seed, 60)
    observations = observe(lives)
    steps = step_curve(observations)
    shares = cumulative_incidence(observations, mode_names(lives))
    assert [one.mode for one in shares] == ["broken", "worn"]
    total = sum(one.share for one in shares) + steps.survival
    assert total == pytest.approx(np.ones(steps.age.size))
    for one in shares:
        assert np.all(np.diff(one.share) >= 0)
        assert np.all((one.low <= one.share) & (one.share <= one.high))


def test_standard_errors_by_mode_are_those_of_repeated_records() -> None:
    """Spread of the estimate over 400 records of 80 lives, late entries and pulls among them."""
    at = 45.0
    told: dict[str, list[tuple[float, float]]] = {"worn": [], "broken": []}
    for seed in range(400):
        lives = fleet(1000 + seed, 80)
        for one in cumulative_incidence(observe(lives), mode_names(lives)):
            row = int(np.searchsorted(one.age, at, side="right")) - 1
            told[one.mode].append((float(one.share[row]), float(one.standard_error[row])))
    for pairs in told.values():
        share, error = np.array(pairs).T
        assert share.std() == pytest.approx(error.mean(), rel=0.12)


def test_modes_must_belong_to_failures() -> None:
    observations = observe([life(10, "broken"), life(20, "planned")])
    for modes in (["a"], ["a", "b"], [None, None]):
        with pytest.raises(BadField, match="modes"):
            cumulative_incidence(observations, modes)


def test_hazard_and_survival_tell_the_same_where_many_are_in_sight() -> None:
    observations = observe(fleet(5, 3000))
    steps, hazard = step_curve(observations), hazard_curve(observations)
    many = steps.at_risk > 300
    assert -np.log(steps.survival[many]) == pytest.approx(hazard.hazard[many], rel=0.01)


def test_plotting_positions_of_complete_lives() -> None:
    """(i - 1/2) / n; on its own paper a law is a straight line."""
    law = Law.weibull(shape=2.0, scale=40.0)
    share = (np.arange(1, 11) - 0.5) / 10
    points = plotting_positions(
        step_curve(observe([life(t, "broken") for t in law.quantile(share)]))
    )
    assert points.share == pytest.approx(share)
    on_weibull = heights(points.share)["weibull"]
    assert np.diff(on_weibull) / np.diff(np.log(points.strokes)) == pytest.approx(np.full(9, 2.0))
    assert np.isnan(heights(np.array([0.0, 1.0]))["lognormal"]).all()


@pytest.mark.parametrize("parameter", ["b10", "b50", "spread", "weibull_shape", "weibull_scale"])
def test_ratio_bounds_lose_what_they_should(parameter) -> None:
    """On a dense grid, the best law with the parameter at the bound has lost 1.353 (90 %)."""
    found = maximum_likelihood(observe(fleet(3, 40)), WEIBULL)
    bounds = likelihood_ratio_bounds(found, parameter, 0.9)
    s = np.exp(np.linspace(-2.5, 0.5, 3001))
    for end in (bounds.low, bounds.high):
        if parameter in ("spread", "weibull_shape"):
            spread = end if parameter == "spread" else math.pi / math.sqrt(6) / end
            m = np.linspace(-1.5, 1.5, 3001)
            profile = max(found.surface(float(x), math.log(spread)) for x in m)
        else:
            z = [np.log(Law(WEIBULL, 1.0, float(x)).quantile(CHANCES[parameter])) for x in s]
            m = math.log(end / found.surface.unit) - np.array(z)
            profile = max(map(found.surface, m, np.log(s)))
        assert found.surface(*found.best) - profile == pytest.approx(1.3528, abs=2e-3)
    wald = wald_bounds(found, parameter, 0.9)
    assert math.sqrt(wald.low * wald.high) == pytest.approx(wald.estimate)
    assert wald.estimate == bounds.estimate


CHANCES = {"b10": 0.1, "b50": 0.5, "weibull_scale": -math.expm1(-1.0)}


def test_a_flat_side_gives_no_bound() -> None:
    lives = [life(10, "worn", low=0.0), life(12, "worn", low=1.0), life(11, "worn", low=0.5)]
    found = maximum_likelihood(observe([*lives, life(14, "planned"), life(3, "broken")]), WEIBULL)
    bounds = likelihood_ratio_bounds(found, "spread", 0.9999)
    assert bounds.high is None or bounds.high > found.law.spread
    with pytest.raises(BadField, match="level"):
        likelihood_ratio_bounds(found, "spread", 1.0)


@pytest.mark.parametrize("family", [WEIBULL, LOGNORMAL], ids=["weibull", "lognormal"])
def test_regression_finds_effects_that_were_put_in(family) -> None:
    rng = np.random.default_rng(8)
    x, z = rng.normal(size=1500), rng.integers(0, 3, 1500).astype(float)
    chance = rng.uniform(size=1500)
    base = Law(family, 40.0, 0.5).quantile(chance)
    ages, stop = base * np.exp(0.8 * x - 0.3 * z), rng.uniform(20, 200, 1500)
    lives = [
        life(min(t, c), "broken" if t <= c else "planned") for t, c in zip(ages, stop, strict=True)
    ]
    found = accelerated_life(observe(lives), {"x": x.tolist(), "z": z.tolist()}, family)
    for name, true in (("x", 0.8), ("z", -0.3)):
        effect = found.effects[name]
        assert abs(effect.value - true) < 3.5 * effect.standard_error < 0.2
        low, high = effect.bounds(0.9)
        assert low < effect.value < high
    assert found.law.median == pytest.approx(40.0, rel=0.1)
    plain = maximum_likelihood(observe(lives), family)
    assert found.log_likelihood > plain.log_likelihood + 100


@pytest.mark.parametrize(
    ("covariates", "field"),
    [
        ({}, "covariates"),
        ({"a": [1.0] * 12}, "a"),
        ({"a": [1.0, 2.0]}, "a"),
        ({"a": [math.nan, *range(11)]}, "a"),
        ({"a": list(range(12)), "b": [2.0 * n + 1 for n in range(12)]}, "covariates"),
    ],
    ids=["none", "constant", "short", "nan", "repeated"],
)
def test_covariates_that_tell_nothing_are_refused(covariates, field) -> None:
    observations = observe([life(10 + 3 * n, "broken") for n in range(12)])
    with pytest.raises(BadField) as refused:
        accelerated_life(observations, covariates, WEIBULL)
    assert refused.value.field == field


def test_goodness_of_fit_keeps_its_level_and_sees_a_wrong_law() -> None:
    """Under the true law the bootstrap chance is about uniform; two far peaks are no Weibull."""
    chances = [
        goodness_of_fit(one_mode(seed), WEIBULL, np.random.default_rng(seed)).chance
        for seed in range(60)
    ]
    assert np.mean(chances) == pytest.approx(0.5, abs=0.13)
    assert np.mean(np.array(chances) < 0.1) < 0.22
    rng = np.random.default_rng(1)
    far = np.exp(np.concatenate([rng.normal(1.0, 0.1, 30), rng.normal(4.0, 0.1, 30)]))
    poor = goodness_of_fit(observe([life(t, "broken") for t in far]), WEIBULL, rng)
    assert poor.chance < 0.02


def one_mode(seed: int) -> Observations:
    return observe(fleet(seed, 30, modes=("worn",)))


def test_goodness_of_fit_of_ends_found_at_inspections() -> None:
    """Half of the ends hidden until the next inspection: the chance stays about uniform."""
    chances = []
    for seed in range(40):
        rng, lives = np.random.default_rng(seed), []
        for _ in range(30):
            age, pulled = 50 * rng.weibull(2.5), rng.uniform(25, 90)
            found = 8 * math.ceil(age / 8)
            if rng.random() < 0.5 and found <= pulled:
                lives.append(life(found, "worn", low=found - 8.0))
            elif age <= pulled:
                lives.append(life(age, "broken"))
            else:
                lives.append(life(pulled, "planned"))
        generator = np.random.default_rng(seed)
        chances.append(goodness_of_fit(observe(lives), WEIBULL, generator).chance)
    assert np.mean(chances) == pytest.approx(0.5, abs=0.16)


def test_the_same_generator_gives_the_same_goodness() -> None:
    one, other = (goodness_of_fit(one_mode(1), WEIBULL, np.random.default_rng(5)) for _ in range(2))
    assert one == other
    assert one.replicates == 199
    many = goodness_of_fit(observe(fleet(2, 600)), WEIBULL, np.random.default_rng(5))
    assert many.replicates == 39


def nodes(family, m: float, s: float, weight: float = 1.0) -> Nodes:
    return Nodes(family, np.array([m]), np.array([s]), np.array([weight]))


def test_drawn_laws_of_two_modes_multiply() -> None:
    seen = Alternative(1.0, (nodes(LOGNORMAL, 0.1, 0.3),), (nodes(WEIBULL, 1.2, 1.0),), 0.5)
    draws = LawDraws.of([seen], 30e6, np.random.default_rng(1), 50)
    ages = np.array([0.0, 5e6, 20e6, 40e6])
    wear, sudden = draws.survival(ages, "wear"), draws.survival(ages, "sudden")
    assert wear * sudden == pytest.approx(draws.survival(ages))
    assert wear[:, 0] == pytest.approx(Law(LOGNORMAL, 30e6 * math.exp(0.1), 0.3).survival(ages))
    for chance in (0.001, 0.1, 0.5, 0.995):
        lives = draws.quantile(chance)
        assert 1 - draws.survival(lives[:1])[0, 0] == pytest.approx(chance, rel=1e-4)


def test_draws_follow_the_weights_of_ways_and_nodes() -> None:
    two = Nodes(WEIBULL, np.array([0.0, 1.0]), np.array([0.3, 0.3]), np.array([0.25, 0.75]))
    ways = [
        Alternative(0.6, (two,), None, 0.5),
        Alternative(0.4, (nodes(WEIBULL, 2, 0.3),), None, 0),
    ]
    medians = LawDraws.of(ways, 1.0, np.random.default_rng(1), 1000).quantile(0.5)
    # Drawn anywhere in the cell about a node, here a step of 1 wide; a node alone has no cell.
    found = [float(np.mean(np.abs(np.log(medians) - m) <= 0.5)) for m in (0, 1)]
    assert np.mean(np.isclose(np.log(medians), 2, atol=1e-3)) == pytest.approx(0.40, abs=0.002)
    assert found == pytest.approx([0.15, 0.45], abs=0.002)

"""Scores and bounds: against slow definitions, closed forms and simulated truth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from duestroke.errors import BadField
from duestroke.score import (
    ProductLimit,
    acceptance_band,
    chances_at,
    coverage,
    crps_from_draws,
    crps_lognormal,
    crps_normal,
    crps_of_quantiles,
    crps_weibull,
    ended_weights,
    exact_bounds,
    probability_transform,
    wilson_bounds,
)

NUMBERS = st.floats(-1e3, 1e3).map(lambda x: round(x, 3))


@given(st.lists(NUMBERS, min_size=1, max_size=30), NUMBERS)
@settings(max_examples=200)
def test_score_of_draws_is_its_double_sum(draws, outcome) -> None:
    """Gneiting and Raftery 2007, equation 21, pair by pair."""
    x = np.array(draws)
    slow = np.abs(x - outcome).mean() - np.abs(x[:, None] - x).mean() / 2
    assert float(crps_from_draws(draws, outcome)) == pytest.approx(slow, abs=1e-9)


@pytest.mark.parametrize(
    ("law", "score"),
    [
        (stats.norm(100, 20), lambda y: crps_normal(y, 100, 20)),
        (stats.lognorm(0.4, scale=90), lambda y: crps_lognormal(y, np.log(90), 0.4)),
        (stats.weibull_min(2.5, scale=100), lambda y: crps_weibull(y, 2.5, 100)),
    ],
    ids=["normal", "lognormal", "weibull"],
)
def test_draws_approach_the_closed_form(law, score) -> None:
    draws = law.ppf((np.arange(4000) + 0.5) / 4000)
    outcomes = np.array([20.0, 80.0, 100.0, 170.0])
    found = crps_from_draws(np.broadcast_to(draws, (4, 4000)), outcomes)
    assert found == pytest.approx(score(outcomes), rel=2e-3, abs=5e-3)


def test_scores_take_many_forecasts_at_once() -> None:
    draws = np.random.default_rng(1).normal(size=(5, 50))
    outcomes = np.linspace(-1, 1, 5)
    each = [float(crps_from_draws(row, y)) for row, y in zip(draws, outcomes, strict=True)]
    assert crps_from_draws(draws, outcomes).tolist() == pytest.approx(each)


def test_ends_of_a_range_are_inside_and_tails_are_told_apart() -> None:
    found = coverage([1.0, 2.0, 3.0, 0.5, 9.0, 0.0], [1, 1, 1, 1, 1, 0], [3, 3, 3, 3, 3, 0])
    assert (found.n, found.inside, found.below, found.above) == (6, 4, 1, 1)
    assert found.share == pytest.approx(4 / 6)
    assert np.isnan(coverage([], [], []).share)


@pytest.mark.parametrize("share", [0.02, 0.5, 0.8])
@pytest.mark.parametrize(("bounds", "least"), [(exact_bounds, 0.95), (wilson_bounds, 0.92)])
def test_bounds_cover_the_true_share(share, bounds, least) -> None:
    """Exact coverage by summing the binomial law; Wilson's interval may fall a little short."""
    n = 60
    chances = stats.binom(n, share).pmf(np.arange(n + 1))
    inside = [low <= share <= high for low, high in (bounds(k, n) for k in range(n + 1))]
    assert float(chances[inside].sum()) >= least


def test_bounds_at_the_ends() -> None:
    assert exact_bounds(0, 20)[0] == 0.0
    assert exact_bounds(20, 20)[1] == 1.0
    assert wilson_bounds(0, 20)[0] == 0.0
    assert wilson_bounds(20, 20)[1] == 1.0


@pytest.mark.parametrize("share", [0.1, 0.8, 0.95])
@pytest.mark.parametrize("level", [0.95, 0.999])
def test_a_right_forecast_lands_in_the_acceptance_band(share, level) -> None:
    low, high = acceptance_band(share, 700, level)
    law = stats.binom(700, share)
    assert law.cdf(high) - law.cdf(low - 1) >= level
    assert law.cdf(low - 1) <= (1 - level) / 2
    assert law.sf(high) <= (1 - level) / 2


def test_transform_is_uniform_for_a_right_forecast_with_a_mass_at_zero() -> None:
    """Kolmogorov distance at the 99.9 % point (Smirnov 1948); a third of the outcomes is 0."""
    rng = np.random.default_rng(4)

    def law(n: int) -> np.ndarray:
        return np.where(rng.random(n) < 1 / 3, 0.0, rng.exponential(size=n))

    values = [probability_transform(law(99), float(law(1)[0]), rng) for _ in range(2000)]
    assert stats.kstest(values, "uniform").statistic < 1.95 / np.sqrt(2000)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: wilson_bounds(5, 0), "n"),
        (lambda: exact_bounds(6, 5), "hits"),
        (lambda: exact_bounds(1, 5, 1.0), "level"),
        (lambda: acceptance_band(1.2, 5), "share"),
        (lambda: crps_from_draws([], 1.0), "draws"),
    ],
)
def test_a_wrong_argument_is_named(call, field) -> None:
    with pytest.raises(BadField) as caught:
        call()
    assert caught.value.field == field


LEVELS = np.concatenate(([0.001], np.arange(1, 100) / 100, [0.999]))


def test_score_of_kept_quantiles_is_near_the_closed_form() -> None:
    law = stats.weibull_min(2.5, scale=100)
    outcomes = np.array([5.0, 60.0, 95.0, 180.0, 400.0])
    kept = np.broadcast_to(law.ppf(LEVELS), (5, LEVELS.size))
    found = crps_of_quantiles(LEVELS, kept, outcomes, outcomes)
    assert found == pytest.approx(crps_weibull(outcomes, 2.5, 100), rel=0.005, abs=0.02)


def test_score_of_an_outcome_in_a_range_is_the_mean_over_it() -> None:
    kept = stats.weibull_min(2.5, scale=100).ppf(LEVELS)[None, :]
    points = 40 + (np.arange(5) + 0.5) / 5 * 80
    each = [float(crps_of_quantiles(LEVELS, kept, [x], [x])[0]) for x in points]
    assert crps_of_quantiles(LEVELS, kept, [40.0], [120.0])[0] == pytest.approx(np.mean(each))


def test_the_certain_part_of_an_open_score_grows_with_what_is_known() -> None:
    kept = np.repeat(stats.weibull_min(2.5, scale=100).ppf(LEVELS)[None, :], 50, axis=0)
    known = np.linspace(0, 300, 50)
    found = crps_of_quantiles(LEVELS, kept, known, np.full(50, np.inf))
    assert found[0] == 0
    assert (np.diff(found) >= 0).all()
    whole = crps_of_quantiles(LEVELS, kept, known, known)
    assert (found <= whole + 1e-9).all()
    assert found[-1] == pytest.approx(whole[-1]), "beyond the last quantile nothing is open"


def test_chances_between_kept_quantiles_and_where_they_do_not_say() -> None:
    levels = np.array([0.1, 0.5, 0.9])
    kept = np.array([[0.0, 0.0, 10.0]] * 6 + [[1.0, 2.0, np.nan]])
    before, by = chances_at(levels, kept, [0.0, 5.0, 10.0, 12.0, -1.0, 2.5, 5.0])
    assert before.tolist() == pytest.approx([0.0, 0.7, 0.5, 0.9, 0.0, 0.6, 0.5])
    assert by.tolist() == pytest.approx([0.5, 0.7, 0.9, 1.0, 0.1, 0.6, 0.9])


def test_product_limit_of_published_remission_times() -> None:
    """Freireich and others, Blood 21 (1963) 699-716, 6-MP arm, on a scale of forty weeks.

    Estimates as in Kleinbaum and Klein, Survival Analysis, table 2.1 (from memory).
    """
    weeks = [6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    is_open = [k >= 9 for k in range(21)]
    value = np.array(weeks) / 40
    found = ProductLimit(value, value, is_open, np.arange(21))
    wanted = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}
    for week, survival in wanted.items():
        assert 1 - found.chance_by(week / 40) == pytest.approx(survival, abs=1e-4)
    assert found.reach == pytest.approx(35 / 40)
    assert np.isnan(found.chance_by(36 / 40))


@pytest.mark.parametrize(("together", "least_binomial"), [(1, 0.93), (6, 0.0)])
def test_bounds_of_the_product_limit_hold_the_true_share(together, least_binomial) -> None:
    """300 histories, 120 lives each, half cut off at random; 95 % bounds of a share of 0.8."""
    rng = np.random.default_rng(11)
    held = {"binomial": 0, "by_life": 0}
    for _ in range(300):
        transform = np.repeat(rng.random(120), together)
        cut = np.repeat(np.where(rng.random(120) < 0.5, rng.random(120), 1.0), together)
        value, is_open = np.minimum(transform, cut), cut < transform
        life = np.repeat(np.arange(120), together)
        inside = ProductLimit(value, value, is_open, life).between(0.1, 0.9)
        for name in held:
            low, high = getattr(inside, name)
            held[name] += low <= 0.8 <= high
    assert 0.92 <= held["by_life"] / 300 <= 0.985
    assert held["binomial"] / 300 >= least_binomial
    assert together == 1 or held["binomial"] / 300 < 0.7, "six forecasts of a life are not six"


def test_weights_restore_what_was_cut_off() -> None:
    rng = np.random.default_rng(12)
    transform, cut = rng.random(20_000), rng.uniform(0.2, 1.8, 20_000)
    value, is_open = np.minimum(transform, cut), cut < transform
    weight = ended_weights(value, value, is_open)
    assert (weight[is_open] == 0).all()
    assert np.average(transform, weights=weight) == pytest.approx(0.5, abs=0.01)
    assert transform[~is_open].mean() < 0.47, "ended ones alone are early"
    assert (ended_weights(transform, transform, np.zeros(20_000, bool)) == 1).all()

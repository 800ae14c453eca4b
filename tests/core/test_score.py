"""Scores and bounds: against slow definitions, closed forms and simulated truth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from duestroke.errors import BadField
from duestroke.score import (
    acceptance_band,
    coverage,
    crps_from_draws,
    crps_lognormal,
    crps_normal,
    crps_weibull,
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

"""What readings say alone: the line through them, first passage, and whether the latest fits."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from duestroke.errors import BadField
from duestroke.inference.wear import (
    FirstPassage,
    WearPaths,
    own_trend,
    passage_quantiles,
    readings_alone,
)
from duestroke.lives import WearReading

H = 60e6
LOG_LIVES = math.log(H) + np.linspace(-2.5, 2.5, 101)
LAW = -0.5 * ((LOG_LIVES - math.log(H)) / 0.4) ** 2
PRIOR = WearPaths.learn([], typical_life=H, typical_spread=0.48)


def readings(shares: list[float], every: float = 5e6, sd: float = 0.05) -> list[WearReading]:
    return [WearReading((i + 1) * every, share, sd) for i, share in enumerate(shares)]


RISING = readings([0.1, 0.18, 0.31, 0.39, 0.52])


@pytest.mark.parametrize(
    "given",
    [[], RISING[:2], [WearReading(1e6, share) for share in (0.1, 0.2, 0.3)]],
    ids=["none", "two", "one age"],
)
def test_no_line_without_three_readings_at_different_ages(given: list[WearReading]) -> None:
    assert own_trend(given) is None


def test_a_line_passes_through_points_on_it() -> None:
    trend = own_trend(readings([0.1, 0.2, 0.3, 0.4]))
    assert trend is not None
    assert trend.slope == pytest.approx(0.02e-6)
    assert trend.intercept == pytest.approx(0, abs=1e-12)
    assert trend.residual_sd == pytest.approx(0, abs=1e-12)
    assert float(trend.share_at(50e6)) == pytest.approx(1.0)


def test_a_further_reading_is_less_certain_than_the_line() -> None:
    trend = own_trend(RISING)
    assert trend is not None
    line, further = trend.mean_interval(40e6), trend.prediction_interval(40e6)
    assert further[0] < line[0] < float(trend.share_at(40e6)) < line[1] < further[1]


@pytest.mark.parametrize("sigma", [1e-3, 0.05, 3.0])
@pytest.mark.parametrize("drift", [0.5, 2.0, 400.0])
def test_first_passage_at_its_quantiles(drift: float, sigma: float) -> None:
    """Also where exp(2 drift distance / sigma^2) is beyond any number."""
    passage = FirstPassage(drift, sigma, 10.0)
    levels = np.array([0.001, 0.1, 0.5, 0.9, 0.999])
    assert passage.cdf(passage.quantile(levels)) == pytest.approx(levels, rel=1e-6)
    assert passage.mean == pytest.approx(10 / drift)


def test_first_passage_is_that_of_walks() -> None:
    rng = np.random.default_rng(6)
    step = 0.002
    walks = np.cumsum(0.8 * step + 0.6 * np.sqrt(step) * rng.standard_normal((2000, 1500)), axis=1)
    reached = (walks.max(axis=1) >= 1.0).mean()
    # Walks in steps miss peaks between them: a shift of 0.583 sigma sqrt(step) (Siegmund).
    passage = FirstPassage(0.8, 0.6, 1.0 + 0.583 * 0.6 * np.sqrt(step))
    assert reached == pytest.approx(float(passage.cdf(3.0)), abs=0.03)


def test_drift_away_from_the_limit_may_never_reach_it() -> None:
    passage = FirstPassage(-0.5, 1.0, 1.0)
    assert passage.chance == pytest.approx(math.exp(-1))
    assert passage.mean == math.inf
    assert passage.quantile(0.3) < math.inf
    assert passage.quantile(0.4) == math.inf
    assert FirstPassage(0.0, 1.0, 1.0).chance == 1.0


def test_what_is_at_its_limit_is_there() -> None:
    passage = FirstPassage(1.0, 1.0, -0.2)
    assert (passage.mean, passage.variance, float(passage.quantile(0.5))) == (0, 0, 0)
    assert float(passage.cdf(0.0)) == 1.0
    assert float(FirstPassage(1.0, 1.0, 0.5).cdf(0.0)) == 0.0


@pytest.mark.parametrize(("drift", "sigma"), [(math.nan, 1.0), (1.0, 0.0), (1.0, math.inf)])
def test_a_passage_of_no_sense_is_refused(drift: float, sigma: float) -> None:
    with pytest.raises(BadField):
        FirstPassage(drift, sigma, 1.0)


def test_a_line_without_error_passes_as_its_inverse_gaussian_law() -> None:
    trend = own_trend(readings([0.1, 0.2, 0.3, 0.4]))
    assert trend is not None
    levels = np.array([0.1, 0.5, 0.9])
    found = passage_quantiles(trend, 0.1 / math.sqrt(H), levels)
    wanted = FirstPassage(0.02e-6, 0.1 / math.sqrt(H), 0.6).quantile(levels)
    np.testing.assert_allclose(found, wanted, rtol=1e-4)


def test_errors_of_the_line_widen_the_passage() -> None:
    exact, rough = own_trend(readings([0.1, 0.2, 0.3, 0.4, 0.5])), own_trend(RISING)
    assert exact is not None
    assert rough is not None
    levels = np.array([0.1, 0.9])
    sharp, wide = (passage_quantiles(one, 0.02 / math.sqrt(H), levels) for one in (exact, rough))
    assert wide[1] - wide[0] > 1.3 * (sharp[1] - sharp[0])


def test_content_of_a_forecast() -> None:
    told = readings_alone(PRIOR, RISING, age=27e6)
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    assert told["readings"] == 5
    assert told["last"] == {"strokes": 25e6, "share": 0.52, "sd": 0.05}
    assert told["trend"] is not None
    assert told["alone"] is not None
    assert told["trend"]["low"] < told["trend"]["slope_per_million"] < told["trend"]["high"]
    assert told["trend"]["slope_per_million"] == pytest.approx(0.021, abs=0.001)
    early, middle, late = (told["alone"][level] or math.inf for level in ("0.1", "0.5", "0.9"))
    assert 0 < early < middle < late
    assert middle == pytest.approx(0.48 / 0.021e-6 - 2e6, rel=0.1)
    assert told["fits"]


@pytest.mark.parametrize("given", [[], RISING[:1], RISING[:2]], ids=["none", "one", "two"])
def test_content_without_a_line(given: list[WearReading]) -> None:
    told = readings_alone(PRIOR, given, age=27e6)
    assert told["readings"] == len(given)
    assert (told["last"] is None) == (not given)
    assert told["trend"] is None
    assert told["alone"] is None


@pytest.mark.parametrize(
    ("shares", "wanted"),
    [
        ([0.4, 0.7, 1.2, 1.6], {"0.1": 0.0, "0.5": 0.0, "0.9": 0.0}),
        ([0.9, 0.6, 0.35, 0.05], {"0.1": None, "0.5": None, "0.9": None}),
    ],
    ids=["past the limit", "away from it"],
)
def test_content_at_and_away_from_the_limit(
    shares: list[float], wanted: dict[str, float | None]
) -> None:
    assert readings_alone(PRIOR, readings(shares), age=20e6)["alone"] == wanted


def test_the_guard_tells_a_reading_that_does_not_fit() -> None:
    steady = readings([0.1, 0.19, 0.31, 0.4, 0.5])
    assert PRIOR.misfit(steady, LOG_LIVES, LAW) > 0.1
    for last in (1.4, -0.3):
        jumped = [*steady[:-1], WearReading(25e6, last, 0.05)]
        tail = PRIOR.misfit(jumped, LOG_LIVES, LAW)
        assert tail < 1e-3
        assert not readings_alone(PRIOR, jumped, age=25e6, misfit=tail)["fits"]


def test_the_guard_is_right_about_how_rare_a_reading_is() -> None:
    """Tools as the place supposes: chances of a latest reading are even."""
    rng = np.random.default_rng(12)
    node = PRIOR.nodes.heaviest(0.0, 1)
    paths = WearPaths(H, 0.07, 1e-3, node, 9, True)
    power, noise = float(node.power[0]), 0.07 * float(node.noise[0])
    assert node.roughness[0] == 0
    tools = []
    for _ in range(400):
        end = H * np.exp(0.4 * rng.standard_normal())
        ages = np.arange(1, 5) * 8e6
        shares = (ages / end) ** power + noise * rng.standard_normal(4)
        rows = zip(ages, shares, strict=True)
        tools.append([WearReading(float(x), float(y), 0.07) for x, y in rows])
    tails = paths.misfits(tools, LOG_LIVES, LAW)
    assert tails.mean() == pytest.approx(0.5, abs=0.05)
    assert (tails < 0.1).mean() == pytest.approx(0.1, abs=0.045)
    assert paths.misfit(tools[7], LOG_LIVES, LAW) == pytest.approx(tails[7])


def test_the_guard_tells_a_tool_that_the_law_of_lives_did_not_expect() -> None:
    """One reading alone is held against the lives of the place."""
    assert PRIOR.misfit([WearReading(30e6, 0.5, 0.05)], LOG_LIVES, LAW) > 0.3
    assert PRIOR.misfit([WearReading(3e6, 0.9, 0.05)], LOG_LIVES, LAW) < 0.01

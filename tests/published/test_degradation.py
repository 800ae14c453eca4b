"""Published values of wear paths, through the functions that forecasts use.

Data and expected values with their sources: data/degradation.json.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from duestroke.inference.wear import FirstPassage, OwnTrend, WearPaths, own_trend
from duestroke.lives import Life, WearReading
from tests.support.lives import life

CHECKS = json.loads((Path(__file__).parent / "data" / "degradation.json").read_text())
INCHES_NEW, INCHES_FAILED = 0.9, 1.6
MILLION = 1e6


def near(check: str, name: str):
    """The expected value of a check with its own tolerance."""
    expected = CHECKS[check]["expected"][name]
    tolerance = {kind: expected.get(f"{kind}_tol", 0) for kind in ("abs", "rel")}
    return pytest.approx(expected["value"], **tolerance)


def passage() -> FirstPassage:
    given = CHECKS["B1"]["inputs"]
    return FirstPassage(given["drift"], given["sigma"], given["threshold"])


def test_b1_first_passage_of_a_wiener_process() -> None:
    """Inverse Gaussian in closed form; the same as scipy's and as the integral of its density."""
    assert list(passage().cdf(CHECKS["B1"]["inputs"]["t"])) == near("B1", "cdf")
    assert passage().mean == near("B1", "mean")
    assert passage().variance == near("B1", "variance")
    assert list(passage().quantile([0.05, 0.5, 0.95])) == near("B1", "q05_q50_q95")


def line() -> OwnTrend:
    given = CHECKS["B3"]["inputs"]
    pairs = zip(given["x"], given["y"], strict=True)
    found = own_trend([WearReading(x, y) for x, y in pairs])
    assert found is not None
    return found


@pytest.mark.parametrize(
    "name", ["intercept", "slope", "se_intercept", "se_slope", "residual_sd", "r2"]
)
def test_b3_straight_line_with_certified_values(name: str) -> None:
    """NIST StRD Norris, certified to 15 digits."""
    assert getattr(line(), name) == near("B3", name)


def test_b3_line_and_prediction_are_two_intervals() -> None:
    """Recomputed with two statistics packages."""
    assert np.ravel(line().mean_interval(500.0, 0.95)) == near("B3", "mean_ci_500")
    assert np.ravel(line().prediction_interval(500.0, 0.95)) == near("B3", "prediction_500")


def cracks() -> dict[str, tuple[WearReading, ...]]:
    """Crack length as a share of the growth from new to failed, against cycles."""
    grown = INCHES_FAILED - INCHES_NEW
    return {
        unit: tuple(
            WearReading(x * MILLION, round((y - INCHES_NEW) / grown, 9))
            for x, y in zip(*path, strict=True)
        )
        for unit, path in CHECKS["B5"]["inputs"]["paths"].items()
    }


def first_at_limit(readings: tuple[WearReading, ...]) -> float | None:
    return next((one.strokes for one in readings if one.share >= 1), None)


def ended(readings: tuple[WearReading, ...]) -> Life:
    end = "worn" if readings[-1].share >= 1 else "planned"
    low = readings[-2].strokes
    return replace(life(readings[-1].strokes, end, low=low), readings=readings)


def failed() -> dict[str, tuple[WearReading, ...]]:
    return {unit: path for unit, path in cracks().items() if first_at_limit(path) is not None}


def test_b5_crack_paths_are_all_there() -> None:
    """Meeker and Escobar 1998, Alloy-A, as shared in an open package; counts by script."""
    paths = cracks()
    assert len(paths) == near("B5", "n_units")
    assert sum(map(len, paths.values())) == near("B5", "n_points")
    assert len(failed()) == near("B5", "n_failed_by_0_12")
    seen = {unit: first_at_limit(path) for unit, path in failed().items()}
    expected = CHECKS["B5"]["expected"]["first_inspection_at_or_above_1_6"]["value"]
    assert seen == pytest.approx(expected)


def first_half(readings: tuple[WearReading, ...]) -> tuple[WearReading, ...]:
    return readings[: len(readings) // 2 + 1]


def crossing(readings: tuple[WearReading, ...]) -> float:
    """Cycles at the limit, between the last two readings of a failed unit."""
    ages, shares = zip(*((one.strokes, one.share) for one in readings), strict=True)
    return float(np.interp(1.0, shares, ages))


def test_b5_a_straight_line_from_the_first_half_is_too_late() -> None:
    for path in failed().values():
        trend = own_trend(first_half(path))
        assert trend is not None
        straight = (1 - trend.intercept) / trend.slope
        assert straight > 1.3 * crossing(path)


@pytest.mark.parametrize("half", [0, 1], ids=["even units", "odd units"])
def test_b5_the_shape_learned_from_other_units_is_not_too_late(half: int) -> None:
    """Failed units from their first half, shape from the other ten or eleven, a broad law."""
    log_lives = np.log(120_000) + np.linspace(-1.5, 1.5, 301)
    law = -0.5 * ((log_lives - np.log(120_000)) / 0.5) ** 2
    others = [ended(path) for unit, path in cracks().items() if int(unit) % 2 != half]
    paths = WearPaths.learn(others, typical_life=120_000, typical_spread=0.3)
    held = [path for unit, path in failed().items() if int(unit) % 2 == half]
    true = np.array([crossing(path) for path in held])
    joint = law + paths.log_likelihood([first_half(path) for path in held], log_lives)
    mass = np.exp(joint - joint.max(axis=1, keepdims=True))
    chance = np.cumsum(mass, axis=1) / mass.sum(axis=1, keepdims=True)
    rows = [np.exp(np.interp([0.05, 0.5, 0.95], row, log_lives)) for row in chance]
    low, middle, high = np.transpose(rows)
    assert np.count_nonzero((low <= true) & (true <= high)) >= 5
    assert 0.93 < np.median(middle / true) < 1.07


def test_b5_the_guard_tells_a_path_that_no_power_fits() -> None:
    """Cracks grow faster than any power near their end: where the others were straight, told."""
    log_lives = np.log(120_000) + np.linspace(-1.5, 1.5, 301)
    law = -0.5 * ((log_lives - np.log(120_000)) / 0.5) ** 2
    straight = [
        ended(tuple(WearReading(one.strokes, one.strokes / 100_000, 0.01) for one in path))
        for path in failed().values()
    ]
    paths = WearPaths.learn(straight, typical_life=120_000, typical_spread=0.3)
    crack = tuple(WearReading(one.strokes, one.share, 0.01) for one in cracks()["1"])
    assert paths.misfit(crack[:5], log_lives, law) > 0.01
    assert paths.misfit(crack, log_lives, law) < 1e-3

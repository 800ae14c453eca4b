"""Published figures for scores and binomial bounds. Data and sources: data/scoring.json."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from duestroke.score import (
    acceptance_band,
    critical_distances,
    crps_lognormal,
    crps_normal,
    crps_weibull,
    exact_bounds,
    uniformity,
    wilson_bounds,
)

CHECKS = json.loads((Path(__file__).parent / "data" / "scoring.json").read_text())


@pytest.mark.parametrize(
    ("name", "inputs", "score"),
    [
        ("normal", "normal_y_mu_sigma", crps_normal),
        ("lognormal", "lognormal_y_mu_sigma", crps_lognormal),
        ("weibull", "weibull_y_shape_scale", crps_weibull),
    ],
)
def test_h1_ranked_probability_score(name, inputs, score) -> None:
    """Gneiting and Raftery 2007; recomputed with scoringrules and by quadrature."""
    expected = CHECKS["H1"]["expected"][name]
    found = score(*np.array(CHECKS["H1"]["inputs"][inputs], dtype=float).T)
    assert found == pytest.approx(expected["value"], abs=expected["abs_tol"], rel=0)


@pytest.mark.parametrize(
    ("name", "bounds"), [("clopper_pearson95", exact_bounds), ("wilson95", wilson_bounds)]
)
def test_h2_bounds_of_a_coverage(name, bounds) -> None:
    """Clopper and Pearson 1934, Wilson 1927; recomputed with scipy and R binom.test."""
    given, expected = CHECKS["H2"]["inputs"], CHECKS["H2"]["expected"][name]
    found = bounds(given["k"], given["n"])
    assert found == pytest.approx(expected["value"], abs=expected["abs_tol"], rel=0)


@pytest.mark.parametrize(
    ("name", "share", "level"),
    [
        ("accept_band_if_true_080", 0.8, 0.95),
        ("accept_band_if_true_090", 0.9, 0.95),
        ("accept_999_if_true_090", 0.9, 0.999),
    ],
)
def test_h2_counts_to_accept(name, share, level) -> None:
    """Binomial quantiles, recomputed with scipy."""
    found = acceptance_band(share, CHECKS["H2"]["inputs"]["n"], level)
    assert list(found) == CHECKS["H2"]["expected"][name]["value"]


@pytest.mark.parametrize(("name", "level"), [("95", 0.95), ("999", 0.999)])
def test_h3_distances_of_uniform_transforms(name, level) -> None:
    """Chi-square law with 9 degrees, Kolmogorov's law; recomputed with scipy."""
    given, expected = CHECKS["H3"]["inputs"], CHECKS["H3"]["expected"]
    square, distance = critical_distances(given["n"], level, given["bins"])
    assert square == pytest.approx(expected[f"chi2_{name}_df9"]["value"], abs=1e-4, rel=0)
    assert distance == pytest.approx(expected[f"ks_{name}"]["value"], abs=1e-5, rel=0)


@pytest.mark.parametrize(("name", "chance"), [("95", 0.05), ("999", 0.001)])
def test_h3_transforms_at_the_distance_have_its_chance(name, chance) -> None:
    """Transforms pushed up by just the critical distance are as likely as the level says."""
    given, expected = CHECKS["H3"]["inputs"], CHECKS["H3"]["expected"]
    even = (np.arange(given["n"]) + 0.5) / given["n"]
    distance = expected[f"ks_{name}"]["value"]
    pushed = np.clip(even + distance - 0.5 / given["n"], 0, 1)
    found = uniformity(pushed, given["bins"])
    assert found.distance == pytest.approx(distance, abs=1e-9)
    assert found.distance_chance == pytest.approx(chance, rel=1e-3)


def test_h3_counts_at_the_chi_square_distance_have_its_chance() -> None:
    """Ten cells of 100, two of them apart by what makes the square 16.92 at the 95 % point."""
    given = CHECKS["H3"]["inputs"]
    wanted = CHECKS["H3"]["expected"]["chi2_95_df9"]["value"]
    counts = np.full(given["bins"], given["n"] // given["bins"])
    counts[0] += 29
    counts[1] -= 29
    cells = np.repeat((np.arange(given["bins"]) + 0.5) / given["bins"], counts)
    found = uniformity(cells, given["bins"])
    assert found.chi_square == pytest.approx(2 * 29**2 / 100)
    assert found.chi_square < wanted
    assert found.chi_square_chance > 0.05
    counts[0] += 1
    counts[1] -= 1
    cells = np.repeat((np.arange(given["bins"]) + 0.5) / given["bins"], counts)
    assert uniformity(cells, given["bins"]).chi_square_chance < 0.05

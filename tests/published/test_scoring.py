"""Published figures for scores and binomial bounds. Data and sources: data/scoring.json."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from duestroke.score import (
    acceptance_band,
    crps_lognormal,
    crps_normal,
    crps_weibull,
    exact_bounds,
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

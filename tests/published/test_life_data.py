"""Published life-data fits, through the likelihood, laws and curves that the engine uses.

Data and expected values with their sources: data/life_data.json.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from duestroke.inference.curves import anderson_darling
from duestroke.inference.families import LOGNORMAL, WEIBULL
from duestroke.inference.law import Law
from duestroke.inference.maximum import MaximumLikelihood, maximum_likelihood
from duestroke.inference.observations import Observations, observe
from tests.support.lives import life

CHECKS = json.loads((Path(__file__).parent / "data" / "life_data.json").read_text())


def near(check: str, name: str):
    """The expected value of a check with its own tolerance."""
    expected = CHECKS[check]["expected"][name]
    return pytest.approx(expected["value"], abs=expected["abs_tol"], rel=0)


def failed_and_stopped(failed: list[float], stopped: list[float]) -> Observations:
    lives = [life(t, "broken") for t in failed] + [life(t, "planned") for t in stopped]
    return observe(lives)


@cache
def units_of_a1() -> Observations:
    given = CHECKS["A1"]["inputs"]
    stopped = [given["censored_at"]] * given["n_censored"]
    return failed_and_stopped(given["failures"], stopped)


@cache
def bearings() -> Observations:
    return failed_and_stopped(CHECKS["A3"]["inputs"]["life"], [])


def cohort(entries: list[float]) -> MaximumLikelihood:
    given = CHECKS["A6"]["inputs"]
    rows = zip(entries, given["exit"], given["event"], strict=True)
    lives = [life(t, "broken" if d else "planned", entry=w) for w, t, d in rows]
    return maximum_likelihood(observe(lives), WEIBULL)


def test_a1_weibull_with_stopped_units() -> None:
    """NIST/SEMATECH e-Handbook 8.4.1.3; standard errors recomputed with R survival."""
    found = maximum_likelihood(units_of_a1(), WEIBULL)
    assert found.law.scale == near("A1", "eta")
    assert found.law.shape == near("A1", "beta")
    assert found.log_likelihood == near("A1", "loglik")
    assert found.aic == near("A1", "aic")
    assert found.law.mean == near("A1", "mean")
    assert found.law.sd == near("A1", "sd")
    assert found.se_log_quantile(-np.expm1(-1.0)) == near("A1", "se_log_eta")
    assert found.se_log_spread == near("A1", "se_log_beta")


def test_a2_lognormal_on_the_same_units() -> None:
    """NIST/SEMATECH e-Handbook 8.4.1.3 (criterion); parameters recomputed with R survival."""
    found = maximum_likelihood(units_of_a1(), LOGNORMAL)
    assert np.log(found.law.median) == near("A2", "mu")
    assert found.law.spread == near("A2", "sigma")
    assert found.aic == near("A2", "aic")
    assert found.log_likelihood == near("A2", "loglik")


def test_a3_ball_bearings_weibull() -> None:
    """Lieblein and Zelen 1956, J. Res. NBS 57; fit recomputed with R survival."""
    found = maximum_likelihood(bearings(), WEIBULL)
    b10 = float(found.law.quantile(0.10))
    assert found.law.scale == near("A3", "eta")
    assert found.law.shape == near("A3", "beta")
    assert found.log_likelihood == near("A3", "loglik_weibull")
    assert b10 == near("A3", "B10_weibull")
    assert b10 * found.se_log_quantile(0.10) == near("A3", "se_B10")
    assert anderson_darling(found.law, bearings()) == near("A3", "A2_weibull")


def test_a3_ball_bearings_lognormal() -> None:
    """Lieblein and Zelen 1956, J. Res. NBS 57; fit recomputed with R survival."""
    found = maximum_likelihood(bearings(), LOGNORMAL)
    assert np.log(found.law.median) == near("A3", "mu")
    assert found.law.spread == near("A3", "sigma_ml")
    assert found.log_likelihood == near("A3", "loglik_lognormal")
    assert anderson_darling(found.law, bearings()) == near("A3", "A2_lognormal")


def test_a5_parts_inspected_at_intervals() -> None:
    """Nelson 1982, p. 415, as tabulated in SAS/QC; recomputed with R survival and lifelines."""
    given = CHECKS["A5"]["inputs"]
    lives = []
    for low, high, count in zip(*given.values(), strict=True):
        one = life(low, "planned") if high is None else life(high, "worn", low=low)
        lives += [one] * count
    found = maximum_likelihood(observe(lives), WEIBULL)
    assert found.law.scale == near("A5", "eta")
    assert found.law.shape == near("A5", "beta")
    assert np.log(found.law.scale) == near("A5", "mu")
    assert 1 / found.law.shape == near("A5", "sigma")
    assert found.log_likelihood == near("A5", "loglik")
    assert found.se_log_quantile(-np.expm1(-1.0)) == near("A5", "se_mu")
    assert found.se_log_spread == near("A5", "se_log_sigma")


def test_a6_units_first_seen_late() -> None:
    """Cole and Hudgens 2010 (AIDS 24); recomputed with lifelines, SurPyval and scipy."""
    found = cohort(CHECKS["A6"]["inputs"]["entry"])
    assert found.law.scale == near("A6", "eta")
    assert found.law.shape == near("A6", "beta")
    assert found.log_likelihood == near("A6", "loglik")


def test_a6_without_the_entry_the_lives_look_longer() -> None:
    """The same data, entry ages thrown away: the mistake that the check guards against."""
    naive = cohort([0.0] * len(CHECKS["A6"]["inputs"]["entry"]))
    assert naive.law.scale == near("A6", "naive_without_entry_eta")
    assert naive.law.shape == near("A6", "naive_without_entry_beta")


def test_a16_remaining_life_given_the_age() -> None:
    """Closed forms for the fit of A1, checked by quadrature; mean at 0 is NIST's 540.737."""
    given = CHECKS["A16"]["inputs"]
    law = Law.weibull(shape=given["beta"], scale=given["eta"])
    ages = np.array(given["ages"], dtype=float)
    for name, chance in (("q10", 0.1), ("q50", 0.5), ("q90", 0.9)):
        assert law.remaining_quantile(ages, chance) == near("A16", name)
    assert [law.mean_remaining(age) for age in ages] == near("A16", "mrl")
    next_200 = float(law.survival(700.0) / law.survival(500.0))
    assert next_200 == near("A16", "surv_next_200_given_500")


def test_a17_heavily_censored_lives() -> None:
    """Krivtsov and Case 1999 (SAE 1999-01-3220); recomputed with lifelines and SurPyval."""
    given = CHECKS["A17"]["inputs"]
    found = maximum_likelihood(failed_and_stopped(given["failures"], given["censored"]), WEIBULL)
    assert found.law.scale == near("A17", "eta")
    assert found.law.shape == near("A17", "beta")
    assert found.log_likelihood == near("A17", "loglik")

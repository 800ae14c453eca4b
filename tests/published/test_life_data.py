"""Published life-data fits, through the likelihood, laws and curves that the engine uses.

Data and expected values with their sources: data/life_data.json.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from duestroke.inference.bounds import likelihood_ratio_bounds, wald_bounds
from duestroke.inference.curves import anderson_darling, hazard_curve, step_curve
from duestroke.inference.families import LOGNORMAL, WEIBULL
from duestroke.inference.incidence import cumulative_incidence
from duestroke.inference.law import Law
from duestroke.inference.maximum import MaximumLikelihood, maximum_likelihood
from duestroke.inference.observations import Observations, observe
from duestroke.inference.regression import accelerated_life
from tests.support.lives import life

DATA = Path(__file__).parent / "data"
CHECKS = json.loads((DATA / "life_data.json").read_text())
SETS = json.loads((DATA / "life_data_sets.json").read_text())


def near(check: str, *names: str):
    """The expected value of a check with its own tolerance."""
    expected = CHECKS[check]["expected"]
    for name in names:
        expected = expected[name]
    if "rel_tol" in expected:
        return pytest.approx(expected["value"], rel=expected["rel_tol"], abs=0)
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


@cache
def absorbers() -> Observations:
    given = CHECKS["A4"]["inputs"]
    return failed_and_stopped(given["failures"], given["censored"])


def test_a4_shock_absorbers_most_likely_laws() -> None:
    """Meeker and Escobar 1998, chapter 8; figures also in the tests of R's weibulltools."""
    found = maximum_likelihood(absorbers(), WEIBULL)
    assert found.law.scale == near("A4", "eta")
    assert np.log(found.law.scale) == near("A4", "mu")
    assert found.law.shape == near("A4", "beta")
    assert 1 / found.law.shape == near("A4", "sigma")
    assert found.log_likelihood == near("A4", "loglik")
    assert float(found.law.quantile(0.1)) == near("A4", "B10")
    other = maximum_likelihood(absorbers(), LOGNORMAL)
    told = [np.log(other.law.median), other.law.spread, other.log_likelihood]
    assert told == near("A4", "lognormal_mu_sigma_loglik")


def test_a4_bounds_by_curvature_and_by_likelihood_ratio() -> None:
    """Wald's and profile bounds recomputed in R (survreg; the profile made likely anew)."""
    found = maximum_likelihood(absorbers(), WEIBULL)
    for bounds_of, kind in ((wald_bounds, "wald"), (likelihood_ratio_bounds, "lr")):
        for parameter, name in (("weibull_scale", "eta"), ("weibull_shape", "beta")):
            bounds = bounds_of(found, parameter, 0.95)
            assert [bounds.low, bounds.high] == near("A4", f"{kind}_{name}")
    b10 = likelihood_ratio_bounds(found, "b10", 0.95)
    assert [b10.low, b10.high] == near("A4", "lr_B10")
    scale = wald_bounds(found, "weibull_scale", 0.90)
    assert np.log([scale.low, scale.high]) == near("A4", "wald90_mu")


def test_a7_curves_of_weeks_in_remission() -> None:
    """Freireich et al. 1963 (6-MP group); recomputed with R survival's survfit, ctype 1."""
    given = CHECKS["A7"]["inputs"]
    observations = failed_and_stopped(given["events"], given["censored"])
    steps, hazard = step_curve(observations), hazard_curve(observations)
    assert steps.age.tolist() == hazard.age.tolist() == CHECKS["A7"]["expected"]["time"]
    assert steps.survival == near("A7", "S")
    assert steps.standard_error == near("A7", "greenwood_se")
    assert hazard.hazard == near("A7", "nelson_aalen")
    assert hazard.standard_error == near("A7", "na_se")
    wide = step_curve(observations, level=0.95)
    at_10 = wide.age.tolist().index(10.0)
    assert [wide.low[at_10], wide.high[at_10]] == near("A7", "loglog_ci_at_10")
    assert float(steps.age[steps.survival <= 0.5][0]) == near("A7", "median")


def appliances() -> tuple[Observations, list[str | None]]:
    given = CHECKS["A13"]["inputs"]
    modes = [None if mode == "C" else mode for mode in given["mode"]]
    rows = zip(given["kilocycles"], modes, strict=True)
    return observe([life(t, "broken" if mode else "planned") for t, mode in rows]), modes


@pytest.mark.parametrize("mode", ["S", "W", "pooled"])
def test_a13_each_mode_with_the_others_censored(mode: str) -> None:
    """Meeker and Escobar 1998, Device-G; recomputed with R survival's survreg."""
    _, modes = appliances()
    ages = CHECKS["A13"]["inputs"]["kilocycles"]
    failed = [each is not None and mode in (each, "pooled") for each in modes]
    lives = [life(t, "broken" if end else "planned") for t, end in zip(ages, failed, strict=True)]
    found = maximum_likelihood(observe(lives), WEIBULL)
    assert found.law.scale == near("A13", mode, "eta")
    assert found.law.shape == near("A13", mode, "beta")
    assert found.log_likelihood == near("A13", mode, "loglik")


def test_a13_share_ended_by_each_mode() -> None:
    """Recomputed with R survival's survfit and cmprsk's cuminc; errors are binomial here."""
    surge, wear = cumulative_incidence(*appliances())
    at = CHECKS["A13"]["expected"]["aj_time"]
    rows = np.searchsorted(surge.age, at, side="right") - 1
    assert (surge.mode, wear.mode) == ("S", "W")
    assert surge.share[rows] == near("A13", "cif_S")
    assert wear.share[rows] == near("A13", "cif_W")
    assert surge.standard_error[rows[-1]] == near("A13", "se_S_at_299")
    assert wear.standard_error[rows[-1]] == pytest.approx(np.sqrt(7 * 23 / 30**3), abs=1e-9)
    steps = step_curve(appliances()[0])
    assert surge.share + wear.share + steps.survival == pytest.approx(np.ones(surge.age.size))
    assert steps.standard_error[rows[-1]] == near("A13", "se_running_at_299")


def test_a15_effects_on_log_life() -> None:
    """Rossi data of lifelines (MIT licence); fit recomputed with R survreg and lifelines."""
    covariates = dict(SETS["rossi_covariates"])
    rows = zip(covariates.pop("week"), covariates.pop("arrest"), strict=True)
    lives = [life(week, "broken" if event else "planned") for week, event in rows]
    found = accelerated_life(observe(lives), covariates, WEIBULL)
    expected = CHECKS["A15"]["expected"]["coef_log_eta"]["value"]
    told = {name: effect.value for name, effect in found.effects.items()}
    assert {"Intercept": np.log(found.law.scale)} | told == pytest.approx(expected, abs=1e-4)
    assert found.law.shape == near("A15", "shape")
    assert np.log(found.law.shape) == near("A15", "log_shape")
    assert found.log_likelihood == near("A15", "loglik")


@pytest.mark.parametrize("name", list(SETS["sets"]))
def test_i1_real_data_sets(name: str) -> None:
    """Data sets of lifelines (MIT licence); lifelines and SurPyval agree on each fit."""
    given = SETS["sets"][name]
    observations = failed_and_stopped(given["failed"], given["stopped"])
    found = maximum_likelihood(observations, WEIBULL)
    assert (observations.lives, observations.failures) == (given["lives"], given["failures"])
    assert found.law.scale == pytest.approx(given["weibull_scale"], rel=given["rel_tol"])
    assert found.law.shape == pytest.approx(given["weibull_shape"], rel=given["rel_tol"])


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

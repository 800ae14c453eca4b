"""Life inference against an independent likelihood, closed forms, and the rules of the record."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import optimize, stats

from duestroke.errors import BadField
from duestroke.inference import Prior, fit, observe
from duestroke.inference.curves import anderson_darling, step_curve
from duestroke.inference.families import EARLY_DEFECTS, LOGNORMAL, WEIBULL
from duestroke.inference.law import Law
from duestroke.inference.likelihood import log_ages, log_likelihood
from duestroke.inference.maximum import maximum_likelihood
from duestroke.inference.observations import CENSORED, EXACT, INTERVAL, UNSEEN, Observations
from tests.support.lives import life

HANDBOOK = 50e6


def sample(seed: int, count: int) -> Observations:
    """Lives of every sort: seen, found, censored, perhaps worn unseen, first seen late."""
    rng = np.random.default_rng([seed, 20])
    end = 60e6 * rng.weibull(rng.uniform(1.2, 4.0), count)
    seen_to = 60e6 * rng.uniform(0.3, 1.6, count)
    entry = np.where(rng.random(count) < 0.4, rng.uniform(0.02, 0.6, count) * HANDBOOK, 0.0)
    entry_low = entry * np.where(rng.random(count) < 0.5, 1.0, rng.uniform(0, 1, count))
    failed = end < seen_to
    code = np.where(
        failed, rng.choice([EXACT, INTERVAL], count), rng.choice([CENSORED, UNSEEN], count)
    )
    high = np.minimum(end, seen_to)
    low = np.where(np.isin(code, (INTERVAL, UNSEEN)), np.maximum(high - 8e6, entry_low), high)
    kept = (high > entry + 0.01 * HANDBOOK) & ((low < high) | np.isin(code, (EXACT, CENSORED)))
    rows = Observations(code.astype(np.int8), low, high, entry_low, entry)
    return rows.select(kept)


def independent_log_likelihood(law, rows: Observations) -> float:
    """The same contributions from scipy's own laws, straight from the ages in strokes."""
    q, code = rows.unseen_share, rows.code
    at_low, at_high = law.sf(rows.low), law.sf(rows.high)
    with np.errstate(divide="ignore", over="ignore", under="ignore", invalid="ignore"):
        terms = np.select(
            [code == EXACT, code == INTERVAL, code == CENSORED],
            [law.logpdf(rows.high), np.log(at_low - at_high), law.logsf(rows.high)],
            np.log(q * at_low + (1 - q) * at_high),
        )
        entries = np.log(q * law.sf(rows.entry_low) + (1 - q) * law.sf(rows.entry))
        total = float(terms.sum() - entries[rows.entry > 0].sum())
    return total if np.isfinite(total) else -1e12


def weibull_of_scipy(log_scale: float, log_shape: float):
    return stats.weibull_min(np.exp(log_shape), scale=np.exp(log_scale))


def lognormal_of_scipy(mu: float, log_sigma: float):
    return stats.lognorm(np.exp(log_sigma), scale=np.exp(mu))


@pytest.mark.parametrize("seed", range(20))
def test_maximum_agrees_with_an_independent_likelihood(seed) -> None:
    """40 random samples, two families: same maximum, same height, by another optimiser."""
    rows = sample(seed, 60)
    assert rows.failures >= 5
    for family, make in ((WEIBULL, weibull_of_scipy), (LOGNORMAL, lognormal_of_scipy)):
        found = maximum_likelihood(rows, family)
        start = [np.log(60e6), 0.5 if family is WEIBULL else -0.5]
        other = optimize.minimize(
            lambda at, make=make: -independent_log_likelihood(make(*at), rows),
            start,
            method="Nelder-Mead",
            tol=1e-9,
        )
        if family is WEIBULL:
            ours = [np.log(found.law.scale), np.log(found.law.shape)]
        else:
            ours = [np.log(found.law.median), np.log(found.law.spread)]
        assert ours == pytest.approx(other.x.tolist(), abs=2e-3)
        height = independent_log_likelihood(make(*ours), rows)
        assert found.log_likelihood == pytest.approx(height, abs=2e-3)
        assert height >= -other.fun - 1e-4


@pytest.mark.parametrize("family", [WEIBULL, LOGNORMAL, *EARLY_DEFECTS], ids=lambda f: f.name)
def test_density_is_the_slope_of_survival(family) -> None:
    u = np.linspace(-4, 2, 201)
    for s in (0.12, 0.48, 1.5):
        spread, step = np.array(s), 1e-6
        rise = np.exp(family.log_survival(u - step, spread))
        slope = (rise - np.exp(family.log_survival(u + step, spread))) / (2 * step)
        assert np.exp(family.log_density(u, spread)) == pytest.approx(slope, abs=1e-7, rel=1e-4)


@pytest.mark.parametrize("family", [WEIBULL, LOGNORMAL], ids=lambda f: f.name)
def test_median_and_spread_are_what_they_say(family) -> None:
    """`m` is the log median and `s` the sd of log life, for every family."""
    chance = (np.arange(200_000) + 0.5) / 200_000
    u = family.life_beyond(np.full(chance.size, -np.inf), np.array(0.48), chance, chance)
    assert np.median(u) == pytest.approx(0.0, abs=1e-4)
    assert np.std(u) == pytest.approx(0.48, rel=1e-3)


@pytest.mark.parametrize("family", [WEIBULL, LOGNORMAL, *EARLY_DEFECTS], ids=lambda f: f.name)
@pytest.mark.parametrize("age", [-np.inf, -1.5, 0.3])
def test_lives_beyond_an_age_follow_the_conditional_law(family, age) -> None:
    """Kolmogorov distance of 40,000 draws at the 99.9 % point, 1.95 / sqrt n (Smirnov 1948)."""
    rng = np.random.default_rng(8)
    n, s = 40_000, np.array(0.5)
    u = family.life_beyond(np.full(n, age), s, rng.random(n), rng.random(n))
    given = family.log_survival(np.array(age), s)
    reached = np.sort(1 - np.exp(family.log_survival(u, s) - given))
    distance = np.max(np.abs(reached - (np.arange(n) + 0.5) / n))
    assert distance < 1.95 / np.sqrt(n)


def test_knots_stand_for_many_lives() -> None:
    """2,000 lives at once give what their parts give one by one."""
    rows = sample(3, 3000).relative_to(HANDBOOK)
    m, s = np.linspace(-0.5, 0.5, 7), np.array([0.2, 0.48, 1.1])
    for family in (WEIBULL, LOGNORMAL, *EARLY_DEFECTS):
        whole = log_likelihood(family, log_ages(rows, rows.unseen_share), m, s)
        parts = np.zeros_like(whole)
        for start in range(0, rows.lives, 60):
            some = np.zeros(rows.lives, dtype=bool)
            some[start : start + 60] = True
            ages = log_ages(rows.select(some), rows.unseen_share)
            parts += log_likelihood(family, ages, m, s)
        near = parts > parts.max() - 200
        assert whole[near] == pytest.approx(parts[near], abs=0.02)


def test_posterior_agrees_with_quadrature() -> None:
    """Survival under the posterior by an independent double sum over a wide, dense grid."""
    rows = sample(5, 25)
    belief = Prior(families={"weibull": 1.0})
    model = fit(rows, handbook_life=HANDBOOK, prior=belief)
    m, log_s = np.linspace(-1.2, 1.2, 49), np.linspace(np.log(0.12), np.log(1.6), 33)
    weight = np.empty((m.size, log_s.size))
    for (i, at), (j, spread) in itertools.product(enumerate(m), enumerate(np.exp(log_s))):
        shape = np.pi / np.sqrt(6) / spread
        law = stats.weibull_min(shape, scale=HANDBOOK * np.exp(at) / np.log(2) ** (1 / shape))
        prior = stats.t(5, scale=0.45).logpdf(at) + stats.norm(np.log(0.48), 0.42).logpdf(
            np.log(spread)
        )
        weight[i, j] = independent_log_likelihood(law, rows) + prior
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    shape = np.pi / np.sqrt(6) / np.exp(log_s)
    for strokes in (10e6, 40e6, 80e6):
        x = np.log(strokes / HANDBOOK) - m[:, None]
        survival = float((weight * np.exp(-np.log(2) * np.exp(shape * x))).sum())
        assert float(model.survival(strokes)) == pytest.approx(survival, abs=1e-3)


def test_due_now_follows_bayes() -> None:
    """Chance of an unseen end, by simulation: lives drawn, those found by then thrown out."""
    q, good_at, age = 0.6, 20e6, 45e6
    ends = fit([], handbook_life=HANDBOOK).remaining(
        0.0, draws=400_000, rng=np.random.default_rng(5)
    )
    last = ends[ends > good_at]
    unseen = (last <= age) & (np.random.default_rng(6).random(last.size) < q)
    there = int((unseen | (last > age)).sum())
    share = unseen.sum() / there
    model = fit([life(age, low=good_at)], handbook_life=HANDBOOK, unseen_share=q)
    assert model.remaining_life(age, good_at).due_now == pytest.approx(
        share, abs=4 * np.sqrt(share / there)
    )


def test_late_first_sight_is_not_a_new_tool() -> None:
    """Two tools that failed at 60 M, first seen at 55 M: taken as new they look far better."""
    lives = [life(60e6, "broken", entry=55e6)] * 2
    naive = [life(60e6, "broken")] * 2
    model, wrong = (fit(some, handbook_life=HANDBOOK) for some in (lives, naive))
    assert model.quantile(0.5) < 0.9 * wrong.quantile(0.5)


def test_found_worn_is_earlier_than_found() -> None:
    found = [life(40e6, "worn", low=24e6)] * 6
    seen = [life(40e6, "worn")] * 6
    one, other = (fit(some, handbook_life=HANDBOOK) for some in (found, seen))
    assert one.quantile(0.5) < other.quantile(0.5)


def test_observations_say_what_the_record_says() -> None:
    lives = [
        life(30e6, "worn", low=24e6),
        life(30e6, "worn"),
        life(30e6, "broken", low=24e6),
        life(30e6, "can-defect"),
        life(30e6, "planned", low=24e6),
        life(30e6, "running", low=24e6),
        life(30e6, "running"),
        life(30e6, "running", low=5e6, entry=20e6),
        life(30e6, "collateral", entry=20e6, entry_low=12e6),
    ]
    seen = observe(lives)
    codes = [INTERVAL, EXACT, EXACT, EXACT, CENSORED, UNSEEN, CENSORED, UNSEEN, CENSORED]
    assert seen.code.tolist() == codes
    assert seen.low.tolist() == [24e6, 30e6, 30e6, 30e6, 30e6, 24e6, 30e6, 20e6, 30e6]
    assert seen.entry_low.tolist() == [0.0] * 7 + [20e6, 12e6]
    assert (seen.lives, seen.failures) == (9, 4)
    assert seen.unseen_share == pytest.approx((1 + 1) / (4 + 2))


def test_ages_next_to_zero_are_made_harmless() -> None:
    lives = [
        life(0.0, "broken"),
        life(10.0, "planned"),
        life(0.0),
        life(40e6, "broken", entry=100.0),
        life(30e6, "broken", entry=30e6),
        life(30e6, entry=30e6),
    ]
    shares = observe(lives).relative_to(HANDBOOK)
    rows = sorted(zip(shares.code.tolist(), shares.low, shares.high, shares.entry, strict=True))
    assert rows == [
        (EXACT, 0.8, 0.8, 0.0),
        (INTERVAL, 0.0, 0.001, 0.0),
        (INTERVAL, 0.6, pytest.approx(0.601), 0.6),
    ]


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        ({"handbook_life": 0.0}, "handbook_life"),
        ({"handbook_life": float("nan")}, "handbook_life"),
        ({"handbook_life": HANDBOOK, "handbook_spread": 0.0}, "handbook_spread"),
        ({"handbook_life": HANDBOOK, "unseen_share": 1.5}, "unseen_share"),
    ],
)
def test_a_wrong_figure_is_named(arguments, field) -> None:
    with pytest.raises(BadField) as caught:
        fit([], **arguments)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"strokes": -1.0}, "strokes"),
        ({"strokes": float("nan")}, "strokes"),
        ({"entry": 40e6}, "strokes"),
        ({"entry": -1.0}, "entry_strokes"),
        ({"entry": 10e6, "entry_low": 11e6}, "entry_strokes_low"),
        ({"low": 31e6}, "strokes_low"),
        ({"low": 30e6}, "strokes_low"),
        ({"end": "worn out"}, "end"),
    ],
)
def test_a_life_that_cannot_be_is_refused_by_field(change, field) -> None:
    with pytest.raises(BadField) as caught:
        life(**{"strokes": 30e6, "end": "worn", **change})
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        ((-1.0, None), "age"),
        ((10e6, 11e6), "good_at"),
        ((float("inf"), None), "age"),
    ],
)
def test_an_age_that_cannot_be_is_refused_by_name(arguments, field) -> None:
    model = fit([], handbook_life=HANDBOOK)
    with pytest.raises(BadField) as caught:
        model.remaining_life(*arguments)
    assert caught.value.field == field
    with pytest.raises(BadField):
        model.remaining_quantiles(10e6, None, [0.0, 0.5])
    with pytest.raises(BadField):
        model.chance_within(10e6, None, [-1.0])


def test_no_maximum_is_said_not_invented() -> None:
    for lives in ([], [life(40e6)], [life(40e6, "broken")] * 5, [life(40e6, "broken")]):
        with pytest.raises(BadField):
            maximum_likelihood(observe(lives), WEIBULL)


def test_product_limit_of_a_textbook_sample() -> None:
    """Kaplan-Meier and Greenwood on the 6-MP group of Freireich et al. 1963 (Blood 21).

    Figures as printed in survival textbooks and by R survival (survfit).
    """
    failed = [6, 6, 6, 7, 10, 13, 16, 22, 23]
    censored = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    lives = [life(t, "broken") for t in failed] + [life(t, "planned") for t in censored]
    curve = step_curve(observe(lives))
    assert curve.age.tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert curve.survival == pytest.approx(
        [0.857143, 0.806723, 0.752941, 0.690196, 0.627451, 0.537815, 0.448179], abs=1e-6
    )
    assert curve.standard_error == pytest.approx(
        [0.0763604, 0.0869353, 0.0963497, 0.1068147, 0.1140539, 0.1282338, 0.1345915], abs=1e-6
    )
    assert np.all((curve.low < curve.survival) & (curve.survival < curve.high))


def test_product_limit_counts_late_entries_only_while_in_sight() -> None:
    """Without the entry ages the early step would be a quarter, not the whole."""
    lives = [life(10, "broken"), *[life(t, "broken", entry=20) for t in (30, 40, 50)]]
    curve = step_curve(observe(lives))
    assert curve.at_risk.tolist() == [1, 3, 2, 1]
    late = step_curve(observe([life(40, "broken", entry=5), life(60, "broken", entry=30)]))
    assert late.survival.tolist() == [0.5, 0.0]


def test_distance_between_curve_and_law_under_the_law() -> None:
    """Complete samples from the law itself: mean of Anderson-Darling's statistic is 1.

    Anderson and Darling 1954, J. Am. Stat. Assoc. 49, 765-769: A^2 has mean 1, variance 0.58.
    """
    law = Law.weibull(shape=2.5, scale=60e6)
    rng = np.random.default_rng(3)
    values = []
    for _ in range(300):
        ends = law.quantile(rng.uniform(1e-9, 1, 40))
        values.append(anderson_darling(law, observe([life(float(t), "broken") for t in ends])))
    assert np.mean(values) == pytest.approx(1.0, abs=4 * np.sqrt(0.58 / 300))


def test_more_lives_make_the_law_sharper() -> None:
    widths = []
    for count in (5, 50, 500):
        interval = fit(sample(9, count), handbook_life=HANDBOOK).parameters()["b50"]
        widths.append(np.log(interval.high / interval.low))
    assert widths[0] > widths[1] > widths[2]


def test_a_wrong_handbook_is_overruled() -> None:
    """Thirty lives about 50 M under a handbook of 500 M: the median follows the lives."""
    rng = np.random.default_rng(2)
    lives = [life(float(t), "broken") for t in 55e6 * rng.weibull(2.5, 30)]
    interval = fit(lives, handbook_life=500e6).parameters()["b50"]
    assert interval.low < 55e6 * np.log(2) ** 0.4 < interval.high

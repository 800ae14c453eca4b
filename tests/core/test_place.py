"""A place's posterior: modes, groups, effects and readings, against sums done another way."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from duestroke.errors import BadField
from duestroke.inference.ahead import survival
from duestroke.inference.effects import NOT_KNOWN
from duestroke.inference.families import EARLY_DEFECTS, LOGNORMAL, WEIBULL
from duestroke.inference.fit import fit
from duestroke.inference.joined import joined
from duestroke.inference.lattice import Axis, interpolation, shares
from duestroke.inference.likelihood import log_ages, log_likelihood
from duestroke.inference.modes import all_ends, is_told_by_readings, mode_of, sudden, wear
from duestroke.inference.observations import CENSORED, EXACT, INTERVAL, observe
from duestroke.inference.own import Conditions, OwnLaws
from duestroke.inference.place import PlacePosterior, fit_place
from duestroke.inference.pooling import Scale
from duestroke.inference.prior import Prior
from duestroke.inference.relative import told_by
from duestroke.inference.rows import covering, everyone, rows_on
from duestroke.inference.tool import ToolRecord
from duestroke.lives import Life, WearReading
from tests.core.test_inference_contract import mixed
from tests.support.lives import life
from tests.support.places import (
    HANDBOOK,
    Policy,
    with_groups,
    with_modes,
    with_readings,
    with_roughness,
)

UNGROUPED = Prior(batch=0.0, press=0.0)


def place_of(lives, prior: Prior | None = None, **more) -> PlacePosterior:
    return fit_place(lives, handbook_life=HANDBOOK, prior=prior, **more)


def median_of(place: PlacePosterior, tool: ToolRecord | None = None) -> float:
    """Median life of a new tool, strokes, read off its survival."""
    strokes = HANDBOOK * np.geomspace(0.05, 20, 4000)
    return float(np.interp(-0.5, -survival(place, strokes, tool), strokes))


# The lattice


def test_interpolation_is_exact_for_cubics() -> None:
    axis = Axis(-1.0, 0.2, 12)
    at = np.array([-1.0, -0.93, 0.11, 1.2])
    cubic = np.polynomial.Polynomial([1.0, -2.0, 0.5, 3.0])
    assert interpolation(axis, at) @ cubic(axis.points) == pytest.approx(cubic(at), abs=1e-12)


def test_mass_put_on_points_keeps_sum_and_mean() -> None:
    axis = Axis(0.0, 0.5, 9)
    at = np.array([0.0, 0.3, 1.75, 4.0])
    put = shares(axis, at)
    assert put.sum(axis=1) == pytest.approx(np.ones(4))
    assert put @ axis.points == pytest.approx(at)


@pytest.mark.parametrize("family", [WEIBULL, LOGNORMAL, EARLY_DEFECTS[1]], ids=lambda f: f.name)
def test_lattice_likelihood_agrees_with_the_direct_one(family) -> None:
    """Lives of every sort, by two roads: sums on a lattice, and term by term."""
    lives = mixed(80, seed=4)
    mode = all_ends(lives)
    told = told_by(mode, HANDBOOK, np.zeros(len(lives)), None)
    m, s = Axis(-0.5, 0.04, 26), np.array([0.3, 0.48, 0.8])
    rows = rows_on(told, covering([told], m))
    found = rows.log_likelihood(family, m, s, everyone(len(lives)))[0]
    ages = log_ages(observe(lives).relative_to(HANDBOOK), mode.q)
    direct = log_likelihood(family, ages, m.points, s).T
    near = direct > direct.max() - 40
    assert found[near] == pytest.approx(direct[near], abs=0.01)


# One law


def test_one_label_and_nothing_else_is_the_plain_fit() -> None:
    lives = [replace(one, end="broken", strokes_low=None) for one in mixed(30)]
    place, plain = place_of(lives), fit(lives, handbook_life=HANDBOOK)
    assert (place.two_modes, len(place.ways)) == (0, 1)
    (seen,) = place.alternatives(ToolRecord(10e6))
    assert [n.weight.tobytes() for n in seen.life] == [n.weight.tobytes() for n in plain.nodes]
    assert place.parameters() == plain.parameters()


def test_pooled_road_without_groups_gives_the_plain_fit() -> None:
    """One speed for all is no effect: the lattice must give what the grid gives."""
    lives = [replace(one, end="broken", strokes_low=None) for one in mixed(40)]
    same = [replace(one, mean_speed_mps=11.05, id=str(k)) for k, one in enumerate(lives)]
    plain, pooled = place_of(lives), place_of(same)
    assert pooled.ways[0].life.pooled is not None
    strokes = HANDBOOK * np.array([0.1, 0.3, 1.0, 1.5, 2.0])
    at_its_speed = survival(pooled, strokes, ToolRecord(0.0, speed_now=11.05))
    assert at_its_speed == pytest.approx(survival(plain, strokes), abs=3e-3)
    evidence = [one.ways[0].life.log_evidence for one in (plain, pooled)]
    assert evidence[0] == pytest.approx(evidence[1], abs=0.1)


@pytest.mark.parametrize(
    ("arguments", "field"),
    [
        ({"handbook_life": -1.0}, "handbook_life"),
        ({"handbook_life": HANDBOOK, "handbook_spread": 9.0}, "handbook_spread"),
        ({"handbook_life": HANDBOOK, "unseen_share": -0.1}, "unseen_share"),
    ],
)
def test_a_wrong_figure_is_named(arguments, field) -> None:
    with pytest.raises(BadField) as caught:
        fit_place([], **arguments)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"median_scale": 0.0}, "prior.median_scale"),
        ({"sudden_ratio": -4.0}, "prior.sudden_ratio"),
        ({"rate_exponent": float("nan")}, "prior.rate_exponent"),
        ({"batch": 1.5}, "prior.batch"),
        ({"batch": 0.6, "press": 0.6}, "prior.press"),
        ({"two_modes": 2.0}, "prior.two_modes"),
    ],
)
def test_a_prior_that_cannot_be_is_refused_by_field(change, field) -> None:
    with pytest.raises(BadField) as caught:
        Prior(**change)
    assert caught.value.field == field


# Modes


def reading(strokes: float, share: float) -> WearReading:
    return WearReading(strokes, share, 0.05)


def test_which_mode_ended_a_life() -> None:
    far, near = (reading(20e6, 0.5),), (reading(20e6, 0.8),)
    lives = [
        life(30e6, "worn"),
        life(30e6, "broken"),
        life(30e6, "can-defect"),
        replace(life(30e6, "can-defect"), readings=far),
        replace(life(30e6, "can-defect"), readings=near),
        life(30e6, "planned"),
    ]
    assert [mode_of(one) for one in lives] == ["wear", "sudden", "sudden", "sudden", "wear", None]


def test_each_mode_sees_the_other_as_a_survival() -> None:
    lives = [life(30e6, "worn", low=20e6), life(31e6, "broken"), life(32e6, "planned")]
    assert wear(lives).seen.code.tolist() == [INTERVAL, CENSORED, CENSORED]
    assert sudden(lives).seen.code.tolist() == [CENSORED, EXACT, CENSORED]
    assert sudden(lives).seen.high.tolist() == [30e6, 31e6, 32e6]


def test_readings_tell_the_wear_unless_a_look_does() -> None:
    near, far = (reading(28e6, 0.95),), (reading(28e6, 0.6),)
    assert is_told_by_readings(replace(life(30e6, "worn", low=28e6), readings=near))
    assert not is_told_by_readings(replace(life(30e6, "worn", low=28e6), readings=far))
    assert is_told_by_readings(replace(life(30e6, "planned"), readings=far))
    assert not is_told_by_readings(life(30e6, "worn"))


def test_labels_by_a_constant_share_are_no_two_modes() -> None:
    """One law, ends labelled by the way they were seen; and two laws, labelled by what they are."""
    rng = np.random.default_rng(8)
    ages = 50e6 * (rng.weibull(2.5, 60) / math.log(2) ** 0.4)
    ends = rng.random(60) < 0.5
    one = [life(float(t), "worn" if w else "broken") for t, w in zip(ages, ends, strict=True)]
    assert place_of(one).two_modes < 0.2
    two = place_of(with_modes(120))
    assert two.two_modes > 0.95
    assert two.modes.sudden_share == pytest.approx(0.22, abs=0.09)


def test_evidence_of_one_law_counts_the_labels() -> None:
    """With equal chances beforehand the odds are those of the evidences, w! b! / (w + b + 1)!."""
    lives = with_modes(12)
    place = place_of(lives)
    one = next(way for way in place.ways if way.sudden is None)
    two = next(way for way in place.ways if way.sudden is not None)
    chance = 1 / (
        (place.worn + place.sudden + 1) * math.comb(place.worn + place.sudden, place.worn)
    )
    odds = two.life.log_evidence + two.sudden.log_evidence - one.life.log_evidence
    assert math.log(two.weight / one.weight) == pytest.approx(odds - math.log(chance), abs=1e-9)


def test_two_modes_by_a_plain_double_sum() -> None:
    """Sudden mode of ten lives against a sum over a dense plane with scipy's Weibull."""
    lives = with_modes(40)
    place = place_of(lives, Prior(two_modes=1.0))
    (seen,) = place.alternatives(ToolRecord(0.0))
    strokes = np.array([10e6, 40e6, 120e6])
    u = np.log(strokes / HANDBOOK)
    told = sum(np.exp(n.family.log_survival(u[:, None] - n.m, n.s)) @ n.weight for n in seen.sudden)
    m, log_s = np.linspace(-1.0, 5.0, 241), np.linspace(math.log(0.3), math.log(4.0), 121)
    ages = np.array([one.strokes for one in lives])
    failed = np.array([one.end == "broken" for one in lives])
    weight, lasting = np.empty((m.size, log_s.size)), np.empty((m.size, log_s.size, 3))
    for j, spread in enumerate(np.exp(log_s)):
        shape = math.pi / math.sqrt(6) / spread
        scale = HANDBOOK * np.exp(m) / math.log(2) ** (1 / shape)
        law = stats.weibull_min(shape, scale=scale[:, None])
        each = np.where(failed, law.logpdf(ages) + np.log(ages), law.logsf(ages)).sum(axis=1)
        each += stats.norm(math.log(4), 0.9).logpdf(m)
        weight[:, j] = each + stats.norm(math.log(1.2), 0.3).logpdf(math.log(shape))
        lasting[:, j] = law.sf(strokes)
    mass = np.exp(weight - weight.max())
    direct = np.einsum("ij,ijk->k", mass, lasting) / mass.sum()
    assert told == pytest.approx(direct, abs=2e-3)


# Stretches of one life


def stretch(entry: float, strokes: float, end="planned", **more) -> Life:
    return replace(life(strokes, end, entry=entry), id=f"{entry}-{strokes}", serial="S7", **more)


def test_consecutive_stretches_with_readings_are_one_life() -> None:
    first = stretch(0.0, 10e6, readings=(reading(9e6, 0.2),), mean_speed_mps=10.0, press="w/1/01")
    second = stretch(10e6, 30e6, "worn", readings=(reading(29e6, 1.0),), mean_speed_mps=13.0)
    (whole,) = joined([second, first])
    assert (whole.entry_strokes, whole.strokes, whole.end) == (0.0, 30e6, "worn")
    assert [one.strokes for one in whole.readings] == [9e6, 29e6]
    assert whole.mean_speed_mps == pytest.approx(12.0)


@pytest.mark.parametrize(
    "second",
    [
        stretch(11e6, 30e6, "worn", readings=(reading(29e6, 1.0),)),
        stretch(10e6, 30e6, "worn", readings=(reading(29e6, 1.0),), life_number=1),
        replace(stretch(10e6, 30e6, "worn", readings=(reading(29e6, 1.0),)), serial="S8"),
    ],
    ids=["a gap", "another life", "another tool"],
)
def test_other_stretches_stay_apart(second) -> None:
    assert len(joined([stretch(0.0, 10e6), second])) == 2


def test_stretches_after_a_failure_or_without_readings_stay_apart() -> None:
    later = stretch(10e6, 30e6, "worn", readings=(reading(29e6, 1.0),))
    assert len(joined([stretch(0.0, 10e6, "broken"), later])) == 2
    assert len(joined([stretch(0.0, 10e6), stretch(10e6, 30e6, "worn")])) == 2


# Readings


@pytest.mark.parametrize("policy", ["to the limit", "at 85 percent", "fixed age"])
def test_median_of_ring_3_is_right_under_any_policy(policy: Policy) -> None:
    """Pulls on readings don't mislead: mean of three places of 70 lives within 4 % of the truth.

    Truth 34.2 M by simulation of the stated law; 80 % of single places lie within 32.3 to 35.5 M.
    Common practice, no source. End codes alone, where crews pull on readings, give about 52 M.
    """
    places = [place_of(with_readings(70, policy, seed)) for seed in range(3)]
    medians = [place.parameters()["b50"].median for place in places]
    assert np.mean(medians) == pytest.approx(34.2e6, rel=0.04)
    assert all(30.5e6 < median < 38.0e6 for median in medians)
    if policy == "at 85 percent":
        assert min(place.one_law.quantile(0.5) for place in places) > 44e6


def test_a_planned_pull_after_a_reading_says_no_more_than_the_reading() -> None:
    """Pulled or still in: with its readings known, how a sound stretch ended adds nothing."""
    lives = with_readings(20, "at 85 percent")
    running = [replace(one, end="running") if one.end == "planned" else one for one in lives]
    one, other = (place_of(some) for some in (lives, running))
    assert one.alternatives(ToolRecord(0.0))[0].life[0].weight == pytest.approx(
        other.alternatives(ToolRecord(0.0))[0].life[0].weight, rel=1e-9
    )


def test_a_good_verdict_after_the_last_reading_counts() -> None:
    tool = replace(life(40e6, "running", low=30e6), readings=(reading(20e6, 0.7),))
    later = replace(tool, strokes_low=39e6)
    one, other = (place_of([some]) for some in (tool, later))
    assert median_of(other) > median_of(one)


# Groups


def test_weak_batch_is_found_and_others_are_not() -> None:
    """Nine tools that wear 1.6 times as fast among 200: found, the interval holds the truth."""
    place = place_of(with_groups(200, 5, weak=9))
    told = {one.label: one for one in place.groups("batch")}
    weak = told["weak"]
    assert weak.differs
    assert weak.ratio.low < 1 / 1.6 < weak.ratio.high < 0.95
    assert (weak.lives, sum(one.differs for one in told.values())) == (9, 1)
    batches = [ToolRecord(0.0, batch=name, speed_now=11.0) for name in ("weak", "B-3")]
    few, many = (median_of(place, tool) for tool in batches)
    assert few < 0.8 * many


def test_failures_needed_fall_as_the_difference_grows() -> None:
    for one in place_of(with_groups(150)).groups("press"):
        slight, large = one.needed[1.25], one.needed[1.5]
        assert large is not None
        assert slight is None or slight > large >= 1


def test_own_median_of_a_batch_by_a_plain_sum() -> None:
    """Two batches, one spread, one tau: own medians by a dense double sum with scipy's law."""
    spread, tau, rng = 0.3, 0.2, np.random.default_rng(5)
    logs = {"a": rng.normal(-0.2, spread, 6), "b": rng.normal(0.3, spread, 6)}
    lives = [
        replace(life(HANDBOOK * math.exp(x), "broken"), batch=name, id=f"{name}{k}")
        for name, some in logs.items()
        for k, x in enumerate(some)
    ]
    belief = Prior(spread_scale=1e-3, batch=1.0, press=0.0, families={"lognormal": 1.0})
    place = fit_place(lives, handbook_life=HANDBOOK, handbook_spread=spread, prior=belief)
    pooled = place.ways[0].life.pooled
    family = pooled.families[0]
    slices = [one for one in family.slices if one.scale == Scale(tau)]
    only = replace(family, slices=tuple(replace(s, mass=s.mass / s.total) for s in slices))
    law = OwnLaws(replace(pooled, families=(only,)))
    m, own = np.linspace(-1.4, 1.4, 281), np.linspace(-1.5, 1.5, 301)
    between = stats.t(4, scale=tau).pdf(own[:, None] - m)
    likely = {
        n: np.exp(stats.norm(own[:, None], spread).logpdf(x).sum(axis=1)) for n, x in logs.items()
    }
    prior = stats.t(5, scale=0.45).pdf(m)
    for name, other in (("a", "b"), ("b", "a")):
        weight = likely[name] * (between @ (prior * (likely[other] @ between)))
        mean = float(own @ weight / weight.sum())
        sd = math.sqrt(float((own - mean) ** 2 @ weight / weight.sum()))
        (seen,) = law.nodes(Conditions(batch=name))
        found = float(seen.m @ seen.weight)
        assert found == pytest.approx(mean, abs=0.01)
        assert math.sqrt(float((seen.m - found) ** 2 @ seen.weight)) == pytest.approx(sd, rel=0.08)


# Effects


def test_rate_exponent_is_told_with_its_range() -> None:
    effects = [place_of(with_groups(300, seed)).effects()["rate"] for seed in range(3)]
    assert all(one.known for one in effects)
    assert sum(one.interval.low < 1.3 < one.interval.high for one in effects) >= 2
    assert effects[0].prior.low == pytest.approx(2 - 1.645 * 1.2, abs=0.02)


def test_one_speed_tells_nothing_of_the_rate() -> None:
    lives = [replace(one, mean_speed_mps=11.0) for one in with_groups(100)]
    rate = place_of(lives).effects()["rate"]
    assert (rate.known, rate.words, rate.interval) == (False, NOT_KNOWN, rate.prior)


def test_presses_that_differ_leave_the_rate_open() -> None:
    """Speed belongs to the press: where presses differ anyhow, the exponent is less sharp."""
    lives = with_groups(300, 2, press_sd=0.25)
    wide, narrow = (place_of(lives, prior).effects()["rate"] for prior in (None, UNGROUPED))
    width = [one.interval.high - one.interval.low for one in (wide, narrow)]
    assert width[0] > 1.5 * width[1]


def test_reworks_shorten_life_where_the_records_say_so() -> None:
    effect = place_of(with_groups(400, 3, per_rework=0.12)).effects()["life_number"]
    assert effect.known
    assert effect.interval.low < 0.12 < effect.interval.high
    assert effect.interval.low > 0


def test_rough_rams_break_tools() -> None:
    place = place_of(with_roughness(500, 12.0))
    effect = place.effects()["roughness"]
    assert effect.known
    assert effect.interval.low < 12 < effect.interval.high
    even, rough = ToolRecord(0.0), ToolRecord(0.0, rough_now=1.06)
    assert median_of(place, rough) < 0.8 * median_of(place, even)


def test_faster_presses_wear_tools_sooner() -> None:
    place = place_of(with_groups(300, 4))
    slow, fast = (median_of(place, ToolRecord(0.0, speed_now=v)) for v in (10.3, 11.9))
    assert fast / slow == pytest.approx((10.3 / 11.9) ** 1.3, abs=0.06)
    tool = ToolRecord(20e6, speed_so_far=10.3, speed_now=11.9)
    assert place.ahead_factor(tool) == pytest.approx((10.3 / 11.9) ** 1.3, abs=0.06)
    assert place.ahead_factor(replace(tool, speed_now=None)) == 1.0


def test_tools_alike_share_their_nodes() -> None:
    place = place_of(with_groups(80))
    tools = [
        ToolRecord(age, press="works/1/03", batch="B-2", speed_so_far=11.0) for age in (1e6, 9e6)
    ]
    assert place.alternatives(tools[0]) is place.alternatives(tools[1])
    other = place.alternatives(replace(tools[0], batch="B-3"))
    mine = place.alternatives(tools[0])
    assert other[0].life[0].m is mine[0].life[0].m
    assert not np.array_equal(other[0].life[0].weight, mine[0].life[0].weight)

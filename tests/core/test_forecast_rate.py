"""The rate of a press: mean, spread and window from its daily record; how well dates cover."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr

from duestroke.calendar import Calendar, Stop, calendar_of, day_start
from duestroke.forecast import DayStrokes, Rate, rate_of, whole_record
from duestroke.forecast.dates import LEVELS, WEIGHTS, DueDays, fixed_days, spread_of_days
from tests.support.laws import WeibullLaw

FIRST = datetime(2025, 1, 1, tzinfo=UTC)


def days_of(strokes: Sequence[float]) -> list[DayStrokes]:
    return [
        DayStrokes(FIRST + timedelta(days=k), FIRST + timedelta(days=k + 1), round(count))
        for k, count in enumerate(strokes)
    ]


def test_the_mean_is_strokes_over_days_and_the_window_says_which():
    rate = rate_of(days_of([400_000, 500_000, 600_000]), Calendar())
    assert rate is not None
    assert rate.strokes_per_day == 500_000
    assert (rate.start, rate.end) == (FIRST, FIRST + timedelta(days=3))
    assert rate.days == 3


def test_only_the_last_180_running_days_count():
    rate = rate_of(days_of([100_000] * 100 + [500_000] * 180), Calendar())
    assert rate is not None
    assert rate.strokes_per_day == 500_000
    assert rate.start == FIRST + timedelta(days=100)


def test_a_press_that_never_moved_has_no_rate():
    assert rate_of([], Calendar()) is None
    assert rate_of(days_of([0, 0, 0]), Calendar()) is None


def test_planned_stops_are_no_running_time():
    """A weekly day off, planned: six days' strokes in six running days, not in seven."""
    stops = [
        Stop(f"s{w}", "w/1", FIRST + timedelta(days=7 * w), FIRST + timedelta(days=7 * w + 1))
        for w in range(10)
    ]
    strokes = [0 if k % 7 == 0 else 600_000 for k in range(70)]
    rate = rate_of(days_of(strokes), calendar_of("w/1/01", stops))
    assert rate is not None
    assert rate.strokes_per_day == pytest.approx(600_000)
    assert rate.days == 60


def test_unplanned_still_days_count_but_a_shut_down_does_not():
    week_ends = [0 if k % 7 >= 5 else 700_000 for k in range(70)]
    rate = rate_of(days_of(week_ends), Calendar())
    assert rate is not None
    assert rate.strokes_per_day == pytest.approx(500_000)
    mothballed = [500_000] * 30 + [0] * 100 + [500_000] * 30
    rate = rate_of(days_of(mothballed), Calendar())
    assert rate is not None
    assert rate.strokes_per_day == pytest.approx(500_000)
    assert rate.stood_since is None


def test_a_shut_down_that_lasts_is_told():
    rate = rate_of(days_of([500_000] * 30 + [0] * 20), Calendar())
    assert rate is not None
    assert rate.stood_since == FIRST + timedelta(days=30)
    assert rate.end == FIRST + timedelta(days=30)


def test_days_without_a_row_had_no_strokes_and_the_ends_are_cut():
    zone = ZoneInfo("Europe/London")
    start = datetime(2026, 3, 28, 18, tzinfo=UTC)
    end = datetime(2026, 3, 30, 11, tzinfo=UTC)
    rows = [(day_start(start, zone), 100), (day_start(end, zone), 300)]
    days = whole_record(rows, zone, start, end)
    assert [day.strokes for day in days] == [100, 0, 300]
    assert [(day.end - day.start) / timedelta(hours=1) for day in days] == [6, 23, 12]
    assert (days[0].start, days[-1].end) == (start, end)


def test_a_short_record_is_wider_than_a_long_one_with_the_same_days():
    rng = np.random.default_rng(3)
    strokes = rng.normal(500_000, 60_000, 180)
    young, old = rate_of(days_of(strokes[:4]), Calendar()), rate_of(days_of(strokes), Calendar())
    assert young is not None
    assert old is not None
    assert spread_of_days(20.0, young) > 2 * spread_of_days(20.0, old)


def test_a_perfectly_even_press_still_has_a_range():
    rate = rate_of(days_of([500_000] * 180), Calendar())
    assert rate is not None
    low, high = np.interp([0.1, 0.9], LEVELS, fixed_days(10e6, rate))
    assert 0.02 < (high - low) / 20 < 0.3


@given(
    st.lists(st.integers(0, 700_000), min_size=1, max_size=200),
    st.floats(0, 2e8),
)
def test_days_for_strokes_grow_with_the_level_and_are_never_negative(strokes, left):
    rate = rate_of(days_of(strokes), Calendar())
    if rate is None:
        assert sum(strokes) == 0
        return
    days = fixed_days(left, rate)
    assert np.all(np.isfinite(days))
    assert np.all(days >= 0)
    assert np.all(np.diff(days) >= 0)


RATE = Rate(500_000, 0.06, 180, 0.002, FIRST, FIRST + timedelta(days=180))


left_at_corners = st.lists(st.floats(0, 1e8), min_size=4, max_size=4)


def due_days(corners: Sequence[float]) -> DueDays:
    return DueDays(np.interp(LEVELS, [0, 0.3, 0.7, 1], sorted(corners))[None, :], [RATE])


@given(left_at_corners)
def test_the_mixture_is_monotone(corners):
    due = due_days(corners)
    days = due.quantiles
    assert np.all(np.diff(days) >= 0)
    assert np.all(days >= 0)
    assert np.all(np.diff(due.mixture(days)) >= -1e-12)


@given(left_at_corners, st.lists(st.floats(0, 400), min_size=2, max_size=8))
def test_chances_grow_with_time_and_agree_with_the_quantiles(corners, days):
    due = due_days(corners)
    chance = due.chance_before([np.sort(days)])[0]
    assert np.all(np.diff(chance) >= 0)
    assert np.all((chance >= 0) & (chance <= 1))
    at_quantiles = due.chance_before([due.quantiles[0]])[0]
    apart = (due.quantiles[0] > 0) & (np.diff(due.quantiles[0], append=np.inf) > 0)
    assert np.allclose(at_quantiles[apart], np.maximum(LEVELS, due.ended[0])[apart])


@given(st.floats(0.8, 6), st.floats(0, 90e6), st.floats(0, 1), st.floats(0, 1))
def test_quantiles_and_chances_agree(shape, age, good_share, unseen):
    law = WeibullLaw(shape, 50e6, unseen)
    due = DueDays(law.remaining_quantiles(age, good_share * age, LEVELS)[None, :], [RATE])
    days = due.quantiles
    later = days[0] > 0.01  # a quarter of an hour
    assert np.all(np.abs(due.mixture(days)[0] - LEVELS)[later] < 0.011)


def test_the_mixture_equals_draws():
    """The sum over quantiles against 400,000 draws of strokes and days."""
    rng = np.random.default_rng(5)
    left = np.quantile(25e6 * rng.weibull(2.5, 200_000), LEVELS)[None, :]
    days = DueDays(left, [RATE]).quantiles[0]
    strokes = 25e6 * rng.weibull(2.5, 400_000)
    mean_days = strokes / RATE.strokes_per_day
    drawn = mean_days * np.exp(spread_of_days(mean_days, RATE) * rng.standard_normal(400_000))
    for level in (0.02, 0.1, 0.5, 0.9, 0.98):
        at = int(np.flatnonzero(np.isclose(LEVELS, level))[0])
        assert days[at] == pytest.approx(np.quantile(drawn, level), rel=0.015)


def test_quantiles_are_those_of_the_whole_law():
    """Each chance summed over 2,000 quantiles of the closed law, 60 random laws and ages."""
    rng = np.random.default_rng(4)
    middles = (np.arange(2000) + 0.5) / 2000
    for _ in range(60):
        law = WeibullLaw(float(np.exp(rng.uniform(-0.2, 1.8))), 50e6, float(rng.random()))
        age = float(rng.uniform(0, 90e6))
        good = age * float(rng.random())
        due = DueDays(law.remaining_quantiles(age, good, LEVELS)[None, :], [RATE])
        days = law.remaining_quantiles(age, good, middles) / RATE.strokes_per_day
        ahead = days[days > 0]
        told = due.quantiles[0] > 0.01
        score = np.log(due.quantiles[0][told])[:, None] - np.log(ahead)
        chance = ndtr(score / spread_of_days(ahead, RATE)).sum(axis=1) / 2000
        whole = (days <= 0).mean() + chance
        assert np.abs(whole - LEVELS[told]).max(initial=0) < 0.006


def test_what_is_past_is_due_now():
    left = np.where(LEVELS < 0.305, 0.0, 10e6)[None, :]
    due = DueDays(left, [RATE])
    past = float(WEIGHTS[LEVELS < 0.305].sum())
    assert due.ended[0] == pytest.approx(past)
    assert due.chance_before([np.zeros(1)])[0][0] == pytest.approx(past)
    assert np.all(due.quantiles[0][LEVELS <= 0.3] == 0)
    assert np.all(due.quantiles[0][LEVELS > 0.32] > 10)


def production(rng: np.random.Generator, days: int) -> np.ndarray:
    """Daily strokes: AR(1) about a mean, with breakdowns that last."""
    noise, level = rng.standard_normal(days), np.zeros(days)
    for k in range(1, days):
        level[k] = 0.6 * level[k - 1] + 0.8 * noise[k]
    up = np.ones(days)
    for k in np.flatnonzero(rng.random(days) < 0.03):
        up[k : k + rng.geometric(0.4)] = 0.3 * rng.random()
    return 500_000 * np.maximum(1 + 0.12 * level, 0.05) * up


@pytest.mark.parametrize(
    ("strokes", "seen", "share"),
    [(10e6, 60, 0.786), (10e6, 180, 0.836), (40e6, 180, 0.849), (40e6, 60, 0.787)],
)
def test_dates_cover_a_rate_that_has_a_memory(strokes, seen, share):
    """Known strokes, simulated presses: the 80 % range holds as often as it should.

    `share` is what a run of 2,000 gave; 500 repeats, band of 99.9 % (3.29 standard errors).
    A mean of independent days covers about 70 % at 22 days and 50 % at 90.
    """
    rng = np.random.default_rng(round(strokes) + seen)
    inside = 0
    for _ in range(500):
        path = production(rng, seen + 250)
        rate = rate_of(days_of(path[:seen]), Calendar())
        assert rate is not None
        took = np.interp(strokes, np.cumsum(path[seen:]), np.arange(1, 251))
        low, high = np.interp([0.1, 0.9], LEVELS, fixed_days(strokes, rate))
        inside += low <= took <= high
    band = 3.29 * np.sqrt(share * (1 - share) / 500)
    assert abs(inside / 500 - share) < band

"""The ramp says what the API said: its points, its height at the stop line, nothing else."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import ramp
from dashboard.client import LEVELS

NOW = datetime(2026, 11, 23, 6, 2, tzinfo=UTC)
SCALE = ramp.Scale(now=NOW, span=4200, rise=55.6)


def due_of(days):
    """Levels of the board at these days from now, in order."""
    return {
        f"{level:g}": None if day is None else NOW + timedelta(days=day)
        for level, day in zip(LEVELS, days, strict=True)
    }


EVEN = due_of([2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 22, 30])
RISING_DAYS = st.lists(st.floats(-5, 120), min_size=12, max_size=12).map(sorted)


def numbers(path):
    return [float(each) for each in re.findall(r"-?\d+(?:\.\d+)?", path)]


@given(RISING_DAYS, st.floats(0.1, 60))
def test_a_curve_rises_and_never_lies_in_the_past(days, stop):
    stop_at = NOW + timedelta(days=stop)
    points = ramp.curve(due_of(days), [(stop_at, 0.5)], SCALE)
    assert all(x >= 0 for x, _ in points)
    assert points == sorted(points)
    assert len({x for x, _ in points}) == len(points)
    assert all(0 < level <= 0.9 for _, level in points)


@given(RISING_DAYS, st.floats(0.1, 60))
def test_paths_stay_on_the_sheet(days, stop):
    paths = ramp.paths(due_of(days), [], stop * 100, SCALE)
    for name, path in paths.items():
        assert path.startswith("M"), name
        assert all(0 <= number <= 4200 for number in numbers(path)), (name, path)


def test_the_height_at_the_stop_line_is_the_chance_given_there():
    """The API's own chance, not one read off between two levels."""
    stop = NOW + timedelta(days=7)
    points = ramp.curve(EVEN, [(stop, 0.13)], SCALE)
    assert ramp.height(points, SCALE.x(stop)) == pytest.approx(0.13)


def test_between_levels_the_curve_is_joined_straight():
    points = ramp.curve(EVEN, [], SCALE)
    assert ramp.height(points, 700) == pytest.approx(0.15)
    assert ramp.height(points, 100) is None


def test_marks_stand_at_10_50_and_90_per_cent_of_the_height():
    paths = ramp.paths(EVEN, [], 300, SCALE)
    assert paths["pq"] == "M600 80.4V96M2200 36.0V96"
    assert paths["p50"] == "M1400 58.2V96"
    assert paths["bar"] == "M600 86H2200"
    assert paths["run"] == "M0 86H2200"
    assert paths["dots"] == "M2200 86H4200"


def test_what_stands_before_the_next_stop_is_apart_from_the_rest():
    paths = ramp.paths(EVEN, [], 700, SCALE)
    assert max(numbers(paths["hot"])[::2]) == 700
    assert min(numbers(paths["cool"])[::2]) == 700
    assert "hot" not in ramp.paths(EVEN, [], None, SCALE)


def test_an_overdue_ramp_stands_high_at_now():
    days = [-9, -8, -7, -6, -5, -4, -3, -2, -1, 1, 3, 5]
    paths = ramp.paths(due_of(days), [], 200, SCALE)
    assert paths["rim"].startswith(f"M0 {86 - 55.6 * 0.7:.1f}L")
    assert "p50" not in paths
    assert paths["bar"] == "M0 86H300"


def test_past_the_right_edge_it_runs_off_the_sheet():
    paths = ramp.paths(due_of([day * 4 for day in range(1, 13)]), [], 300, SCALE)
    assert paths["run"] == "M0 86H4200"
    assert "dots" not in paths
    assert max(numbers(paths["rim"])[::2]) == 4200


def test_a_tool_beyond_fifty_years_has_a_line_and_no_end():
    paths = ramp.paths(due_of([100, 200, 300, *[None] * 9]), [], 300, SCALE)
    assert set(paths) == {"run", "risk"}


def test_no_due_time_at_all_leaves_dots_only():
    nothing = {f"{level:g}": None for level in LEVELS}
    assert ramp.paths(nothing, [], 300, SCALE) == {"dots": "M0 86H4200"}
    assert ramp.paths({}, [], None, SCALE) == {"dots": "M0 86H4200"}


def test_what_cannot_be_told_is_an_outline_without_fill():
    paths = ramp.ghost(EVEN, SCALE)
    assert set(paths) == {"ghost", "dots"}
    assert paths["ghost"].endswith("V86")
    assert ramp.ghost({}, SCALE) == {"dots": "M0 86H4200"}


def test_three_levels_of_a_fixed_interval_are_enough():
    due = {"0.1": NOW + timedelta(days=8), "0.5": NOW + timedelta(days=9), "0.9": None}
    assert "run" in ramp.paths(due, [], 300, SCALE)

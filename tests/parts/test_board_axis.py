"""The shared axis: weeks across a clock change, flags that never collide, stops in progress."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from dashboard import axis as axes
from dashboard.client import Stop

NOW = datetime(2026, 10, 21, 6, 0, tzinfo=UTC)
AXIS = axes.Axis(now=NOW, days=42, zone=ZoneInfo("Europe/London"))


def stop(name, days, *, hours=4.0, scope="harlow-mere/1", changes=8):
    begin = NOW + timedelta(days=days)
    return Stop(name, scope, begin, begin + timedelta(hours=hours), changes)


def test_weeks_begin_at_plant_midnight_on_mondays_across_a_clock_change():
    """Summer time ends on 25 October 2026: the Monday after begins an hour later in UTC."""
    found = axes.mondays(AXIS)
    assert [at.astimezone(UTC).hour for at in found] == [0] * len(found)
    assert found[0].astimezone(UTC) == datetime(2026, 10, 26, 0, 0, tzinfo=UTC)
    assert all(at.weekday() == 0 for at in found)
    spring = axes.Axis(now=datetime(2026, 3, 20, tzinfo=UTC), days=42, zone=AXIS.zone)
    assert [at.astimezone(UTC).hour for at in axes.mondays(spring)][:3] == [0, 23, 23]


def test_stops_without_room_for_a_change_are_left_out():
    stops = [stop("label", 1, changes=0), stop("clean", 2), stop("any", 3, changes=None)]
    assert [each.id for each in axes.for_changes(stops, NOW)] == ["clean", "any"]


def test_a_stop_in_progress_is_not_the_next_one():
    stops = axes.for_changes([stop("on", -0.1), stop("over", -2), stop("next", 5)], NOW)
    assert axes.running(stops, NOW).id == "on"
    assert [each.id for each in axes.coming(stops, NOW)] == ["next"]
    assert axes.stop_lines(AXIS, stops) == {"next": "M500 0V100", "later": ""}


def test_a_stop_covers_what_its_scope_holds():
    stops = [
        stop("site", 1, scope="harlow-mere"),
        stop("line", 2),
        stop("press", 3, scope="harlow-mere/1/04"),
        stop("other", 4, scope="harlow-mere/10"),
    ]
    assert [each.id for each in axes.of_line(stops, "harlow-mere/1")] == ["site", "line"]
    found = axes.of_press(stops, "harlow-mere/1/04")
    assert [each.id for each in found] == ["site", "line", "press"]


@given(st.lists(st.tuples(st.floats(0.01, 60), st.sampled_from([0.5, 4.0, 24.0])), max_size=40))
def test_flags_of_a_lane_keep_apart_and_end_before_the_edge(given_stops):
    stops = axes.for_changes(
        [stop(f"s{at}", day, hours=hours) for at, (day, hours) in enumerate(given_stops)], NOW
    )
    shown = axes.flags(AXIS, stops, ["harlow-mere/1"])
    for one, two in pairwise(shown):
        room = axes.LONG_ROOM if one["long"] else axes.FLAG_ROOM
        assert two["left"] - one["left"] >= room
    assert all(flag["left"] <= axes.LABEL_TO for flag in shown)


def test_a_long_stop_is_an_open_flag_with_its_length():
    shown = axes.flags(AXIS, [stop("quarter", 8, hours=24)], ["harlow-mere/1"])
    assert (shown[0]["text"], shown[0]["long"]) == ("1 24 h", True)

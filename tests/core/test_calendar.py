"""The stop calendar: running time, its inverse, stops of a press, wall-clock days."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duestroke.calendar import (
    DAY_US,
    Calendar,
    Stop,
    calendar_of,
    day_start,
    next_day,
    occasions,
    shift_span,
    stops_ahead,
)
from duestroke.times import from_micros, to_micros

NOW = datetime(2026, 6, 1, tzinfo=UTC)
LONDON = ZoneInfo("Europe/London")


def stop(name: str, begins_in: float, hours: float, scope: str = "w/1", **more: int) -> Stop:
    at = NOW + timedelta(days=begins_in)
    return Stop(name, scope, at, at + timedelta(hours=hours), **more)


@st.composite
def calendars(draw: st.DrawFn) -> Calendar:
    spans = draw(
        st.lists(st.tuples(st.floats(-30, 60), st.floats(0.01, 100)), min_size=0, max_size=12)
    )
    return calendar_of("w/1/01", [stop(f"s{k}", *span) for k, span in enumerate(spans)])


@given(calendars(), st.floats(-20, 40), st.floats(0, 50))
def test_running_time_is_what_a_count_of_minutes_outside_stops_gives(calendar, begin, length):
    start = NOW + timedelta(days=begin)
    end = start + timedelta(days=length)
    told = calendar.running_time(start, end)
    edges = sorted(
        {start, end} | {at for s in calendar.stops for at in (s.start, s.end) if start < at < end}
    )
    plain = sum(
        (
            later - earlier
            for earlier, later in pairwise(edges)
            if not any(s.start <= earlier and later <= s.end for s in calendar.stops)
        ),
        timedelta(0),
    )
    assert told == plain


@given(calendars(), st.floats(-20, 40), st.floats(0, 50))
def test_instants_undo_running_time(calendar, begin, days):
    start = NOW + timedelta(days=begin)
    at = calendar.instants_us(start, days)
    assert at >= to_micros(start)
    ran = calendar.running_us(to_micros(start), round(float(at)))
    assert abs(int(ran) - days * DAY_US) <= 2


@given(calendars(), st.lists(st.floats(0, 80), min_size=2, max_size=20))
def test_more_running_time_is_never_earlier(calendar, days):
    at = calendar.instants_us(NOW, sorted(days))
    assert all(at[1:] >= at[:-1])


def test_time_used_up_as_a_stop_begins_is_that_beginning():
    calendar = calendar_of("w/1/01", [stop("s", 1, 4)])
    assert from_micros(int(calendar.instants_us(NOW, 1.0))) == NOW + timedelta(days=1)
    later = from_micros(int(calendar.instants_us(NOW, 1.5)))
    assert later == NOW + timedelta(days=1.5, hours=4)


def test_a_press_stops_with_its_site_its_line_and_by_itself():
    stops = [
        stop("site", 3, 4, "w"),
        stop("line", 2, 4, "w/1"),
        stop("press", 1, 4, "w/1/01"),
        stop("other-line", 1, 4, "w/2"),
        stop("other-press", 1, 4, "w/1/02"),
        stop("longer-name", 1, 4, "w/11"),
    ]
    known = calendar_of("w/1/01", stops)
    assert [each.id for each in known.stops] == ["press", "line", "site"]


def ids(stops: list[Stop]) -> list[str | None]:
    return [each.id for each in stops]


def days_ahead(stops: list[Stop]) -> list[float]:
    return [(each.start - NOW) / timedelta(days=1) for each in stops]


def test_seven_fourteen_and_twenty_one_days_stand_in():
    """The contract: where fewer than three stops are known, these stand in."""
    assert days_ahead(stops_ahead(Calendar(), NOW)) == [7, 14, 21]
    assert ids(stops_ahead(Calendar(), NOW)) == [None, None, None]


@pytest.mark.parametrize(
    ("known", "told"),
    [
        ([3], [3, 7, 14, 21]),
        ([3, 10], [3, 10, 14, 21]),
        ([30], [7, 14, 21, 30]),
        ([3, 10, 17], [3, 10, 17]),
    ],
)
def test_known_stops_are_kept_beside_stand_ins(known, told):
    calendar = calendar_of("w/1/01", [stop(f"s{at}", at, 4) for at in known])
    assert days_ahead(stops_ahead(calendar, NOW)) == told


def test_a_stop_under_way_counts_until_it_ends_and_one_without_changes_never():
    stops = [
        stop("over", -1, 24),
        stop("under-way", -0.1, 4),
        stop("label", 1, 1, max_changes=0),
        *(stop(f"s{k}", 7 * k, 4) for k in (1, 2)),
    ]
    assert ids(stops_ahead(calendar_of("w/1/01", stops), NOW)) == ["under-way", "s1", "s2"]


def test_a_stop_inside_another_is_the_same_occasion():
    stops = [stop("long", 1, 48), stop("inside", 2, 4), stop("next", 8, 4)]
    assert occasions(stops) == [stops[0].start, stops[2].start]


def test_a_day_lasts_23_24_or_25_hours():
    spring = day_start(datetime(2026, 3, 29, 15, tzinfo=UTC), LONDON)
    autumn = day_start(datetime(2026, 10, 25, 15, tzinfo=UTC), LONDON)
    assert next_day(spring, LONDON) - spring == timedelta(hours=23)
    assert next_day(autumn, LONDON) - autumn == timedelta(hours=25)
    assert next_day(NOW, UTC) - NOW == timedelta(hours=24)


@given(st.integers(0, 2 * 365 * 86_400))
def test_a_day_starts_at_local_midnight_and_holds_its_instants(seconds):
    at = datetime(2025, 1, 1, tzinfo=UTC) + timedelta(seconds=seconds)
    start = day_start(at, LONDON)
    assert start <= at < next_day(start, LONDON)
    assert start.astimezone(LONDON).time() == time()


def test_a_day_shift_ends_on_its_day_and_a_night_shift_on_the_next():
    begins, ends = shift_span(LONDON, date(2026, 6, 1), time(6), time(18))
    assert Calendar().running_time(begins, ends) == timedelta(hours=12)
    begins, ends = shift_span(LONDON, date(2026, 6, 1), time(18), time(6))
    assert ends.date() == date(2026, 6, 2)


def test_a_stop_that_ends_before_it_begins_is_refused():
    with pytest.raises(ValueError, match="ends before"):
        Stop("s", "w", NOW, NOW - timedelta(hours=1))

"""Nights over a clock change, from the IANA tz database, through the calendar's own functions."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from duestroke.calendar import Calendar, next_day, shift_span
from duestroke.times import parse_time

DATA: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "calendar.json").read_text(encoding="utf-8")
)


@pytest.mark.parametrize(
    "night", DATA["nights"], ids=lambda night: f"{night['zone']}-{night['day']}"
)
def test_a_night_shift_lasts_as_long_as_the_zone_says(night):
    """G1. Source: IANA tz database. Wall-clock subtraction would give twelve hours each time."""
    shift = DATA["shift"]
    span = shift_span(
        ZoneInfo(night["zone"]),
        date.fromisoformat(night["day"]),
        time.fromisoformat(shift["begins"]),
        time.fromisoformat(shift["ends"]),
    )
    lasted = Calendar().running_time(*span)
    assert lasted == timedelta(hours=night["hours"])
    assert lasted / timedelta(minutes=1) * shift["strokes_per_minute"] == night["strokes"]


@pytest.mark.parametrize("zone", DATA["transitions_utc"])
def test_days_of_another_length_are_those_that_hold_a_transition(zone):
    """G1. Source: IANA tz database."""
    local = ZoneInfo(zone)
    changes = [parse_time(at) for at in DATA["transitions_utc"][zone]]
    day = next_day(datetime(2026, 1, 1, 12, tzinfo=UTC), local)
    odd = []
    while day.year == 2026:
        following = next_day(day, local)
        if following - day != timedelta(hours=24):
            odd.append((day, following))
        day = following
    assert len(odd) == len(changes)
    assert all(a <= at < b for (a, b), at in zip(odd, changes, strict=True))

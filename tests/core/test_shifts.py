"""Which shift it is, by the wall clock, and whose."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from duestroke.errors import BadField
from duestroke.shifts import Rota, Shift, ShiftPlan, around
from duestroke.times import to_micros
from simulators.paperwork import crew_at, shift_plan

LONDON = ZoneInfo("Europe/London")
DAY, NIGHT = Shift(time(6), time(18)), Shift(time(18), time(6))
PLAN = ShiftPlan(LONDON, (DAY, NIGHT))
HOUR = timedelta(hours=1)


def local(*parts):
    return datetime(*parts, tzinfo=LONDON)


def test_a_shift_holds_its_begin_and_not_its_end():
    before, now, after = around(PLAN, local(2026, 3, 2, 18))
    assert (before.start, before.end) == (local(2026, 3, 2, 6), local(2026, 3, 2, 18))
    assert (now.start, now.end) == (local(2026, 3, 2, 18), local(2026, 3, 3, 6))
    assert after.start == now.end


@pytest.mark.parametrize(("night", "hours"), [((2026, 3, 28), 11), ((2026, 10, 24), 13)])
def test_nights_of_eleven_and_thirteen_hours(night, hours):
    """Clock changes of Europe/London by the IANA zone database: 29 March and 25 October 2026."""
    _, now, _ = around(PLAN, local(*night, 23))
    assert now.end - now.start == hours * HOUR


def test_a_weekend_without_shifts_lies_between_two():
    week = ShiftPlan(LONDON, (Shift(time(6), time(14), frozenset(range(5))),))
    before, now, after = around(week, local(2026, 3, 7, 12))
    assert now is None
    assert (before.start, after.start) == (local(2026, 3, 6, 6), local(2026, 3, 9, 6))
    assert around(ShiftPlan(LONDON, ()), local(2026, 3, 7, 12)) == (None, None, None)


def test_crews_come_in_turn_before_and_after_the_first_day():
    rota = Rota(date(2026, 3, 1), (("A", "B"), ("C", None)))
    plan = ShiftPlan(LONDON, (DAY, NIGHT), rota)
    crews = [
        around(plan, local(2026, 3, day, hour))[1].crew for day in (1, 2, 3) for hour in (7, 19)
    ]
    assert crews == ["A", "B", "C", None, "A", "B"]
    assert around(plan, local(2026, 2, 28, 7))[1].crew == "C"
    with pytest.raises(BadField, match=r"rota.crews\[1\]"):
        ShiftPlan(LONDON, (DAY, NIGHT), Rota(date(2026, 3, 1), (("A", "B"), ("C",))))


def test_the_demos_plan_names_the_crew_that_its_records_name():
    plan = shift_plan()
    for hour in range(0, 24 * 17, 5):
        at = datetime(2026, 3, 20, 1, tzinfo=UTC) + hour * HOUR
        assert around(plan, at)[1].crew == crew_at(to_micros(at))

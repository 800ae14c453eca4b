"""Thinning takes raw rows and leaves every total, hour, day and flag."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from duestroke.counting.types import Reading
from duestroke.errors import BadField
from duestroke.messages import encode_reading, report_topic
from duestroke.times import from_micros, to_micros
from store.intake import Delivery, record_batch
from store.presses import Settings
from store.thin import thin
from store.unit import Unit, connect

PRESS = "a/1/01"
START = datetime(2026, 1, 1, 5, 30, tzinfo=UTC)
NOW = datetime(2026, 3, 1, tzinfo=UTC)


@pytest.fixture
def unit(database_url):
    with connect(database_url) as conn, Unit(conn) as unit:
        unit.presses.register(PRESS, Settings(65_536))
        yield unit


def feed(unit: Unit, readings: list[Reading], at: datetime = START) -> None:
    batch = [Delivery(report_topic(PRESS), encode_reading(r), at) for r in readings]
    record_batch(unit.conn, batch, at)


def history() -> list[Reading]:
    """A day by the minute, with a lost report and a counter put to zero at noon."""
    out = []
    for n in range(1_440):
        strokes = (n if n < 700 else n - 700) * 391 % 65_536
        out.append(Reading("b", n, to_micros(START) + n * 60_000_000, strokes, 10.5, 440.0))
    return [reading for reading in out if reading.seq != 333]


def picture(unit: Unit) -> dict:
    hours = [
        from_micros(to_micros(START) // 3_600_000_000 * 3_600_000_000) + timedelta(hours=n)
        for n in range(27)
    ]
    window = (START - timedelta(hours=1), START + timedelta(days=2))
    return {
        "totals": unit.strokes.totals_at([(PRESS, hour) for hour in hours]),
        "hours": unit.strokes.series(PRESS, hours[0], hours[-1], "1h"),
        "days": unit.strokes.series(PRESS, *window, "1d"),
        "between": unit.strokes.between(PRESS, *window),
        "whole": unit.strokes.between(PRESS, None, None),
    }


def test_what_was_counted_stays(unit):
    feed(unit, history(), START + timedelta(days=1))
    before = picture(unit)
    gone = thin(unit.conn, PRESS, keep=timedelta(days=30), now=NOW)
    assert gone > 1_300
    assert picture(unit) == before
    assert before["whole"].missing == 1
    assert [f.kinds for f in before["whole"].flags] == [["restart"]]


def test_settling_and_other_rules_still_move_the_total(unit):
    feed(unit, history(), START + timedelta(days=1))
    thin(unit.conn, PRESS, keep=timedelta(days=30), now=NOW)
    total = unit.presses.get(PRESS).strokes
    flag = unit.strokes.between(PRESS, None, None).flags[0]
    unit.flags.settle(flag.id, strokes=40, reason="log book", by="mo", at=NOW)
    assert unit.presses.get(PRESS).strokes == total + 40
    unit.presses.register(PRESS, Settings(max_spm=700))
    assert unit.presses.get(PRESS).strokes == total + 40


def test_a_reading_from_before_the_thinned_ones_waits_as_past(unit):
    feed(unit, history(), START + timedelta(days=1))
    thin(unit.conn, PRESS, keep=timedelta(days=30), now=NOW)
    lost = Reading("b", 333, to_micros(START) + 333 * 60_000_000, 333 * 391 % 65_536)
    feed(unit, [lost], NOW)
    assert [row.reason for row in unit.quarantine.page(press=PRESS)] == ["past"]


def test_nothing_goes_before_thirty_days(unit):
    feed(unit, history(), NOW - timedelta(days=29))
    assert thin(unit.conn, PRESS, keep=timedelta(days=30), now=NOW) == 0
    with pytest.raises(BadField, match="keep"):
        thin(unit.conn, PRESS, keep=timedelta(days=7), now=NOW)

"""Presses as they stand: status, rate, settings that change."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from duestroke.counting.types import Reading
from duestroke.errors import Contradiction
from duestroke.messages import encode_reading, encode_status, report_topic, status_topic
from duestroke.times import to_micros
from store.intake import Delivery, record_batch, replay_waiting
from store.presses import Settings
from store.unit import Unit, connect

PRESS = "a/1/01"
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
START = NOW - timedelta(hours=3)


@pytest.fixture
def unit(database_url):
    with connect(database_url) as conn, Unit(conn) as unit:
        yield unit


def report(minute: float, strokes: int, seq: int, boot: str = "b") -> Delivery:
    at = to_micros(START) + round(minute * 60_000_000)
    return Delivery(report_topic(PRESS), encode_reading(Reading(boot, seq, at, strokes)), NOW)


def test_a_status_that_came_before_the_press_was_registered_is_known_after(unit):
    at = NOW - timedelta(hours=1)
    for state in ("running", "stopped"):
        record_batch(unit.conn, [Delivery(status_topic(PRESS), encode_status(state, at), NOW)], NOW)
    unit.presses.register(PRESS, Settings())
    press = unit.presses.get(PRESS)
    assert (press.state, press.state_at) == ("stopped", at)


def test_a_press_that_never_spoke_is_unknown_and_makes_no_strokes(unit):
    unit.presses.register(PRESS, Settings())
    press = unit.presses.get(PRESS)
    assert (press.state, press.last_report, press.strokes_per_minute) == ("unknown", None, 0.0)


def test_the_rate_is_of_the_last_ten_minutes_or_of_a_shorter_record(unit):
    unit.presses.register(PRESS, Settings())
    record_batch(unit.conn, [report(0, 0, 1), report(2, 760, 2)], NOW)
    assert unit.presses.get(PRESS).strokes_per_minute == 380.0
    record_batch(unit.conn, [report(4, 760, 3), report(9, 760, 4), report(14, 760, 5)], NOW)
    assert unit.presses.get(PRESS).strokes_per_minute == 0.0


def test_reports_that_came_before_their_press_are_counted_once_it_is_registered(unit):
    record_batch(unit.conn, [report(0, 100, 1), report(1, 480, 2)], NOW)
    assert {row.reason for row in unit.quarantine.page()} == {"unknown-press"}
    assert replay_waiting(unit.conn, NOW) == 0
    unit.presses.register(PRESS, Settings())
    assert replay_waiting(unit.conn, NOW) == 2
    assert unit.presses.get(PRESS).strokes == 380
    assert {row.state for row in unit.quarantine.page()} == {"replayed"}


def test_a_modulus_that_a_kept_reading_does_not_fit_is_refused(unit):
    unit.presses.register(PRESS, Settings())
    record_batch(unit.conn, [report(0, 70_000, 1)], NOW)
    with pytest.raises(Contradiction, match="70000 strokes"):
        unit.presses.register(PRESS, Settings(modulus=65_536))


def test_a_change_with_a_time_holds_for_the_boots_that_begin_after_it(unit):
    unit.presses.register(PRESS, Settings(max_spm=100))
    record_batch(
        unit.conn,
        [
            *(report(10 * n, 4_000 * n, n) for n in range(4)),
            *(report(60 + 10 * n, 4_000 * n, n, "c") for n in range(4)),
        ],
        NOW,
    )
    assert unit.presses.get(PRESS).strokes == 0
    unit.presses.register(PRESS, Settings(max_spm=480), since=START + timedelta(minutes=45))
    assert unit.presses.get(PRESS).strokes == 12_000
    unit.presses.register(PRESS, Settings(max_spm=480))
    assert unit.presses.get(PRESS).strokes == 24_000


def test_a_field_left_out_keeps_its_value(unit):
    made = Settings(65_536, 400, "Europe/London", 275.0, 2_000.0)
    assert unit.presses.register(PRESS, made)
    assert not unit.presses.register(PRESS, Settings(crank_radius_mm=250.0))
    press = unit.presses.get(PRESS)
    assert (press.modulus, press.max_spm, press.timezone) == (65_536, 400, "Europe/London")
    assert (press.crank_radius_mm, press.rod_length_mm) == (250.0, 2_000.0)

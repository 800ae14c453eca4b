"""A history loaded in columns leaves the same rows as the same history taken in batch by batch."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from duestroke.counting.columns import ReadingColumns
from duestroke.counting.types import Reading
from duestroke.errors import Contradiction
from duestroke.messages import encode_reading, report_topic
from duestroke.times import to_micros
from store.bulk import load_history
from store.intake import Delivery, record_batch
from store.presses import Settings
from store.unit import Unit, connect
from tests.store.test_intake_counts import NOW
from tests.support.histories import histories

TABLES = {
    "span": "boot_name, start_seq",
    "reading_hour": "hour",
    "reading_day": "day",
    "press_state": "total",
    "reading": "at, seq",
    "boot": "name",
}


@pytest.fixture
def unit(database_url):
    with connect(database_url) as conn, Unit(conn) as unit:
        yield unit


def as_columns(readings) -> ReadingColumns:
    boots = sorted({reading.boot for reading in readings})
    ints = [[boots.index(r.boot), r.seq, r.at, r.strokes, to_micros(NOW)] for r in readings]
    boot, seq, at, strokes, received = np.array(ints, dtype=np.int64).T
    floats = [[np.nan if p is None else p for p in r[4:]] for r in readings]
    speed, accel = np.array(floats, dtype=np.float64).T
    return ReadingColumns(boots, boot, seq, at, strokes, speed, accel, received)


def rows(unit: Unit, table: str, press: int, order: str) -> list[dict]:
    found = unit.conn.execute(
        f"SELECT * FROM {table} WHERE press_id = %s ORDER BY {order}", [press]
    )
    own = {"press_id", "boot_id", "prev_boot_id", "id", "flag_id"}
    return [{k: v for k, v in row.items() if k not in own} for row in found]


@settings(max_examples=60, suppress_health_check=list(HealthCheck), database=None)
@given(st.data(), st.sampled_from(["UTC", "Europe/London", "Asia/Kolkata"]))
def test_both_roads_leave_the_same_rows(unit, data, zone):
    history = data.draw(histories())
    run = unit.conn.execute("SELECT count(*) AS n FROM press").fetchone()["n"]
    one, two = f"a/{run}/one", f"a/{run}/two"
    for press in (one, two):
        unit.presses.register(press, Settings(history.rule.modulus, history.rule.max_spm, zone))
    record_batch(
        unit.conn,
        [Delivery(report_topic(one), encode_reading(r), NOW) for r in history.readings],
        NOW,
    )
    assert load_history(unit.conn, two, as_columns(history.readings)) == len(history.readings)
    ids = [unit.presses.get(press).id for press in (one, two)]
    for table, order in TABLES.items():
        first, second = (rows(unit, table, press, order) for press in ids)
        assert first == second, table


def test_strokes_on_the_very_start_of_an_hour_fall_to_the_hour_before(unit):
    """Two readings at one instant: by rule 8 the total at that instant holds the strokes."""
    at = to_micros(NOW) - 3_600_000_000
    told = [Reading("b", n, at, 6 * n) for n in range(2)]
    for press, road in (("a/1/01", "one"), ("a/1/02", "two")):
        unit.presses.register(press, Settings(1_000, 60))
        if road == "one":
            batch = [Delivery(report_topic(press), encode_reading(r), NOW) for r in told]
            record_batch(unit.conn, batch, NOW)
        else:
            load_history(unit.conn, press, as_columns(told))
    ids = [unit.presses.get(press).id for press in ("a/1/01", "a/1/02")]
    first, second = (rows(unit, "reading_hour", press, "hour") for press in ids)
    assert first == second
    assert [row["strokes"] for row in first] == [6, 0]


def test_a_press_with_readings_takes_no_bulk_history(unit):
    unit.presses.register("a/1/01", Settings())
    readings = as_columns([reading_at(n) for n in range(3)])
    load_history(unit.conn, "a/1/01", readings)
    with pytest.raises(Contradiction, match="readings already"):
        load_history(unit.conn, "a/1/01", readings)


def reading_at(n: int) -> Reading:
    return Reading("b", n, to_micros(NOW) - 10_000_000 + n, n, 10.0, None)

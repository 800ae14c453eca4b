"""A counter that stands still while the ram moves: told from the record, whatever came when."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from duestroke.counting.columns import ReadingColumns
from duestroke.times import format_time
from store.bulk import load_history
from store.intake import Delivery, record_batch
from store.press_facts import PgPressFacts
from store.presses import Settings
from store.standing import LEAST, REPORTS, SQL, standing_since
from store.unit import Unit, connect

PRESS = "a/1/01"
START = datetime(2026, 3, 1, 6, tzinfo=UTC)
RUNS, STANDS = 11.0, None


@pytest.fixture
def unit(database_url):
    with connect(database_url) as conn, Unit(conn) as unit:
        unit.presses.register(PRESS, Settings())
        yield unit


def send(unit, *reports, boot="b1", first=0):
    """Reports as (minutes, strokes, peak speed); sequence numbers from `first`."""
    batch = [
        Delivery(f"duestroke/v1/{PRESS}/report", json.dumps(body).encode(), START)
        for body in bodies(reports, boot, first)
    ]
    record_batch(unit.conn, batch, START + timedelta(days=300))


def bodies(reports, boot="b1", first=0):
    return [
        {
            "boot": boot,
            "seq": first + k,
            "at": format_time(START + timedelta(minutes=minutes)),
            "strokes": strokes,
            "peak_speed_mps": speed,
        }
        for k, (minutes, strokes, speed) in enumerate(reports)
    ]


def since(unit):
    """Minutes after START since which the counter stands; None where it does not."""
    found = standing_since(unit.conn).get(PRESS)
    return None if found is None else (found - START) / timedelta(minutes=1)


def running(first=0, last=60, step=1, before=0):
    return [(m, before + 400 * (m - first), RUNS) for m in range(first, last + 1, step)]


def test_a_running_press_and_one_that_stands_are_no_contradiction(unit):
    send(unit, *running())
    assert since(unit) is None
    send(unit, *((m, 24_000, STANDS) for m in range(61, 200)), first=61)
    assert since(unit) is None
    # The last stroke's speed may come one report late.
    send(unit, (200, 24_000, RUNS), first=200)
    assert since(unit) is None


def test_it_stands_after_two_reports_and_two_minutes_and_ends_when_it_counts_again(unit):
    send(unit, *running(), (61, 24_000, RUNS), (61.5, 24_000, RUNS))
    assert since(unit) is None
    send(unit, (62, 24_000, RUNS), first=63)
    assert since(unit) == 60
    [facts] = PgPressFacts(unit.conn).presses(START)
    assert facts.counter_stands_since == START + timedelta(minutes=60)
    # A pause of the press does not mend its counter, however long it takes.
    send(unit, *((m, 24_000, STANDS) for m in range(63, 700, 7)), first=64)
    assert since(unit) == 60
    send(unit, (700, 24_380, RUNS), first=900)
    assert since(unit) is None
    send(unit, (701, 24_380, RUNS), (702, 24_380, RUNS), first=901)
    assert since(unit) == 700


def test_a_gateway_that_reports_every_ten_minutes(unit):
    send(unit, *running(step=10), (70, 24_000, RUNS))
    assert since(unit) is None
    send(unit, (80, 24_000, RUNS), first=8)
    assert since(unit) == 60


def test_a_press_that_never_counted(unit):
    send(unit, (0, 5, RUNS), (1, 5, RUNS))
    assert since(unit) is None
    send(unit, (2, 5, RUNS), first=2)
    assert since(unit) == 0


def test_a_new_boot_does_not_mend_a_counter_that_goes_on_standing(unit):
    send(unit, *running(), (61, 24_000, RUNS), (62, 24_000, RUNS))
    send(unit, (63, 24_000, STANDS), boot="b2")
    assert since(unit) == 60
    send(unit, (64, 24_000, RUNS), first=1, boot="b2")
    assert since(unit) == 60


def test_a_counter_that_fell_begins_anew(unit):
    send(unit, *running(), (61, 24_000, RUNS), (62, 24_000, RUNS))
    send(unit, (63, 0, STANDS), boot="b2")
    assert since(unit) is None
    send(unit, (64, 0, RUNS), (66, 0, RUNS), first=1, boot="b2")
    assert since(unit) == 63


def test_a_late_report_of_a_stroke_ends_it(unit):
    send(unit, *running(), (62, 24_010, RUNS), (64, 24_010, RUNS), (66, 24_010, RUNS))
    assert since(unit) == 62
    send(unit, (65, 24_010, RUNS), first=1_000)
    assert since(unit) == 62


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(
            st.sampled_from([0.5, 1, 10, 400]),
            st.sampled_from([0, 0, 0, 60]),
            st.sampled_from([RUNS, RUNS, STANDS]),
        ),
        min_size=1,
        max_size=14,
    ),
    st.randoms(use_true_random=False),
)
def test_it_equals_a_look_at_all_readings_in_any_order_of_arrival(unit, steps, order):
    minutes, strokes, reports = 0.0, 0, []
    for step, count, speed in steps:
        minutes, strokes = minutes + step, strokes + count
        reports.append((minutes, strokes, speed))
    arrived = bodies(reports)
    order.shuffle(arrived)
    for body in arrived:
        topic = f"duestroke/v1/{PRESS}/report"
        record_batch(
            unit.conn, [Delivery(topic, json.dumps(body).encode(), START)], START + 9 * DAY
        )
    expected = plainly(reports)
    assert since(unit) == expected
    unit.conn.rollback()
    unit.presses.register(PRESS, Settings())


@pytest.mark.parametrize(("speed", "stands"), [(np.nan, False), (11.0, True)])
def test_a_long_stand_is_not_read_through(unit, speed, stands):
    """Three weeks at one count, a report a minute: a few hundred readings of 40,000 tell."""
    n, ran = 40_000, 10_000
    at = 1_600_000_000_000_000 + np.arange(n) * 60_000_000
    speeds = np.where(np.arange(n) <= ran, 11.0, speed)
    counts = np.minimum(np.arange(n), ran) * 400
    rows = ReadingColumns(
        ["b"], np.zeros(n, np.int64), np.arange(n), at, counts, speeds, speeds, at
    )
    load_history(unit.conn, PRESS, rows)
    unit.conn.execute("ANALYZE reading, reading_hour, span, boot")
    assert (standing_since(unit.conn).get(PRESS) is not None) == stands
    values = {"presses": None, "reports": REPORTS, "least": LEAST}
    query = f"EXPLAIN (ANALYZE, FORMAT JSON) {SQL['standing']}"
    plan = unit.conn.execute(query, values).fetchone()["QUERY PLAN"]
    assert touched(plan[0]["Plan"], "reading") <= 700


def touched(node, table):
    """Rows of a table that a plan has looked at."""
    own = 0
    if node.get("Relation Name") == table:
        rows = node["Actual Rows"] + node.get("Rows Removed by Filter", 0)
        own = rows * node["Actual Loops"]
    return own + sum(touched(child, table) for child in node.get("Plans", []))


DAY = timedelta(days=1)


def plainly(reports):
    """The rule read off all reports in order."""
    same = [report for report in reports if report[1] == reports[-1][1]]
    moved = [at for at, _, speed in same[1:] if speed]
    enough = len(moved) >= REPORTS and moved[-1] - same[0][0] >= LEAST / timedelta(minutes=1)
    return same[0][0] if enough else None

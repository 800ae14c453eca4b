"""Histories through the ingest transaction on real Postgres equal the pure rules."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime, timedelta
from itertools import zip_longest

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from duestroke.counting.batch import Settlement, count
from duestroke.counting.days import day_bounds
from duestroke.counting.effects import NEVER, hour_bounds
from duestroke.counting.types import Reading, Rule
from duestroke.messages import encode_reading, report_topic
from duestroke.times import from_micros, to_micros
from store.intake import Delivery, record_batch
from store.presses import Settings
from store.rows import zone_of
from store.strokes import SQL
from store.unit import Unit, connect
from tests.support.histories import arrivals, histories

NOW = datetime(2026, 6, 1, tzinfo=UTC)
EXAMPLES, PRESSES = 30, 10
ZONE = "Europe/London"
seen: Counter[str] = Counter()


@pytest.fixture
def unit(database_url):
    with connect(database_url) as conn, Unit(conn) as unit:
        yield unit


def deliver(press: str, readings: list[Reading]) -> list[Delivery]:
    return [Delivery(report_topic(press), encode_reading(r), NOW) for r in readings]


def buckets_of(counted, bounds) -> dict[int, int]:
    """Strokes by bucket, from the pure function's totals at the buckets' ends."""
    if not counted.readings:
        return {}
    times = [reading.at for reading in counted.readings]
    start, out = bounds(min(times) - 1)[0], {}
    while start <= max(times):
        end = bounds(start)[1]
        strokes = counted.total_at(end) - counted.total_at(start)
        out |= {start: strokes} if strokes else {}
        start = end
    return out


def agree(unit: Unit, press: str, counted) -> None:
    row = unit.presses.get(press)
    assert (row.strokes, row.missing) == (counted.total, counted.missing)
    flags = [
        (to_micros(f.start), to_micros(f.end), tuple(f.kinds), f.counted, f.hidden_at_most)
        for f in unit.strokes.between(press, None, None).flags
        if f.settled is None
    ]
    told = [(f.earlier_at, f.later_at, f.kinds, f.counted, f.hidden_at_most) for f in counted.flags]
    if not any(f.settled for f in unit.flags.page(press=press)):
        assert flags == told
    for table, bounds in (
        ("hours_between", hour_bounds),
        ("days_between", day_bounds(zone_of(ZONE))),
    ):
        assert stored_buckets(unit, row.id, table) == buckets_of(counted, bounds)
    if counted.readings:
        times = sorted({r.at + d for r in counted.readings for d in (-61_000_000, 0, 1)})
        asked = [(press, from_micros(at)) for at in times]
        assert unit.strokes.totals_at(asked) == [counted.total_at(at) for at in times]


def stored_buckets(unit: Unit, press_id: int, query: str) -> dict[int, int]:
    values = {"press": press_id, "from": from_micros(NEVER), "to": NOW}
    rows = unit.conn.execute(SQL[query], values)
    return {to_micros(row["start"]): row["strokes"] for row in rows if row["strokes"]}


@settings(
    max_examples=EXAMPLES,
    suppress_health_check=list(HealthCheck),
    database=None,
)
@given(st.data())
def test_histories_through_the_ingest_transaction(unit, data):
    """Many presses a batch; after each batch what is kept equals the rules over what was told."""
    run = seen["runs"]
    seen["runs"] += 1
    plants = {}
    for number in range(PRESSES):
        history = data.draw(histories(most=12))
        press = f"site-{run}/1/{number:02d}"
        rule = Settings(history.rule.modulus, history.rule.max_spm, ZONE)
        unit.presses.register(press, rule)
        plants[press] = (history, data.draw(arrivals(history)))
    told: dict[str, list[Reading]] = {press: [] for press in plants}
    for batches in zip_longest(*(arrived for _, arrived in plants.values()), fillvalue=[]):
        parts = list(zip(plants, batches, strict=True))
        for press, batch in parts:
            told[press].extend(batch)
        record_batch(unit.conn, [d for p, batch in parts for d in deliver(p, batch)], NOW)
        unit.commit()
    for press, (history, _) in plants.items():
        counted = count(told[press], history.rule)
        seen.update({kind for flag in counted.flags for kind in flag.kinds})
        seen["histories"] += 1
        agree(unit, press, counted)
        settle_one(unit, press, history, counted, data)


def settle_one(unit: Unit, press: str, history, counted, data) -> None:
    flags = unit.flags.page(press=press)
    if not flags:
        return
    index = data.draw(st.integers(0, len(counted.flags) - 1))
    pure = counted.flags[index]
    flag = next(
        f
        for f in flags
        if to_micros(f.end) == pure.later_at
        and f.counted == pure.counted
        and to_micros(f.start) == pure.earlier_at
    )
    strokes = data.draw(st.integers(-flag.counted, 400))
    unit.flags.settle(flag.id, strokes=strokes, reason="read off", by="mo", at=NOW)
    settled = {(pure.earlier, pure.later): Settlement(pure.counted, strokes)}
    agree(unit, press, count(counted.readings, history.rule, settled))
    seen["settled"] += 1


def test_every_trap_came_through_the_transaction(unit):
    if not seen["histories"]:
        test_histories_through_the_ingest_transaction(unit=unit)
    assert seen["histories"] >= EXAMPLES * PRESSES
    for kind in ("restart", "clock", "jump", "reboot", "wrap"):
        assert seen[kind] >= 0.05 * seen["histories"], seen


def test_a_rule_that_changes_counts_kept_readings_anew(unit):
    start = to_micros(datetime(2026, 3, 1, tzinfo=UTC))
    readings = [Reading("b", n, start + n * 60_000_000, n * 900, 11.0, 440.0) for n in range(90)]
    unit.presses.register("a/1/01", Settings(max_spm=100))
    record_batch(unit.conn, deliver("a/1/01", readings), NOW)
    agree_utc(unit, count(readings, Rule(max_spm=100)))
    unit.presses.register("a/1/01", Settings(max_spm=1_000))
    agree_utc(unit, count(readings, Rule(max_spm=1_000)))
    assert unit.presses.get("a/1/01").strokes == 89 * 900


def agree_utc(unit: Unit, counted) -> None:
    row = unit.presses.get("a/1/01")
    assert (row.strokes, row.missing) == (counted.total, counted.missing)
    assert stored_buckets(unit, row.id, "hours_between") == buckets_of(counted, hour_bounds)
    assert stored_buckets(unit, row.id, "days_between") == buckets_of(counted, day_bounds(UTC))


def test_days_are_cut_anew_when_the_zone_changes(unit):
    start = to_micros(datetime(2026, 3, 1, tzinfo=UTC))
    readings = [Reading("b", n, start + n * 600_000_000, n * 3_000, 11.0, None) for n in range(999)]
    unit.presses.register("a/1/01", Settings())
    record_batch(unit.conn, deliver("a/1/01", readings), NOW)
    unit.presses.register("a/1/01", Settings(timezone="Asia/Kolkata"))
    row, counted = unit.presses.get("a/1/01"), count(readings)
    bounds = day_bounds(zone_of("Asia/Kolkata"))
    assert stored_buckets(unit, row.id, "days_between") == buckets_of(counted, bounds)


def test_series_by_any_bucket_adds_up_to_the_strokes_between(unit):
    start = datetime(2026, 3, 28, 20, 3, 7, tzinfo=UTC)
    readings = [
        Reading("b", n, to_micros(start) + n * 97_000_000, n * 640, 11.0, 440.0) for n in range(900)
    ]
    unit.presses.register("a/1/01", Settings(timezone=ZONE))
    record_batch(unit.conn, deliver("a/1/01", readings), NOW)
    low, high = start + timedelta(minutes=37, seconds=11), start + timedelta(hours=20, seconds=3)
    total = unit.strokes.between("a/1/01", low, high).strokes
    assert total == count(readings).total_at(to_micros(high)) - count(readings).total_at(
        to_micros(low)
    )
    for bucket in ("1m", "1h", "1d"):
        items = unit.strokes.series("a/1/01", low, high, bucket)
        assert sum(item.strokes for item in items) == total, bucket
        assert (items[0].start, items[-1].end) == (low, high)
        assert sum(item.minutes_running for item in items) == pytest.approx(
            (high - low) / timedelta(minutes=1)
        )
        assert {item.mean_speed_mps for item in items} <= {11.0, None}

"""The schema file, the migrations, and the few index look-ups that totals rest on."""

from __future__ import annotations

import json
import uuid

import numpy as np
import psycopg
import pytest

from duestroke.counting.columns import ReadingColumns
from duestroke.times import from_micros
from store.bulk import load_history
from store.migrate import migrations
from store.presses import Settings
from store.strokes import SQL, totals_at
from store.unit import Unit, connect
from tests.support.schema import FILE, dump


def test_the_schema_file_equals_the_migrations(cluster, template):
    assert FILE.read_text(encoding="utf-8") == dump(cluster, template)


def test_a_database_made_from_the_file_equals_one_made_by_the_migrations(cluster, template):
    name = f"s_{uuid.uuid4().hex}"
    with psycopg.connect(cluster.url, autocommit=True) as conn:
        conn.execute(f"CREATE DATABASE {name}")
    try:
        with psycopg.connect(cluster.url.replace("/postgres?", f"/{name}?")) as conn:
            conn.execute(FILE.read_text(encoding="utf-8"))
        assert dump(cluster, name) == dump(cluster, template)
    finally:
        with psycopg.connect(cluster.url, autocommit=True) as conn:
            conn.execute(f"DROP DATABASE {name}")


def test_no_foreign_key_points_at_readings():
    """Such a key would stop a hypertable from being converted to its columnar form."""
    assert not any("REFERENCES reading" in step.text for step in migrations())


@pytest.fixture
def long_record(database_url):
    """Two presses, 200,000 readings each, with a thousand counters put to zero in between."""
    n = 200_000
    at = 1_600_000_000_000_000 + np.arange(n) * 60_000_000
    strokes = (np.arange(n) % 200) * 380
    flat = np.full(n, 10.0)
    with connect(database_url) as conn, Unit(conn) as unit:
        for press in ("a/1/01", "a/1/02"):
            unit.presses.register(press, Settings())
            columns = ReadingColumns(
                ["b"], np.zeros(n, np.int64), np.arange(n), at, strokes, flat, flat, at
            )
            load_history(conn, press, columns)
        unit.commit()
        conn.execute("ANALYZE")
        yield unit, at


def scans(node: dict) -> list[tuple[str, str, float]]:
    own = []
    if "Relation Name" in node:
        rows = node["Actual Rows"] + node.get("Rows Removed by Filter", 0)
        own = [(node["Relation Name"], node["Node Type"], rows * node["Actual Loops"])]
    return own + [scan for child in node.get("Plans", []) for scan in scans(child)]


def test_a_total_is_a_few_index_look_ups_at_any_length_of_record(long_record):
    """No table is read through: a question touches some dozen rows of 400,000 readings."""
    unit, at = long_record
    press = unit.presses.get("a/1/01").id
    for index in (1, 7_777, 100_000, 199_998):
        when = from_micros(int(at[index]) + 1_000)
        values = {"presses": [press], "times": [when]}
        query = f"EXPLAIN (ANALYZE, FORMAT JSON) {SQL['totals_at']}"
        plan = unit.conn.execute(query, values).fetchone()["QUERY PLAN"]
        plan = json.loads(plan) if isinstance(plan, str) else plan
        touched = scans(plan[0]["Plan"])
        assert all(kind != "Seq Scan" for table, kind, _ in touched if table == "reading")
        assert sum(rows for table, _, rows in touched if table in ("reading", "span")) <= 40, (
            touched
        )
    assert totals_at(unit.conn, [(press, from_micros(int(at[199])))]) == [199 * 380]

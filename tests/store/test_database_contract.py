"""What every database that Duestroke runs on must do, on each backend of this run."""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta, timezone

import psycopg
import pytest

from duestroke.counting.types import Reading
from duestroke.messages import encode_reading, report_topic
from duestroke.times import to_micros
from store.intake import BatchOutcome, Delivery, record_batch
from store.migrate import migrate, migrations
from store.presses import Settings
from store.unit import Unit, connect
from tests.support.backends import ContainerDatabase, EmbeddedDatabase, database_server
from tests.support.mqtt import open_folder

NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)
PRESS = "harlow-mere/2/07"
OLDEST_SUPPORTED = 150_000

Server = EmbeddedDatabase | ContainerDatabase


@pytest.fixture(scope="session")
def served(backend: str) -> Iterator[Server]:
    """A server of each backend, apart from the one that other tests share: it gets killed."""
    with open_folder() as folder, database_server(backend, folder) as server:
        yield server


@pytest.fixture
def empty_url(served: Server) -> Iterator[str]:
    """A database with nothing in it."""
    name = f"c_{os.urandom(8).hex()}"
    with psycopg.connect(served.url, autocommit=True) as conn:
        conn.execute(f"CREATE DATABASE {name} TEMPLATE template0")
    yield psycopg.conninfo.make_conninfo(served.url, dbname=name)
    with psycopg.connect(served.url, autocommit=True) as conn:
        conn.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def url(empty_url: str) -> str:
    """A migrated database with one press."""
    migrate(empty_url)
    with connect(empty_url) as conn, Unit(conn) as unit:
        unit.presses.register(PRESS, Settings(2**32, 480, "UTC", None, None))
        unit.commit()
    return empty_url


def report(seq: int, strokes: int) -> Delivery:
    """One report a minute."""
    at = to_micros(NOW - timedelta(hours=1) + timedelta(minutes=seq))
    payload = encode_reading(Reading("a", seq, at, strokes, 6.0, 800.0))
    return Delivery(report_topic(PRESS), payload, NOW)


def take_in(url: str, *deliveries: Delivery) -> BatchOutcome:
    with connect(url) as conn:
        outcome = record_batch(conn, deliveries, NOW)
        conn.commit()
    return outcome


def total(url: str) -> int:
    with connect(url) as conn, Unit(conn) as unit:
        return unit.strokes.total_at(PRESS, NOW)


def test_the_server_is_new_enough_and_keeps_its_word(url: str) -> None:
    with psycopg.connect(url) as conn:
        assert conn.info.server_version >= OLDEST_SUPPORTED
        # An acknowledged report is a stored one only with both of these.
        for setting in ("fsync", "synchronous_commit"):
            assert conn.execute(f"SHOW {setting}").fetchone() == ("on",)


def test_migrations_apply_once_however_many_start_at_once(empty_url: str) -> None:
    with ThreadPoolExecutor(4) as pool:
        done = list(pool.map(migrate, [empty_url] * 4))
    everything = [step.version for step in migrations()]
    assert sorted(done) == sorted([everything, [], [], []])
    assert migrate(empty_url) == []


def test_a_repeated_report_changes_nothing(url: str) -> None:
    assert take_in(url, report(1, 1000), report(2, 1300)).kept == 2
    again = take_in(url, report(2, 1300), report(1, 1000))
    assert (again.kept, again.repeated, again.quarantined) == (0, 2, 0)
    assert total(url) == 300


def test_the_first_of_two_contents_under_one_identity_stands(url: str) -> None:
    """Eight writers at once, each with its own content for the same two identities."""
    take_in(url, report(1, 1000))
    gate = threading.Barrier(8)

    def write(number: int) -> BatchOutcome:
        gate.wait()
        return take_in(url, report(2, 1300 + number), report(3, 1600 + number))

    with ThreadPoolExecutor(8) as pool:
        outcomes = list(pool.map(write, range(8)))
    assert sorted((one.kept, one.quarantined) for one in outcomes) == [(0, 2)] * 7 + [(2, 0)]
    winner = next(number for number, one in enumerate(outcomes) if one.kept)
    assert total(url) == 600 + winner
    with psycopg.connect(url) as conn:
        assert conn.execute("SELECT count(*) FROM reading").fetchone() == (3,)
        reasons = conn.execute("SELECT reason, count(*) FROM quarantine GROUP BY 1").fetchall()
    assert reasons == [("conflict", 14)]


def test_times_keep_their_instant_to_the_microsecond_in_any_zone(url: str) -> None:
    there = datetime(2026, 3, 29, 7, 30, 0, 123_457, timezone(timedelta(hours=5, minutes=30)))
    with psycopg.connect(url) as conn:
        conn.execute("SET TIME ZONE 'America/New_York'")
        conn.execute("CREATE TEMPORARY TABLE kept (at timestamptz)")
        conn.execute("INSERT INTO kept VALUES (%s)", [there])
        assert conn.execute("SELECT at FROM kept").fetchone() == (there,)
        conn.execute("SET TIME ZONE 'UTC'")
        (back,) = conn.execute("SELECT at FROM kept").fetchone() or (None,)
    assert back == there
    assert back.utcoffset() == timedelta(0)


def test_what_was_committed_outlives_a_killed_server_and_the_rest_does_not(
    served: Server, url: str
) -> None:
    take_in(url, report(1, 1000), report(2, 1300))
    with connect(url) as conn:
        record_batch(conn, [report(3, 1600)], NOW)
        served.kill()
        with pytest.raises(psycopg.OperationalError):
            conn.commit()
    served.start_again()
    assert total(url) == 300
    # And the same connection string serves again, with the report sent once more.
    assert take_in(url, report(3, 1600)).kept == 1
    assert total(url) == 600


def test_a_notice_comes_after_the_commit_and_once(url: str) -> None:
    with connect(url, autocommit=True) as listener:
        listener.execute("LISTEN duestroke")
        take_in(url, report(1, 1000), report(2, 1300))
        heard = [notice.payload for notice in listener.notifies(timeout=5, stop_after=1)]
        assert [json.loads(text) for text in heard] == [{"presses": [PRESS]}]
        assert list(listener.notifies(timeout=0.3)) == []


@pytest.mark.timescale
def test_readings_are_a_hypertable_where_the_extension_is(url: str) -> None:
    with psycopg.connect(url) as conn:
        there = conn.execute(
            "SELECT 1 FROM pg_available_extensions WHERE name = 'timescaledb'"
        ).fetchone()
        if there is None:
            reason = "this server has no TimescaleDB extension"
            if os.environ.get("DUESTROKE_REQUIRE_TIMESCALE") == "1":
                pytest.fail(reason)
            pytest.skip(reason)
        found = conn.execute(
            "SELECT 1 FROM timescaledb_information.hypertables WHERE hypertable_name = 'reading'"
        ).fetchone()
    assert found is not None

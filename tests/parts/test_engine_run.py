"""The engine as it runs: woken by the ledger, one at a time, back after a lost connection."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta

import psycopg

from engine import app
from store.leases import Lease, holding
from store.unit import Unit, connect
from tests.support.plants import NOW, fit_tool, register, report, steady

PRESS = "works/1/01"


@contextmanager
def engine(database_url: str, **settings: float) -> Iterator[list[None]]:
    """An engine in a thread; gives its heartbeats, fails when it does not end in time."""
    stop, beats = threading.Event(), []
    thread = threading.Thread(
        target=app.run,
        args=(database_url,),
        kwargs={"stop": stop, "beat": lambda: beats.append(None), "now": lambda: NOW, **settings},
    )
    thread.start()
    try:
        yield beats
    finally:
        stop.set()
        thread.join(10)
        assert not thread.is_alive()


def wait_for(what: Callable[[], bool], seconds: float) -> float:
    """Seconds until something is true."""
    begin = time.monotonic()
    while not what():
        assert time.monotonic() - begin < seconds, "it never came true"
        time.sleep(0.02)
    return time.monotonic() - begin


def serials(conn) -> set[str]:
    with Unit(conn) as unit:
        return {each.serial for each in unit.forecasts.current()}


def set_up(conn) -> None:
    with Unit(conn) as unit:
        register(unit, PRESS)
        report(unit, PRESS, steady(5, every_minutes=240))
        unit.commit()


def fit_ring(conn, serial: str = "IR-1", position: str = "ring-3") -> None:
    with Unit(conn) as unit:
        fit_tool(unit, serial, PRESS, position, NOW - timedelta(days=1))
        unit.commit()


def test_a_forecast_follows_a_ledger_event_within_five_seconds(database_url):
    with connect(database_url) as conn, engine(database_url, poll_s=60) as beats:
        set_up(conn)
        wait_for(lambda: len(beats) > 3, 10)
        fit_ring(conn)
        assert wait_for(lambda: serials(conn) == {"IR-1"}, 10) < 5


def test_a_notice_that_was_never_heard_is_made_up_for_by_a_look(database_url):
    """The poll finds what no wake-up told, such as rows from another tool."""
    with connect(database_url) as conn:
        set_up(conn)
        fit_ring(conn)
        with conn.cursor() as cursor:
            cursor.execute("UPDATE position_def SET handbook_life = 1e6 WHERE position = 'ring-3'")
        conn.commit()
        with engine(database_url, poll_s=0.5):
            wait_for(lambda: serials(conn) == {"IR-1"}, 10)
            conn.execute("UPDATE position_def SET handbook_life = 1e9 WHERE position = 'ring-3'")
            conn.commit()
            wait_for(lambda: ring_median(conn) > 1e8, 10)


def ring_median(conn) -> float:
    with Unit(conn) as unit:
        remaining = unit.forecasts.current(position="ring-3")[0].remaining
    assert remaining is not None
    return remaining[len(remaining) // 2]


def test_new_reports_are_followed(database_url):
    with connect(database_url) as conn:
        set_up(conn)
        fit_ring(conn)
        with engine(database_url, reports_every_s=0.2, poll_s=60):
            wait_for(lambda: serials(conn) == {"IR-1"}, 10)
            before = strokes_of(conn)
            with Unit(conn) as unit:
                later = NOW + timedelta(hours=4)
                report(unit, PRESS, steady(5 + 1 / 6, until=later, every_minutes=240)[-1:])
                unit.commit()
            wait_for(lambda: strokes_of(conn) == before + 400 * 240, 10)


def strokes_of(conn) -> float:
    with Unit(conn) as unit:
        strokes = unit.forecasts.current(PRESS, "ring-3")[0].strokes
    assert strokes is not None
    return strokes


def test_a_lost_connection_is_made_anew(database_url):
    with connect(database_url) as conn, connect(database_url, autocommit=True) as other:
        set_up(conn)
        with engine(database_url, poll_s=0.5):
            wait_for(lambda: holding(other, "engine") is not None, 10)
            other.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                " WHERE datname = current_database() AND pid <> pg_backend_pid() AND pid <> %s",
                [conn.info.backend_pid],
            )
            fit_ring(conn)
            wait_for(lambda: serials(conn) == {"IR-1"}, 15)


def test_a_second_engine_stands_by_until_the_first_is_gone(database_url):
    with connect(database_url) as conn:
        set_up(conn)
        fit_ring(conn)
        with psycopg.connect(database_url, autocommit=True) as other:
            assert Lease(other, "engine", "the first").take(NOW)
            with engine(database_url) as beats:
                wait_for(lambda: len(beats) >= 2, 10)
                assert serials(conn) == set()
                other.close()
                wait_for(lambda: serials(conn) == {"IR-1"}, 10)


def test_the_engine_outlives_a_database_that_is_not_there():
    """It waits with growing pauses and ends when told to."""
    with engine("postgresql://nobody@127.0.0.1:9/none?connect_timeout=1"):
        time.sleep(0.5)

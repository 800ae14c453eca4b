"""Leases on real Postgres: one holder, free at once when its session ends."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

import psycopg
import pytest

from store.leases import Lease, holding
from store.unit import connect

NOW = datetime(2026, 6, 1, tzinfo=UTC)


@pytest.fixture
def sessions(database_url):
    with (
        connect(database_url, autocommit=True) as one,
        connect(database_url, autocommit=True) as two,
    ):
        yield one, two


def test_only_one_session_holds_a_job(sessions):
    one, two = sessions
    assert Lease(one, "engine", "first").take(NOW)
    assert not Lease(two, "engine", "second").take(NOW)
    assert Lease(two, "planner", "second").take(NOW)
    held = holding(two, "engine")
    assert held is not None
    assert held.holder == "first"


def test_a_lease_given_back_can_be_taken(sessions):
    one, two = sessions
    first = Lease(one, "engine", "first")
    assert first.take(NOW)
    first.release()
    assert Lease(two, "engine", "second").take(NOW + timedelta(minutes=1))
    held = holding(one, "engine")
    assert held is not None
    assert (held.holder, held.taken_at) == ("second", NOW + timedelta(minutes=1))


def test_a_killed_session_frees_its_lease(sessions):
    one, two = sessions
    assert Lease(one, "engine", "first").take(NOW)
    row = one.execute("SELECT pg_backend_pid() AS pid").fetchone()
    two.execute("SELECT pg_terminate_backend(%s)", [row["pid"]])
    second = Lease(two, "engine", "second")
    until = time.monotonic() + 5
    while not second.take(NOW):
        assert time.monotonic() < until
        time.sleep(0.01)
    with pytest.raises(psycopg.OperationalError):
        Lease(one, "engine", "first").beat(NOW)


def test_a_beat_is_seen_and_only_the_holder_leaves_one(sessions):
    one, two = sessions
    first = Lease(one, "engine", "first")
    assert first.take(NOW)
    first.beat(NOW + timedelta(seconds=5))
    Lease(two, "engine", "second").beat(NOW + timedelta(seconds=9))
    held = holding(two, "engine")
    assert held is not None
    assert held.beat_at == NOW + timedelta(seconds=5)


def test_a_job_that_nobody_ever_held(sessions):
    assert holding(sessions[0], "engine") is None

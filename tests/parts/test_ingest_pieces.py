"""The ingestor's pieces alone: queue, pauses, and a batch that one message spoils."""

from __future__ import annotations

import logging
import random
import threading
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import psycopg
import pytest

from ingest.arrivals import Arrival, Inbox
from ingest.session import Backoff
from ingest.watch import Heartbeat, Losses
from ingest.writer import Storing, Writer

AT = datetime(2026, 3, 1, tzinfo=UTC)


def arrival(mid: int, payload: bytes = b"{}") -> Arrival:
    return Arrival(1, mid, "duestroke/v1/a/b/c/report", payload, False, AT)


def test_the_inbox_keeps_order_and_its_bound() -> None:
    inbox = Inbox(3)
    assert [inbox.put(arrival(mid)) for mid in (1, 2, 3, 4)] == [True, True, True, False]
    assert [one.mid for one in inbox.take(2, wait_s=0, gather_s=0)] == [1, 2]
    assert inbox.put(arrival(5))
    assert inbox.clear() == 2
    assert inbox.take(2, wait_s=0, gather_s=0) == []


def test_a_full_batch_is_taken_at_once_and_a_part_after_its_time() -> None:
    inbox = Inbox(100)
    for mid in range(10):
        inbox.put(arrival(mid))
    began = time.monotonic()
    assert len(inbox.take(10, wait_s=5, gather_s=5)) == 10
    assert time.monotonic() - began < 1
    inbox.put(arrival(11))
    assert len(inbox.take(10, wait_s=5, gather_s=0.02)) == 1


def test_the_taker_is_woken_when_the_batch_is_full() -> None:
    inbox = Inbox(100)
    taken: list[Arrival] = []
    taker = threading.Thread(
        target=lambda: taken.extend(inbox.take(3, wait_s=10, gather_s=10)), daemon=True
    )
    taker.start()
    for mid in (1, 2, 3):
        time.sleep(0.01)
        inbox.put(arrival(mid))
    taker.join(5)
    assert [one.mid for one in taken] == [1, 2, 3]


class Stop(threading.Event):
    """Remembers the pauses that it was asked to wait and waits none of them."""

    def __init__(self) -> None:
        super().__init__()
        self.pauses: list[float] = []

    def wait(self, timeout: float | None = None) -> bool:
        self.pauses.append(timeout or 0.0)
        return False


def test_pauses_grow_to_a_bound_with_jitter_and_start_over() -> None:
    stop = Stop()
    backoff = Backoff(stop, random.Random(3), first_s=0.1, longest_s=10.0)
    for _ in range(30):
        backoff.wait()
    full = [min(10.0, 0.1 * 2**n) for n in range(30)]
    assert all(top / 2 <= pause <= top for pause, top in zip(stop.pauses, full, strict=True))
    assert len(set(stop.pauses[-10:])) == 10
    backoff.reset()
    backoff.wait()
    assert stop.pauses[-1] <= 0.1


class FakeConnection:
    """A connection as the writer uses it: a commit keeps what was written, a rollback drops it."""

    def __init__(self) -> None:
        self.open: list[Any] = []
        self.kept: list[Any] = []
        self.rollbacks = 0

    def commit(self) -> None:
        self.kept += self.open
        self.open = []

    def rollback(self) -> None:
        self.open = []
        self.rollbacks += 1


class FakeSession:
    """A session over a fake connection."""

    def __init__(self) -> None:
        self.conn = FakeConnection()


def record(conn: Any, arrivals: Sequence[Arrival], _now: datetime) -> None:
    for one in arrivals:
        if one.payload.startswith(b"fault:"):
            raise FAULTS[one.payload]
        conn.open.append(one.mid)


def set_aside(conn: Any, one: Arrival, detail: str) -> None:
    conn.open.append((one.mid, detail))


FAULTS: dict[bytes, Exception] = {
    b"fault:data": psycopg.DataError("value out\nof range"),
    b"fault:bug": KeyError("boot"),
    b"fault:away": psycopg.OperationalError("server closed the connection"),
    b"fault:setup": psycopg.errors.UndefinedTable("no table"),
}


def a_writer(points: list[str] | None = None) -> tuple[Writer, FakeConnection]:
    session: Any = FakeSession()
    pause = None if points is None else points.append
    writer = Writer(session, Storing(record, set_aside), now=lambda: AT, pause=pause)
    return writer, session.conn


def test_a_batch_is_one_commit_between_its_two_points() -> None:
    points: list[str] = []
    writer, conn = a_writer(points)
    writer.store([arrival(1), arrival(2)])
    assert conn.kept == [1, 2]
    assert points == ["written", "committed"]
    assert writer.stored == 2


@pytest.mark.parametrize("fault", [b"fault:data", b"fault:bug"])
def test_the_message_that_spoils_a_batch_is_found_and_set_aside(
    fault: bytes, caplog: pytest.LogCaptureFixture
) -> None:
    writer, conn = a_writer()
    with caplog.at_level(logging.ERROR):
        writer.store([arrival(mid, fault if mid in (3, 6) else b"{}") for mid in range(1, 9)])
    whole = [one for one in conn.kept if isinstance(one, int)]
    aside = [one for one in conn.kept if not isinstance(one, int)]
    assert whole == [1, 2, 4, 5, 7, 8]
    assert [mid for mid, _ in aside] == [3, 6]
    assert all("\n" not in detail for _, detail in aside)
    assert [getattr(one, "action", None) for one in caplog.records] == ["message-set-aside"] * 2
    assert (writer.stored, writer.set_aside) == (6, 2)


@pytest.mark.parametrize("fault", [b"fault:away", b"fault:setup"])
def test_a_fault_of_the_database_keeps_the_batch_whole(fault: bytes) -> None:
    writer, conn = a_writer()
    with pytest.raises(type(FAULTS[fault])):
        writer.store([arrival(1), arrival(2, fault)])
    assert conn.kept == []
    assert writer.set_aside == 0


def test_a_heartbeat_is_due_in_its_time_and_missed_only_once_one_was_heard() -> None:
    beat = Heartbeat("duestroke/ingest/me/beat")
    beat.begin()
    assert [beat.due(now) for now in (0.0, 9.9, 10.0, 15.0, 20.0)] == [
        True,
        False,
        True,
        False,
        True,
    ]
    assert not beat.silent(1000.0), "none was ever heard: the broker may not let us have the topic"
    beat.answer()
    assert beat.due(1000.0)
    assert not beat.silent(1060.0)
    assert beat.due(1060.0)
    assert beat.silent(1060.1)
    beat.begin()
    assert not beat.silent(5000.0)


def test_four_losses_within_a_minute_are_too_many() -> None:
    losses = Losses()
    assert [losses.add(now) for now in (0.0, 30.0, 50.0, 60.0)] == [False] * 4
    assert losses.add(70.0)
    assert [losses.add(now) for now in (71.0, 72.0, 73.0, 74.0)] == [False, False, False, True]

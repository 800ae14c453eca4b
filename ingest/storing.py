"""From arrivals to the store's intake, in the transaction that the writer commits."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from duestroke.messages import Refused
from duestroke.messages.topics import press_of
from ingest.arrivals import Arrival
from ingest.session import Connection
from store.intake import Delivery, quarantine, record_batch, replay_waiting


def record(conn: Connection, arrivals: Sequence[Arrival], now: datetime) -> None:
    """Reports and statuses of a batch, in order of arrival."""
    deliveries = [Delivery(one.topic, one.payload, one.at) for one in arrivals]
    record_batch(conn, deliveries, now)


def set_aside(conn: Connection, arrival: Arrival, detail: str) -> None:
    """The bytes of a message that the store could not take in, with what it said."""
    topic = arrival.topic
    press = press_of(topic, "report") or press_of(topic, "status")
    refused = Refused(topic, arrival.payload, "malformed", None, detail, press)
    quarantine(conn, refused, arrival.at)


def replay(conn: Connection, now: datetime) -> int:
    """Take in what waited for its time or its press; returns how many did. Commits."""
    count = replay_waiting(conn, now)
    conn.commit()
    return count

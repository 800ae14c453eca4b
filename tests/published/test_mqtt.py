"""MQTT 5 as the ingestor keeps it: statements of the standard behind "lost or counted twice: none".

Source of each statement: OASIS Standard, MQTT Version 5.0, 7 March 2019, as quoted in the data
file. Read second hand, in the sources of several clients and brokers that quote them.
"""

from __future__ import annotations

import json
import struct
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import psycopg
import pytest
from psycopg.rows import dict_row

from duestroke.counting.types import Reading
from duestroke.messages import encode_reading, report_topic
from duestroke.times import parse_time, to_micros
from ingest.app import Ingestor
from ingest.arrivals import Inbox
from ingest.client import BrokerAddress, ReportClient
from ingest.link import Link
from store.presses import Settings
from store.unit import Unit
from tests.support.mqtt import PASSWORD, USER, RunningBroker, Sender, open_folder, wait_until
from tests.support.scripted_broker import CONNECT, ScriptedBroker

DATA: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "mqtt.json").read_text(encoding="utf-8")
)
PRESS = "harlow-mere/2/07"
TOPIC = report_topic(PRESS)
START = to_micros(parse_time("2026-03-01T06:00:00Z"))


def report(seq: int) -> bytes:
    return encode_reading(Reading("a", seq, START + seq * 60_000_000, 300 * seq))


@pytest.fixture
def broker() -> Iterator[ScriptedBroker]:
    with ScriptedBroker() as made:
        yield made


@pytest.fixture
def stored(database_url: str) -> Callable[[], int]:
    """How many readings are committed; the press is registered."""
    with psycopg.connect(database_url, row_factory=dict_row) as conn, Unit(conn) as unit:
        unit.presses.register(PRESS, Settings())
        unit.commit()

    def count() -> int:
        with psycopg.connect(database_url) as conn:
            row = conn.execute("SELECT count(*) FROM reading").fetchone()
        return 0 if row is None else int(row[0])

    return count


@contextmanager
def ingesting(
    database_url: str, port: int, pause: Callable[[str], None] | None = None
) -> Iterator[None]:
    stop, ready = threading.Event(), threading.Event()
    made = Ingestor(
        database_url,
        BrokerAddress("127.0.0.1", port, client_id="published"),
        stop=stop,
        beat=ready.set,
        now=lambda: datetime.now(UTC),
        pause=pause,
    )
    thread = threading.Thread(target=made.run, daemon=True)
    thread.start()
    try:
        assert ready.wait(15)
        yield
    finally:
        stop.set()
        thread.join(15)


def test_the_session_is_kept_over_any_outage(
    broker: ScriptedBroker, database_url: str, stored: Callable[[], int]
) -> None:
    """MQTT-3.1.2-23: Clean Start 0 and a Session Expiry Interval, each alone would end it."""
    with ingesting(database_url, broker.port):
        (connect,) = broker.of(CONNECT)
    assert connect.body[:7] == b"\0\4MQTT\5"
    assert connect.body[7] & DATA["connect_flags"]["Clean Start"] == 0
    properties = connect.body[11 : 11 + connect.body[10]]
    found = {}
    while properties:
        size = {17: 4, 33: 2}[properties[0]]
        found[properties[0]] = int.from_bytes(properties[1 : 1 + size])
        properties = properties[1 + size :]
    expiry = found[DATA["session_expiry_interval"]["property"]]
    # Common practice, no source: an outage over a long weekend with a holiday.
    assert 5 * 86_400 <= expiry <= DATA["session_expiry_interval"]["never"]
    assert found[DATA["receive_maximum"]["property"]] == 1000


def test_ownership_is_accepted_at_the_commit_and_no_earlier(
    broker: ScriptedBroker, database_url: str, stored: Callable[[], int]
) -> None:
    """MQTT-4.3.2-4."""
    at_commit = threading.Event()
    go_on = threading.Event()

    def pause(point: str) -> None:
        if point == "written":
            at_commit.set()
            go_on.wait(10)

    with ingesting(database_url, broker.port, pause):
        broker.publish(TOPIC, report(0), mid=7)
        assert at_commit.wait(10)
        time.sleep(0.3)
        assert (stored(), broker.acknowledged()) == (0, [])
        go_on.set()
        wait_until(lambda: broker.acknowledged() == [7])
        assert stored() == 1


def test_a_packet_id_is_no_identity(
    broker: ScriptedBroker, database_url: str, stored: Callable[[], int]
) -> None:
    """MQTT-4.3.2-5: the same id after its PUBACK is a new message, with DUP or without."""
    with ingesting(database_url, broker.port):
        for seq, dup in enumerate((False, True, False, True)):
            broker.publish(TOPIC, report(seq), mid=5, dup=dup)
            wait_until(lambda seq=seq: broker.acknowledged() == [5] * (seq + 1))
        assert stored() == 4


def test_two_deliveries_of_one_report_count_once(
    broker: ScriptedBroker, database_url: str, stored: Callable[[], int]
) -> None:
    """MQTT-4.4.0-1: what was unacknowledged comes again; the old PUBACK is dropped."""
    reached = threading.Event()
    go_on = threading.Event()

    def pause(point: str) -> None:
        if point == "committed" and not reached.is_set():
            reached.set()
            go_on.wait(15)

    with ingesting(database_url, broker.port, pause):
        broker.publish(TOPIC, report(0), mid=9)
        assert reached.wait(10)
        broker.cut()
        wait_until(lambda: broker.of(CONNECT, connection=2))
        time.sleep(0.2)
        # Under the same id, another message: a PUBACK of the old connection would destroy it.
        broker.publish(TOPIC, report(1), mid=9)
        time.sleep(0.2)
        go_on.set()
        wait_until(lambda: stored() == 2)
        wait_until(lambda: broker.acknowledged(connection=2) == [9])
        broker.publish(TOPIC, report(0), mid=10, dup=True)
        wait_until(lambda: broker.acknowledged(connection=2) == [9, 10])
        assert stored() == 2
    assert broker.acknowledged(connection=1) == []


@pytest.fixture(scope="module")
def mosquitto() -> Iterator[RunningBroker]:
    with open_folder() as folder:
        broker = RunningBroker.start(folder)
        yield broker
        broker.stop()


@pytest.mark.mosquitto
def test_the_broker_sends_again_what_is_unacknowledged_and_only_then(
    mosquitto: RunningBroker,
) -> None:
    """MQTT-4.3.2-1, -3 and 4.4.0-1 of a real broker: ids unused, kept, and no second delivery."""

    def connect(generation: int) -> tuple[Link, Inbox]:
        inbox = Inbox(1000)
        address = BrokerAddress("127.0.0.1", mosquitto.port, USER, PASSWORD, "published")
        link = Link(address, inbox, generation=generation, now=lambda: datetime.now(UTC))
        link.open()
        wait_until(lambda: link.ready)
        return link, inbox

    link, inbox = connect(1)
    with Sender(mosquitto.port) as sender:
        sender.send(TOPIC, *(report(seq) for seq in range(30)))
    wait_until(lambda: len(inbox) == 30)
    first = inbox.take(100, wait_s=0, gather_s=0)
    assert len({one.mid for one in first}) == 30
    assert inbox.take(1, wait_s=1.0, gather_s=0) == [], "sent again on a connection that stands"
    link.acknowledge(first[:10])
    link.close()
    time.sleep(0.2)
    link, inbox = connect(link.generation + 1)
    wait_until(lambda: len(inbox) == 20)
    again = inbox.take(100, wait_s=0, gather_s=0)
    assert [(one.mid, one.payload) for one in again] == [
        (one.mid, one.payload) for one in first[10:]
    ]
    link.acknowledge(again)
    link.close()


def test_the_packets_are_those_of_the_standard() -> None:
    """Fixed headers of the scripted broker and of our PUBACK, against the standard's table 2.1."""
    from tests.support import scripted_broker

    for name, value in DATA["fixed_header"].items():
        assert getattr(scripted_broker, name, value) == value
    sent: list[bytes] = []

    class Recorder(ReportClient):
        def _packet_queue(self, command, packet, mid, qos, info=None):
            sent.append(bytes(packet))
            return super()._packet_queue(command, packet, mid, qos, info)

    client = Recorder(BrokerAddress("127.0.0.1", 1), lambda *_: None)
    client.acknowledge([258])
    assert sent == [bytes([DATA["fixed_header"]["PUBACK"], 2]) + struct.pack("!H", 258)]

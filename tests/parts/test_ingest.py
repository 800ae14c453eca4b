"""The ingestor between a real broker and a real database."""

from __future__ import annotations

import base64
import logging
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import psycopg
import pytest
from psycopg.rows import dict_row

from duestroke.counting.types import Reading
from duestroke.messages import (
    encode_reading,
    encode_status,
    payloads,
    report_topic,
    status_topic,
)
from duestroke.times import from_micros, parse_time, to_micros
from ingest.app import Ingestor
from ingest.arrivals import Inbox
from ingest.client import BrokerAddress
from ingest.link import Link
from store.presses import Settings
from store.unit import Unit
from tests.support.mqtt import PASSWORD, USER, RunningBroker, Sender, open_folder, wait_until

PRESS = "harlow-mere/2/07"
TOPIC = report_topic(PRESS)
START = to_micros(parse_time("2026-03-01T06:00:00Z"))
MINUTE = 60_000_000


def reading(seq: int, boot: str = "a") -> Reading:
    """One report a minute, 300 strokes each."""
    return Reading(boot, seq, START + seq * MINUTE, 300 * seq, 6.0, 800.0)


def bodies(*seqs: int) -> list[bytes]:
    return [encode_reading(reading(seq)) for seq in seqs]


@pytest.fixture(scope="module")
def shared_broker() -> Iterator[RunningBroker]:
    with open_folder() as folder:
        broker = RunningBroker.start(folder)
        yield broker
        broker.stop()


@pytest.fixture
def own_broker() -> Iterator[RunningBroker]:
    with open_folder() as folder:
        broker = RunningBroker.start(folder)
        yield broker
        if broker.child.poll() is None:
            broker.stop()


@dataclass
class Database:
    """What the tests ask of the database."""

    url: str

    def rows(self, query: Any, *values: object) -> list[dict[str, Any]]:
        with psycopg.connect(self.url, row_factory=dict_row) as conn:
            return conn.execute(query, values).fetchall()

    def readings(self) -> int:
        return int(self.rows("SELECT count(*) AS n FROM reading")[0]["n"])

    def register(self, press: str = PRESS) -> None:
        with psycopg.connect(self.url, row_factory=dict_row) as conn, Unit(conn) as unit:
            unit.presses.register(press, Settings())
            unit.commit()

    def quarantine(self) -> list[dict[str, Any]]:
        return self.rows("SELECT * FROM quarantine ORDER BY id")

    def total(self) -> int:
        return int(self.rows("SELECT total FROM press_state")[0]["total"])


@pytest.fixture
def database(database_url: str) -> Database:
    made = Database(database_url)
    made.register()
    return made


@dataclass
class Running:
    """An ingestor in a thread of this process."""

    database_url: str
    address: BrokerAddress
    now: Callable[[], datetime] = lambda: datetime.now(UTC)
    pause: Callable[[str], None] | None = None
    inbox_capacity: int = 100_000
    replay_every_s: float = 0.1
    stop: threading.Event = field(default_factory=threading.Event)
    ready: threading.Event = field(default_factory=threading.Event)

    def start(self) -> None:
        self.ingestor = Ingestor(
            self.database_url,
            self.address,
            stop=self.stop,
            beat=self.ready.set,
            now=self.now,
            pause=self.pause,
            replay_every_s=self.replay_every_s,
            inbox_capacity=self.inbox_capacity,
        )
        self.thread = threading.Thread(target=self.ingestor.run, daemon=True)
        self.thread.start()

    def end(self) -> None:
        self.stop.set()
        self.thread.join(15)
        assert not self.thread.is_alive(), "the ingestor does not stop"


@contextmanager
def ingesting(database: Database, address: BrokerAddress, **more: Any) -> Iterator[Running]:
    running = Running(database.url, address, **more)
    running.start()
    try:
        assert running.ready.wait(15), "the ingestor does not get ready"
        yield running
    finally:
        running.end()


def address_of(broker: RunningBroker, client_id: str) -> BrokerAddress:
    return BrokerAddress("127.0.0.1", broker.port, USER, PASSWORD, client_id)


@pytest.fixture
def address(shared_broker: RunningBroker, request: pytest.FixtureRequest) -> BrokerAddress:
    """The shared broker, as a client of this test's own."""
    return address_of(shared_broker, request.node.name[:60])


def actions(caplog: pytest.LogCaptureFixture) -> list[str]:
    return [getattr(record, "action", "") for record in caplog.records]


def test_reports_and_arrays_are_counted(
    database: Database, shared_broker: RunningBroker, address: BrokerAddress
) -> None:
    array = next(iter(payloads(map(reading, range(5, 200)))))
    with ingesting(database, address), Sender(shared_broker.port) as sender:
        sender.send(TOPIC, *bodies(0, 1, 2, 1), array)
        count = array.count(b'"boot"')
        wait_until(lambda: database.readings() == 3 + count)
    assert database.total() == 300 * (4 + count)
    state = database.rows("SELECT readings, missing FROM press_state")[0]
    assert state == {"readings": 3 + count, "missing": 2}
    assert database.quarantine() == []


def test_what_was_sent_while_it_was_away_comes_when_it_is_back(
    database: Database, shared_broker: RunningBroker, address: BrokerAddress
) -> None:
    with Sender(shared_broker.port) as sender:
        with ingesting(database, address):
            sender.send(TOPIC, *bodies(0))
            wait_until(lambda: database.readings() == 1)
        sender.send(TOPIC, *bodies(*range(1, 301)))
        with ingesting(database, address):
            wait_until(lambda: database.readings() == 301)


def test_a_stop_finishes_the_batch_in_hand(
    database: Database, shared_broker: RunningBroker, address: BrokerAddress
) -> None:
    """At the stop the batch is written, committed and acknowledged: nothing comes twice."""
    written = threading.Event()
    more = threading.Event()

    def pause(point: str) -> None:
        if point == "written":
            written.set()
            more.wait(10)

    with Sender(shared_broker.port) as sender:
        with ingesting(database, address, pause=pause) as running:
            sender.send(TOPIC, *bodies(0, 1, 2))
            assert written.wait(10)
            running.stop.set()
            more.set()
        assert database.readings() == 3
        with ingesting(database, address) as running:
            sender.send(TOPIC, *bodies(3))
            wait_until(lambda: database.readings() == 4)
            assert running.ingestor.stored == 1


def test_statuses_are_kept_and_a_will_is_one(
    database: Database, shared_broker: RunningBroker, address: BrokerAddress
) -> None:
    topic, at = status_topic(PRESS), from_micros(START)

    def state() -> Any:
        rows = database.rows("SELECT status, status_at FROM press_status")
        return rows[0] if rows else None

    with Sender(shared_broker.port, will=(topic, encode_status("offline", at))) as gateway:
        # Retained, so an ingestor that comes later learns of it.
        later = at + timedelta(hours=3)
        gateway.send(topic, encode_status("running", later), retain=True)
        with ingesting(database, address):
            wait_until(lambda: state() == {"status": "running", "status_at": later})
            gateway.vanish()
            # The last one received stands although its time is the earlier one.
            wait_until(lambda: state() == {"status": "offline", "status_at": at})
    with Sender(shared_broker.port) as sender:
        sender.send(topic, b"", retain=True)


def test_each_reason_keeps_its_bytes(
    database: Database, shared_broker: RunningBroker, address: BrokerAddress
) -> None:
    now = from_micros(START + 300 * MINUTE)
    odd = encode_reading(reading(1)._replace(strokes=77))
    late = encode_reading(reading(311))
    early = encode_reading(reading(3)._replace(at=to_micros(parse_time("2019-12-31T00:00:00Z"))))
    wrong = encode_reading(reading(4)).replace(b"6.0", b"-6.0")
    big = b"[" + b" " * 17_000 + b"]"
    other = report_topic("harlow-mere/9/99")
    badly = "duestroke/v1/Harlow/2/07/report"
    with ingesting(database, address, now=lambda: now), Sender(shared_broker.port) as sender:
        sender.send(TOPIC, *bodies(1), b"not json", odd, late, early, wrong, big, wrong)
        sender.send(other, *bodies(1))
        sender.send(badly, *bodies(2))
        sender.send(TOPIC, b"[" + encode_reading(reading(5)) + b"," + early + b"]")
        sender.send(status_topic(PRESS), b'{"state":"on"}')
        wait_until(lambda: database.readings() == 2 and len(database.quarantine()) == 9)
    found = {
        (row["reason"], row["topic"], bytes(row["payload"])): (row["field"], row["times"])
        for row in database.quarantine()
    }
    assert found == {
        ("malformed", TOPIC, b"not json"): (None, 1),
        ("malformed", TOPIC, big): (None, 1),
        ("conflict", TOPIC, odd): (None, 1),
        ("future", TOPIC, late): ("at", 1),
        ("past", TOPIC, early): ("at", 2),
        ("field", TOPIC, wrong): ("peak_speed_mps", 2),
        ("unknown-press", other, bodies(1)[0]): (None, 1),
        ("topic", badly, bodies(2)[0]): (None, 1),
        ("field", status_topic(PRESS), b'{"state":"on"}'): ("state", 1),
    }


def test_an_unknown_press_is_taken_in_once_it_is_registered(
    database: Database, shared_broker: RunningBroker, address: BrokerAddress
) -> None:
    other = "harlow-mere/3/12"
    with ingesting(database, address), Sender(shared_broker.port) as sender:
        sender.send(report_topic(other), *bodies(0, 1, 2))
        wait_until(lambda: len(database.quarantine()) == 3)
        assert {row["reason"] for row in database.quarantine()} == {"unknown-press"}
        database.register(other)
        wait_until(lambda: database.readings() == 3)
    assert {row["state"] for row in database.quarantine()} == {"replayed"}


def test_a_report_from_the_future_is_taken_in_when_its_time_comes(
    database: Database, shared_broker: RunningBroker, address: BrokerAddress
) -> None:
    clock = [from_micros(START)]
    with (
        ingesting(database, address, now=lambda: clock[0]),
        Sender(shared_broker.port) as sender,
    ):
        sender.send(TOPIC, *bodies(0, 11))
        wait_until(lambda: len(database.quarantine()) == 1)
        assert database.readings() == 1
        clock[0] += timedelta(minutes=1)
        wait_until(lambda: database.readings() == 2)
    assert [row["state"] for row in database.quarantine()] == ["replayed"]
    assert database.total() == 3300


def test_nothing_is_acknowledged_before_its_commit(
    database: Database, shared_broker: RunningBroker, tmp_path: Path
) -> None:
    """Killed at either point, the next one finds it all: what was not acknowledged comes again."""
    hold, ready = tmp_path / "hold", tmp_path / "ready"
    command = [sys.executable, "-m", "tests.support.ingest_process"]
    command += ["--database", database.url, "--port", str(shared_broker.port)]
    command += ["--username", USER, "--password", PASSWORD]
    command += ["--hold", str(hold), "--ready", str(ready)]
    with Sender(shared_broker.port) as sender:
        for first, point in ((0, "written"), (10, "committed")):
            child = subprocess.Popen(command, stderr=subprocess.DEVNULL)
            wait_until(ready.exists, what="the ingestor is ready")
            hold.write_text(point)
            sender.send(TOPIC, *bodies(*range(first, first + 10)))
            wait_until(hold.with_suffix(".reached").exists)
            child.kill()
            child.wait(10)
            ready.unlink()
            hold.with_suffix(".reached").unlink()
        committed = database.readings()
        address = address_of(shared_broker, "duestroke-ingest")
        with ingesting(database, address) as running:
            wait_until(lambda: database.readings() == 20)
            wait_until(lambda: running.ingestor.stored >= 20 - committed)
    assert committed >= 10
    assert database.total() == 19 * 300
    assert database.quarantine() == []


def test_the_database_away_and_back(
    database: Database,
    shared_broker: RunningBroker,
    address: BrokerAddress,
    caplog: pytest.LogCaptureFixture,
) -> None:
    name = psycopg.conninfo.conninfo_to_dict(database.url)["dbname"]
    admin = database.url.replace(f"/{name}?", "/postgres?")

    def allow(yes: bool) -> None:
        with psycopg.connect(admin, autocommit=True) as conn:
            conn.execute(f'ALTER DATABASE "{name}" ALLOW_CONNECTIONS {str(yes).lower()}')
            conn.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", [name]
            )

    caplog.set_level(logging.INFO)
    with ingesting(database, address), Sender(shared_broker.port) as sender:
        sender.send(TOPIC, *bodies(0))
        wait_until(lambda: database.readings() == 1)
        allow(False)
        sender.send(TOPIC, *bodies(*range(1, 1501)))
        wait_until(lambda: actions(caplog).count("database-down") >= 3)
        assert "broker-lost" not in actions(caplog)
        allow(True)
        wait_until(lambda: database.readings() == 1501)
        wait_until(lambda: "database-back" in actions(caplog))
    assert database.total() == 1500 * 300


def test_a_second_ingestor_waits_and_takes_over(
    database: Database,
    shared_broker: RunningBroker,
    address: BrokerAddress,
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level(logging.INFO)
    second = Running(database.url, address)
    with Sender(shared_broker.port) as sender:
        with ingesting(database, address):
            second.start()
            wait_until(lambda: "standing-by" in actions(caplog))
            sender.send(TOPIC, *bodies(0, 1))
            wait_until(lambda: database.readings() == 2)
            assert not second.ready.is_set()
        try:
            sender.send(TOPIC, *bodies(2, 3))
            wait_until(lambda: database.readings() == 4)
            assert second.ready.wait(10)
        finally:
            second.end()
    assert "client-id-contested" not in actions(caplog)


def test_the_one_that_lost_the_lease_stands_by(
    database: Database, shared_broker: RunningBroker, address: BrokerAddress
) -> None:
    """Its session was ended and another has the right before it is back: it must not write."""
    with ingesting(database, address) as running, psycopg.connect(database.url) as other:
        pid = running.ingestor.session_pid
        take = "SELECT pg_try_advisory_lock(7041996, hashtext('ingest'))"
        other.execute("SELECT pg_terminate_backend(%s)", [pid])
        wait_until(lambda: other.execute(take).fetchone() == (True,))
        with Sender(shared_broker.port) as sender:
            sender.send(TOPIC, *bodies(0, 1))
        running.ready.clear()
        assert not running.ready.wait(2.5), "it works on without the right to write"
        assert database.readings() == 0
        other.close()
        wait_until(lambda: database.readings() == 2)


def test_a_client_id_in_dispute_is_said_aloud(
    database: Database,
    shared_broker: RunningBroker,
    address: BrokerAddress,
    caplog: pytest.LogCaptureFixture,
) -> None:
    import paho.mqtt.client as mqtt
    from paho.mqtt.enums import CallbackAPIVersion

    caplog.set_level(logging.WARNING)
    with ingesting(database, address):
        rival = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=address.client_id, protocol=mqtt.MQTTv5
        )
        rival.username_pw_set(USER, PASSWORD)
        rival.connect_async("127.0.0.1", shared_broker.port)
        rival.loop_start()
        wait_until(lambda: "client-id-contested" in actions(caplog), within_s=30)
        rival.disconnect()
        rival.loop_stop()
    said = next(r for r in caplog.records if getattr(r, "action", "") == "client-id-contested")
    assert address.client_id in said.getMessage()


def test_a_broker_that_comes_late_and_one_that_lost_the_session(
    database: Database, own_broker: RunningBroker, caplog: pytest.LogCaptureFixture
) -> None:
    """Killed before its first save, the broker knows no session: subscribe again, drop old acks."""
    caplog.set_level(logging.INFO)
    own_broker.kill()
    running = Running(database.url, address_of(own_broker, "late"))
    running.start()
    try:
        wait_until(lambda: "broker-unreachable" in actions(caplog))
        own_broker.start_again()
        assert running.ready.wait(15)
        with Sender(own_broker.port) as sender:
            sender.send(TOPIC, *bodies(0, 1))
            wait_until(lambda: database.readings() == 2)
        own_broker.kill()
        own_broker.start_again()
        wait_until(lambda: "session-lost" in actions(caplog))
        with Sender(own_broker.port) as sender:
            wait_until(lambda: actions(caplog).count("subscribed") == 2)
            sender.send(TOPIC, *bodies(5, 6))
            wait_until(lambda: database.readings() == 4)
    finally:
        running.end()
    assert database.rows("SELECT missing FROM press_state") == [{"missing": 3}]


def test_a_full_inbox_breaks_the_link_and_loses_nothing(
    database: Database,
    shared_broker: RunningBroker,
    address: BrokerAddress,
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level(logging.INFO)
    held = threading.Event()

    def pause(point: str) -> None:
        if point == "written":
            held.wait(10)

    with ingesting(database, address, pause=pause, inbox_capacity=50):
        with Sender(shared_broker.port) as sender:
            sender.send(TOPIC, *bodies(*range(200)))
        wait_until(lambda: "inbox-full" in actions(caplog))
        held.set()
        wait_until(lambda: database.readings() == 200, within_s=20)
    assert {"inbox-full", "link-renewed"} <= set(actions(caplog))
    assert database.total() == 199 * 300


def test_a_network_thread_that_ended_is_replaced(
    database: Database, shared_broker: RunningBroker, address: BrokerAddress
) -> None:
    with ingesting(database, address) as running:
        running.ingestor.link.close()
        running.ready.clear()
        assert running.ready.wait(15), "the link is not renewed"
        with Sender(shared_broker.port) as sender:
            sender.send(TOPIC, *bodies(0, 1))
        wait_until(lambda: database.readings() == 2)


def test_a_wrong_login_is_said_and_does_not_end_it(
    database: Database, address: BrokerAddress, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    running = Running(database.url, replace(address, password="not-this-one"))
    running.start()
    wait_until(lambda: "broker-refused" in actions(caplog))
    running.end()
    assert not running.ready.is_set()
    assert "not-this-one" not in "".join(record.getMessage() for record in caplog.records)


def test_quarantined_bytes_can_be_read_back(
    database: Database, shared_broker: RunningBroker, address: BrokerAddress
) -> None:
    raw = bytes(range(256))
    with ingesting(database, address), Sender(shared_broker.port) as sender:
        sender.send(TOPIC, raw)
        wait_until(lambda: database.quarantine())
    with psycopg.connect(database.url, row_factory=dict_row) as conn:
        (row,) = Unit(conn).quarantine.page()
    assert base64.b64encode(row.payload) == base64.b64encode(raw)


def link_with_inbox(address: BrokerAddress, generation: int = 1) -> tuple[Link, Inbox]:
    # A broker may read the new connection before the last packets of the old one.
    time.sleep(0.2)
    inbox = Inbox(1000)
    link = Link(address, inbox, generation=generation, now=lambda: datetime.now(UTC))
    link.open()
    wait_until(lambda: link.fault() is None and link.ready)
    return link, inbox


def test_an_acknowledgement_for_a_session_that_is_gone_is_dropped(
    own_broker: RunningBroker,
) -> None:
    """Packet ids begin anew: sent now, old acknowledgements would destroy the new messages."""
    address = address_of(own_broker, "stale")
    link, inbox = link_with_inbox(address)
    with Sender(own_broker.port) as sender:
        sender.send(TOPIC, *bodies(*range(20)))
        wait_until(lambda: len(inbox) == 20)
    old = inbox.take(100, wait_s=0, gather_s=0)
    before = link.generation
    own_broker.kill()
    own_broker.start_again()
    wait_until(lambda: link.generation > before + 1 and link.ready)
    with Sender(own_broker.port) as sender:
        sender.send(TOPIC, *bodies(*range(20, 40)))
        wait_until(lambda: len(inbox) == 20)
    assert link.acknowledge(old) == 0
    new = inbox.take(100, wait_s=0, gather_s=0)
    assert {one.mid for one in new} == {one.mid for one in old}
    link.close()
    link, inbox = link_with_inbox(address, link.generation + 1)
    wait_until(lambda: len(inbox) == 20)
    again = inbox.take(100, wait_s=0, gather_s=0)
    assert [one.payload for one in again] == [one.payload for one in new]
    assert link.acknowledge(again) == 20
    link.close()
    link, inbox = link_with_inbox(address, link.generation + 1)
    assert inbox.take(1, wait_s=0.3, gather_s=0) == []
    link.close()


def test_the_heartbeat_comes_back_and_its_silence_is_a_fault(
    shared_broker: RunningBroker, address: BrokerAddress
) -> None:
    clock = [1000.0]
    inbox = Inbox(10)
    link = Link(address, inbox, generation=1, now=lambda: datetime.now(UTC), timer=lambda: clock[0])
    link.open()
    wait_until(lambda: link.fault() is None and link.ready)
    wait_until(lambda: link.fault() is None and link.heard)
    shared_broker.child.send_signal(signal.SIGSTOP)
    try:
        clock[0] += 11
        assert link.fault() is None
        clock[0] += 59
        assert link.fault() is None
        clock[0] += 2
        assert link.fault() == "no packet came back for 60 s"
    finally:
        shared_broker.child.send_signal(signal.SIGCONT)
    assert len(inbox) == 0
    link.close()


@pytest.fixture
def wheel_broker() -> Iterator[RunningBroker]:
    with open_folder() as folder:
        broker = RunningBroker.start(folder, wheel_only=True)
        yield broker
        broker.stop()


def test_the_wheels_broker_serves_as_well(database: Database, wheel_broker: RunningBroker) -> None:
    """Kept while away, unacknowledged comes again, subscribing again does no harm."""
    address = address_of(wheel_broker, "wheel")
    with Sender(wheel_broker.port) as sender:
        link, inbox = link_with_inbox(address)
        sender.send(TOPIC, *bodies(*range(50)))
        wait_until(lambda: len(inbox) == 50)
        link.acknowledge(inbox.take(20, wait_s=0, gather_s=0))
        link.close()
        sender.send(TOPIC, *bodies(*range(50, 100)))
        with ingesting(database, address) as running:
            wait_until(lambda: database.readings() == 80)
            sender.send(TOPIC, *bodies(*range(100, 200)))
            wait_until(lambda: database.readings() == 180)
            stored = running.ingestor.stored
        assert stored == 180
        with ingesting(database, address) as running:
            sender.send(TOPIC, *bodies(200))
            wait_until(lambda: database.readings() == 181)
            assert running.ingestor.stored <= 2
    assert database.quarantine() == []

"""Live presses over a real broker: catching up, one report a minute, status, spool."""

from __future__ import annotations

import queue
import threading
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from duestroke.counting.batch import count
from duestroke.counting.types import Rule
from duestroke.messages import decode_report, decode_status
from duestroke.messages.topics import press_of
from duestroke.times import to_micros
from simulators import live
from simulators.gateway import Account, Gateway
from simulators.plant import BY_NAME, MAX_SPM, MINUTE
from simulators.reports import Sent
from simulators.spool import Spool
from simulators.stories import Demo as Story
from simulators.works import SEED, Works, loaded_to, state_of
from tests.support.mqtt import PASSWORD, USER, RunningBroker, Sender, wait_until

PRESSES = [BY_NAME["harlow-mere/1/02"], BY_NAME["harlow-mere/3/04"]]
FIRST_DAY = datetime(2026, 3, 9, 14, 25, tzinfo=UTC)


class Clock:
    """A clock that tests put forward."""

    def __init__(self, at):
        self.at = at

    def __call__(self):
        return self.at


class Demo:
    """The simulated presses in a thread of their own, and what the broker passes on."""

    def __init__(self, broker, folder, clock):
        self.stop = threading.Event()
        self.turns = 0
        self.thread = threading.Thread(
            target=live.run,
            kwargs={
                "mqtt_host": "127.0.0.1",
                "mqtt_port": broker.port,
                "username": USER,
                "password": PASSWORD,
                "data_dir": folder,
                "stop": self.stop,
                "beat": self._beat,
                "now": clock,
                "presses": PRESSES,
            },
        )

    def _beat(self):
        self.turns += 1

    def __enter__(self):
        self.thread.start()
        return self

    def __exit__(self, *_):
        self.stop.set()
        self.thread.join(20)
        assert not self.thread.is_alive()


@pytest.fixture
def broker(tmp_path):
    folder = tmp_path / "broker"
    folder.mkdir()
    tmp_path.chmod(0o755)
    started = RunningBroker.start(folder)
    yield started
    started.stop()


def drained(sender, readings, states):
    """Sort out what has come in so far."""
    while True:
        try:
            message = sender.received.get_nowait()
        except queue.Empty:
            return
        press = press_of(message.topic, "report")
        if press is None:
            states.append(decode_status(message.topic, message.payload))
            continue
        decoded = decode_report(message.topic, message.payload)
        assert decoded.refused == []
        assert not message.retain
        readings.setdefault(press, {}).update(
            {(one.reading.boot, one.reading.seq): one.reading for one in decoded.reports}
        )


def waiting(folder):
    found = 0
    for line in ("1", "3"):
        with Spool(folder / f"gateway-{line}.sqlite") as spool:
            found += len(spool)
    return found


def test_presses_catch_up_go_live_and_go_on_after_a_pause(broker, tmp_path):
    clock, readings, states = Clock(FIRST_DAY), {}, []
    with Sender(broker.port, subscribe="duestroke/v1/#") as plant:

        def is_current():
            """The newest report of each press is less than a minute old."""
            drained(plant, readings, states)
            newest = [max(one.at for one in held.values()) for held in readings.values()]
            return len(newest) == 2 and min(newest) >= to_micros(clock.at) - MINUTE

        with Demo(broker, tmp_path, clock):
            wait_until(is_current, what="two hours caught up")
            for _ in range(3):
                clock.at += timedelta(minutes=1)
                wait_until(is_current, what="a report each live minute")
        clock.at += timedelta(hours=5)
        with Demo(broker, tmp_path, clock):
            wait_until(is_current, what="the pause caught up")
            wait_until(lambda: waiting(tmp_path) == 0, what="an empty spool")
        drained(plant, readings, states)
    _check_truth(readings, clock.at)
    _check_pause(readings)


def _check_truth(readings, at):
    works = Works(Story(SEED, FIRST_DAY), PRESSES)
    for truth in works.truths(to_micros(at)):
        held = sorted(readings[truth.press.name].values(), key=lambda one: one.seq)
        first = works.last_loaded(truth)
        assert held[0].seq == first.seq + 1
        counted = count(held, Rule(truth.press.modulus, MAX_SPM))
        assert counted.missing == 0
        made = truth.strokes([held[0].at, held[-1].at])
        assert counted.total == int(made[1] - made[0])
        assert counted.flags == ()


def _check_pause(readings):
    for held in readings.values():
        times = sorted(one.at for one in held.values())
        steps = {(later - earlier) // MINUTE for earlier, later in pairwise(times)}
        assert steps <= set(range(1, 11))
        assert 10 in steps
        assert 1 in steps


def test_status_is_retained_and_says_offline_at_the_end(broker, tmp_path):
    clock, states = Clock(FIRST_DAY), []
    with Demo(broker, tmp_path, clock), Sender(broker.port, subscribe="duestroke/v1/#") as plant:
        wait_until(lambda: drained(plant, {}, states) or len(states) >= 2, what="both states")
    assert {one.state for one in states} <= {"running", "stopped"}
    late = []
    with Sender(broker.port, subscribe="duestroke/v1/+/+/+/status") as plant:
        wait_until(lambda: drained(plant, {}, late) or len(late) >= 2, what="retained states")
    assert {one.press for one in late} == {press.name for press in PRESSES}
    assert {one.state for one in late} == {"offline"}


def test_a_broken_connection_leaves_the_will(broker, tmp_path):
    account = Account("127.0.0.1", broker.port, USER, PASSWORD)
    topic, states = "duestroke/v1/a/1/01/status", []
    with Spool(tmp_path / "spool.sqlite") as spool:
        gateway = Gateway(account, "a/1/01", spool, will=(topic, b"gone"))
        gateway.start()
        wait_until(lambda: gateway.is_connected, what="a connection")
        with Sender(broker.port, subscribe=topic) as plant:
            gateway._client._reconnect_on_failure = False
            gateway._client.socket().shutdown(2)
            wait_until(lambda: not plant.received.empty(), what="the will")
            states.append(plant.received.get().payload)
        gateway.stop()
    assert states == [b"gone"]


def test_what_is_not_acknowledged_stays_in_the_spool_and_is_sent_again(broker, tmp_path):
    """The broker is killed: what it had not acknowledged is sent again to the next one."""
    account = Account("127.0.0.1", broker.port, USER, PASSWORD)
    messages = [("a/1/01", "duestroke/v1/a/1/01/report", b"%d" % n) for n in range(500)]
    with Spool(tmp_path / "spool.sqlite") as spool:
        spool.put(messages)
        gateway = Gateway(account, "a/1/01", spool)
        assert gateway.pump() == 0
        gateway.start()
        with Sender(broker.port, subscribe="duestroke/v1/a/1/01/report") as first:
            wait_until(lambda: _left(gateway, spool) < 400, what="some acknowledged")
            broker.kill()
            gateway.pump()
            came = _payloads(first)
        kept = len(spool)
        assert 0 < kept < 500
        broker.start_again()
        with Sender(broker.port, subscribe="duestroke/v1/a/1/01/report") as second:
            wait_until(lambda: _left(gateway, spool) == 0, within_s=30, what="all sent")
            wait_until(lambda: b"499" in came or came.extend(_payloads(second)), what="the last")
        gateway.stop()
        missed = [n for n in range(500) if b"%d" % n not in set(came)]
    # What the broker had acknowledged and not passed on died with it (memory-only broker).
    assert all(n < 500 - kept for n in missed)


def _left(gateway, spool):
    gateway.pump()
    return len(spool)


def _payloads(sender):
    found = []
    while not sender.received.empty():
        found.append(sender.received.get().payload)
    return found


def test_a_spool_keeps_messages_and_progress_over_a_restart(tmp_path):
    file = tmp_path / "spool.sqlite"
    with Spool(file) as spool:
        spool.put([("a", "t", b"1"), ("b", "t", b"2")], {"a": Sent("boot", 7, 70)})
        spool.put([("a", "t", b"3")], {"a": Sent("boot", 8, 80)})
    with Spool(file) as spool:
        assert spool.progress() == {"a": Sent("boot", 8, 80)}
        first, second = spool.waiting("a")
        assert [first.payload, second.payload] == [b"1", b"3"]
        assert spool.waiting("a", after=first.id) == [second]
        spool.drop([first.id])
        assert len(spool) == 2
    with Spool(file) as spool:
        assert [one.payload for one in spool.waiting("a")] == [b"3"]


def test_the_first_day_is_kept(tmp_path, broker):
    with Demo(broker, tmp_path, Clock(FIRST_DAY)) as demo:
        wait_until(lambda: demo.turns > 0, what="a turn")
    assert state_of(tmp_path).first_day == FIRST_DAY
    with Demo(broker, tmp_path, Clock(FIRST_DAY + timedelta(days=1))) as demo:
        wait_until(lambda: demo.turns > 0, what="a turn")
    assert state_of(tmp_path).first_day == FIRST_DAY
    assert loaded_to(state_of(tmp_path)) == to_micros(FIRST_DAY - timedelta(hours=2))

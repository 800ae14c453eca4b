"""What every broker must do that Duestroke's delivery rests on, on each broker of this run."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from launch import broker as brokers
from tests.support.backends import ContainerBroker, chosen, container_broker
from tests.support.mqtt import PASSWORD, USER, RunningBroker, session_of

TOPIC = "duestroke/v1/harlow-mere/2/07/report"
Running = RunningBroker | ContainerBroker
RECEIVE_MAXIMUM_KEPT_SINCE = (2, 0, 13)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Embedded are two brokers: a Mosquitto that is found, and the wheel's."""
    if "kind" in metafunc.fixturenames:
        kinds = {"embedded": ["mosquitto", "wheel"], "containers": ["container"]}
        named = [kind for name in chosen().names for kind in kinds[name]]
        marks = {"mosquitto": [pytest.mark.mosquitto]}
        params = [pytest.param(kind, marks=marks.get(kind, [])) for kind in named]
        metafunc.parametrize("kind", params)


@pytest.fixture
def broker(kind: str, tmp_path: Path) -> Iterator[Running]:
    """A running broker of the product's own configuration."""
    if kind == "container":
        with container_broker(tmp_path) as made:
            yield made
        return
    running = RunningBroker.start(tmp_path, wheel_only=kind == "wheel")
    yield running
    running.stop()


class Client:
    """A paho client that keeps what came and acknowledges only when told."""

    def __init__(
        self,
        port: int,
        name: str = "",
        *,
        password: str = PASSWORD,
        session_s: int | None = None,
        receive_maximum: int | None = None,
        protocol: int = mqtt.MQTTv5,
    ) -> None:
        self.messages: queue.SimpleQueue[mqtt.MQTTMessage] = queue.SimpleQueue()
        self.connected: list[Any] = []
        self.session_present = False
        self._granted, self._answered = threading.Event(), threading.Event()
        self.client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=name,
            protocol=protocol,
            manual_ack=True,
            reconnect_on_failure=False,
        )
        self.client.username_pw_set(USER, password)
        self.client.on_connect = self._on_connect
        self.client.on_disconnect = lambda *_: self._answered.set()
        self.client.on_subscribe = lambda *_: self._granted.set()
        self.client.on_message = lambda _c, _u, message: self.messages.put(message)
        self._port, self._connect = port, {}
        if session_s is not None:
            properties = session_of(session_s, receive_maximum)
            self._connect = {"clean_start": False, "properties": properties}

    def _on_connect(self, _c: Any, _u: Any, flags: Any, reason: Any, _p: Any = None) -> None:
        self.session_present = flags.session_present
        self.connected.append(reason)
        self._answered.set()

    def __enter__(self) -> Self:
        self.client.connect("127.0.0.1", self._port, **self._connect)
        self.client.loop_start()
        assert self._answered.wait(10)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.client.disconnect()
        self.client.loop_stop()

    def subscribe(self, topic: str) -> Self:
        self.client.subscribe(topic, qos=1)
        assert self._granted.wait(10), "no answer to the subscription"
        return self

    def publish(self, topic: str, *payloads: bytes, retain: bool = False) -> None:
        """Until the broker has taken each."""
        for info in [self.client.publish(topic, payload, 1, retain) for payload in payloads]:
            info.wait_for_publish(10)
            assert info.is_published()

    def take(self, number: int, within_s: float = 10.0) -> list[mqtt.MQTTMessage]:
        deadline = time.monotonic() + within_s
        return [self.messages.get(timeout=deadline - time.monotonic()) for _ in range(number)]

    def vanish(self) -> None:
        """Go without a word, as a killed process does."""
        sock = self.client.socket()
        assert sock is not None
        sock.close()


def bodies(number: int, start: int = 0) -> list[bytes]:
    return [b"%d" % n for n in range(start, start + number)]


def test_only_the_account_with_its_password_gets_in(broker: Running) -> None:
    with Client(broker.port) as welcome:
        assert [reason.is_failure for reason in welcome.connected] == [False]
    with Client(broker.port, password="a-wrong-one") as stranger:
        assert all(reason.is_failure for reason in stranger.connected)


def test_what_was_not_acknowledged_comes_again_and_what_was_does_not(broker: Running) -> None:
    with Client(broker.port, "reader", session_s=3600) as reader:
        reader.subscribe(TOPIC)
        with Client(broker.port, "sender") as sender:
            sender.publish(TOPIC, *bodies(100))
        first = reader.take(100)
        assert [message.payload for message in first] == bodies(100)
        for message in first[:40]:
            reader.client.ack(message.mid, message.qos)
        with Client(broker.port, "fence") as fence:  # by then the acks have gone through
            fence.publish(TOPIC, b"last")
        reader.take(1)
        reader.vanish()
    with Client(broker.port, "reader", session_s=3600) as again:
        assert again.session_present
        assert [message.payload for message in again.take(61)] == [*bodies(60, 40), b"last"]


def test_messages_wait_for_a_reader_that_is_away(broker: Running) -> None:
    with Client(broker.port, "reader", session_s=3600) as reader:
        reader.subscribe(TOPIC)
    with Client(broker.port, "sender") as sender:
        sender.publish(TOPIC, *bodies(3000))
    with Client(broker.port, "reader", session_s=3600) as again:
        for n in range(3000):
            (message,) = again.take(1)
            assert message.payload == b"%d" % n
            again.client.ack(message.mid, message.qos)


def test_a_retained_status_and_the_last_will_reach_who_comes_later(broker: Running) -> None:
    topic = TOPIC.replace("report", "status")
    press = Client(broker.port, "press")
    press.client.will_set(topic, b"offline", 1, retain=True)
    with press:
        press.publish(topic, b"running", retain=True)
        with Client(broker.port, "early") as early:
            (message,) = early.subscribe(topic).take(1)
            assert (message.payload, message.retain) == (b"running", True)
            early.client.ack(message.mid, message.qos)
            press.vanish()
            assert early.take(1)[0].payload == b"offline"
    with Client(broker.port, "late") as late:
        (message,) = late.subscribe(topic).take(1)
        assert (message.payload, message.retain) == (b"offline", True)


def test_the_largest_payload_of_the_contract_passes(broker: Running) -> None:
    largest = b"x" * 16_384
    with Client(broker.port, "reader") as reader, Client(broker.port, "sender") as sender:
        reader.subscribe(TOPIC)
        sender.publish(TOPIC, largest)
        assert reader.take(1)[0].payload == largest


def test_a_sender_of_the_older_protocol_reaches_a_reader_of_the_newer(broker: Running) -> None:
    older = broker.broker.listener.port_v311 if isinstance(broker, RunningBroker) else broker.port
    with Client(broker.port, "reader") as reader:
        reader.subscribe(TOPIC)
        with Client(older, "old-sender", protocol=mqtt.MQTTv311) as sender:
            sender.publish(TOPIC, b"from 3.1.1")
        assert reader.take(1)[0].payload == b"from 3.1.1"


def test_sessions_queue_and_retained_messages_outlive_a_restart(broker: Running) -> None:
    status = TOPIC.replace("report", "status")
    with Client(broker.port, "reader", session_s=3600) as reader:
        reader.subscribe(TOPIC)
    with Client(broker.port, "sender") as sender:
        sender.publish(TOPIC, *bodies(500))
        sender.publish(status, b"running", retain=True)
    restart(broker)
    if forgot(broker, "reader"):
        return
    with Client(broker.port, "reader", session_s=3600) as again:
        assert again.session_present
        assert [message.payload for message in again.take(500)] == bodies(500)
    with Client(broker.port, "late") as late:
        assert late.subscribe(status).take(1)[0].payload == b"running"


def forgot(broker: Running, name: str) -> bool:
    """The wheel's broker begins anew after each start, and said so; every other one must not."""
    if broker.keeps_over_restart:
        return False
    assert isinstance(broker, RunningBroker)
    assert any("in memory" in limit for limit in broker.broker.limits)
    with Client(broker.port, name, session_s=3600) as again:
        assert not again.session_present
        with pytest.raises(queue.Empty):
            again.take(1, within_s=0.5)
    return True


def restart(broker: Running) -> None:
    """Stopped in good order, then started: a queue younger than five seconds must be kept too."""
    if isinstance(broker, ContainerBroker):
        broker.container.get_wrapped_container().stop(timeout=20)
    else:
        broker.stop()
    broker.start_again()


def test_a_killed_broker_keeps_what_it_saved(broker: Running) -> None:
    """It saves every five seconds; what came later is in the counters, not in the queue."""
    with Client(broker.port, "reader", session_s=3600) as reader:
        reader.subscribe(TOPIC)
    with Client(broker.port, "sender") as sender:
        sender.publish(TOPIC, *bodies(500))
    time.sleep(6.5 if broker.keeps_over_restart else 0)
    broker.kill()
    broker.start_again()
    if forgot(broker, "reader"):
        return
    with Client(broker.port, "reader", session_s=3600) as again:
        assert [message.payload for message in again.take(500)] == bodies(500)


def keeps_window(kind: str) -> bool:
    """The wheel's broker has a window of its own; Mosquitto before 2.0.13 overruns the reader's."""
    found = brokers.find_mosquitto()
    old = kind == "mosquitto" and found is not None and found[1] < RECEIVE_MAXIMUM_KEPT_SINCE
    return kind != "wheel" and not old


def test_a_reader_gets_all_and_where_the_broker_heeds_it_no_more_than_it_can_take(
    broker: Running, kind: str
) -> None:
    with Client(broker.port, "reader", session_s=3600, receive_maximum=10) as reader:
        reader.subscribe(TOPIC)
        with Client(broker.port, "sender") as sender:
            sender.publish(TOPIC, *bodies(50))
        told = reader.take(10)
        if keeps_window(kind):
            with pytest.raises(queue.Empty):
                reader.take(1, within_s=0.5)
        while len(told) < 50:
            for message in told[-10:]:
                reader.client.ack(message.mid, message.qos)
            told += reader.take(10)
        assert [message.payload for message in told] == bodies(50)


def test_the_account_has_no_say_outside_our_topics_or_the_broker_says_so(
    broker: Running, kind: str
) -> None:
    told = [b"yes"]
    if kind == "wheel":
        assert isinstance(broker, RunningBroker)
        assert any("may use every topic" in limit for limit in broker.broker.limits)
        told = [b"no"]
    with Client(broker.port, "reader") as reader, Client(broker.port, "sender") as sender:
        reader.subscribe("#")
        sender.client.publish("elsewhere/entirely", b"no", 1)
        sender.publish(TOPIC, b"yes")
        # One sender's messages keep their order: the first one to come tells of both.
        assert [message.payload for message in reader.take(1)] == told

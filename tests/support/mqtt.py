"""A real broker for tests, and a sender that knows what the broker took."""

from __future__ import annotations

import queue
import socket
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from launch import broker as brokers

USER, PASSWORD = "tester", "a-password-of-tests"


@contextmanager
def open_folder() -> Iterator[Path]:
    """A folder for servers that run under an account of their own; pytest's is closed to others."""
    # A server that is still ending may write while the folder is taken away.
    with tempfile.TemporaryDirectory(
        prefix="duestroke-test-", ignore_cleanup_errors=True
    ) as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


def free_port() -> int:
    """A loopback port that nothing listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def wait_until(true: Callable[[], object], *, within_s: float = 15.0, what: str = "") -> None:
    """Ask until true; fails with `what` when it does not become true in time."""
    deadline = time.monotonic() + within_s
    while not true():
        if time.monotonic() > deadline:
            raise AssertionError(f"not within {within_s:.0f} s: {what or true}")
        time.sleep(0.01)


@dataclass
class RunningBroker:
    """A broker of the product's own configuration on a loopback port."""

    broker: brokers.Broker
    child: subprocess.Popen[bytes]

    @classmethod
    def start(cls, folder: Path, *, wheel_only: bool = False) -> Self:
        port = free_port()
        other = free_port() if brokers.ports_in_use(wheel_only=wheel_only) == 2 else port
        listener = brokers.Listener("127.0.0.1", port, other, USER, PASSWORD)
        made = brokers.prepare(folder, listener, wheel_only=wheel_only)
        return cls(made, brokers.start(made))

    @property
    def port(self) -> int:
        return self.broker.listener.port

    @property
    def keeps_over_restart(self) -> bool:
        """Whether sessions outlive the broker's process."""
        return self.broker.name.startswith("mosquitto")

    def kill(self) -> None:
        self.child.kill()
        self.child.wait(10)

    def stop(self) -> None:
        brokers.stop(self.child)

    def start_again(self) -> None:
        self.child = brokers.start(self.broker)


@dataclass
class Sender:
    """An MQTT 5 client that publishes at QoS 1 and waits for the broker's word."""

    port: int
    will: tuple[str, bytes] | None = None
    subscribe: str | None = None
    received: queue.SimpleQueue[mqtt.MQTTMessage] = field(default_factory=queue.SimpleQueue)
    _client: mqtt.Client = field(init=False)

    def __enter__(self) -> Self:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        client.username_pw_set(USER, PASSWORD)
        if self.will is not None:
            client.will_set(*self.will, qos=1, retain=True)
        ready = threading.Event()
        client.on_connect = lambda *_: ready.set()
        client.on_message = lambda _client, _data, message: self.received.put(message)
        client.connect("127.0.0.1", self.port, clean_start=True)
        client.loop_start()
        assert ready.wait(10), "the broker does not answer"
        self._client = client
        if self.subscribe is not None:
            granted = threading.Event()
            client.on_subscribe = lambda *_: granted.set()
            client.subscribe(self.subscribe, qos=1)
            assert granted.wait(10), "the broker does not answer the subscription"
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def send(self, topic: str, *payloads: bytes, retain: bool = False, qos: int = 1) -> None:
        """Publish each payload in order and wait until the broker has taken them all."""
        sent = [self._client.publish(topic, payload, qos, retain) for payload in payloads]
        for info in sent:
            info.wait_for_publish(10)

    def vanish(self) -> None:
        """Break the connection without a word, so that the broker sends the will."""
        sock = self._client.socket()
        assert sock is not None
        self._client._reconnect_on_failure = False
        sock.shutdown(socket.SHUT_RDWR)


def session_of(expiry_s: int, receive_maximum: int | None = None) -> Properties:
    """CONNECT properties of a persistent session."""
    properties: Any = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = expiry_s
    if receive_maximum is not None:
        properties.ReceiveMaximum = receive_maximum
    return properties

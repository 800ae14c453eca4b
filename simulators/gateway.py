"""A sender over MQTT 5: sends what its spool holds until the broker has acknowledged it."""

from __future__ import annotations

import logging
import threading
from collections import deque
from dataclasses import dataclass
from typing import Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from simulators.spool import Spool

log = logging.getLogger(__name__)

QOS: Final = 1
KEEPALIVE_S: Final = 30
IN_FLIGHT: Final = 100


@dataclass(frozen=True)
class Account:
    """Where the broker is and who the sender is there."""

    host: str
    port: int
    username: str | None = None
    password: str | None = None


class Gateway:
    """One connection. `pump` belongs to the thread that owns the spool; callbacks only take notes.

    will: topic and payload that the broker publishes, retained, when the connection breaks.
    """

    def __init__(
        self,
        account: Account,
        sender: str,
        spool: Spool,
        *,
        will: tuple[str, bytes] | None = None,
    ) -> None:
        self.sender, self._spool, self._account = sender, spool, account
        self._answered: deque[tuple[int, bool]] = deque()
        self._in_flight: dict[int, int] = {}
        self._last_id = 0
        self._connected = threading.Event()
        self._fresh = threading.Event()
        self._client = self._made(will)

    def _made(self, will: tuple[str, bytes] | None) -> mqtt.Client:
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"gateway-{self.sender.replace('/', '-')}",
            protocol=mqtt.MQTTv5,
        )
        if self._account.username is not None:
            client.username_pw_set(self._account.username, self._account.password)
        if will is not None:
            client.will_set(will[0], will[1], qos=QOS, retain=True)
        client.max_inflight_messages_set(IN_FLIGHT)
        client.reconnect_delay_set(1, 10)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_publish = self._on_publish
        return client

    def start(self) -> None:
        """Connect in the background, now or when the broker comes."""
        self._client.connect_async(self._account.host, self._account.port, KEEPALIVE_S)
        self._client.loop_start()

    def leave(self) -> None:
        """Ask for a disconnect in good order, after which the broker drops the will."""
        self._client.disconnect()

    def stop(self) -> None:
        """Leave and end the network thread. What was not acknowledged stays in the spool."""
        self._client.disconnect()
        self._client.loop_stop()
        self._forget_acknowledged()

    @property
    def is_connected(self) -> bool:
        return self._connected.is_set()

    def is_fresh(self) -> bool:
        """True once after each connection: what is retained should be said again."""
        fresh = self._fresh.is_set()
        self._fresh.clear()
        return fresh

    def pump(self) -> int:
        """Hand waiting messages to the client and forget acknowledged ones; how many it handed."""
        self._forget_acknowledged()
        if not self.is_connected:
            return 0
        room = IN_FLIGHT - len(self._in_flight)
        found = self._spool.waiting(self.sender, after=self._last_id, limit=room) if room else []
        held = set(self._in_flight.values())
        found = [message for message in found if message.id not in held]
        for message in found:
            mid = self._client.publish(message.topic, message.payload, qos=QOS).mid
            self._in_flight[mid] = message.id
            self._last_id = message.id
        return len(found)

    def say(self, topic: str, payload: bytes) -> None:
        """Publish a retained message that need not outlive this process."""
        self._client.publish(topic, payload, qos=QOS, retain=True)

    def _forget_acknowledged(self) -> None:
        done = []
        for _ in range(len(self._answered)):
            mid, is_taken = self._answered.popleft()
            message = self._in_flight.pop(mid, None)
            if message is not None and is_taken:
                done.append(message)
            elif message is not None:
                # Refused (a quota, a right that is missing): it is sent again with the next turn.
                self._last_id = min(self._last_id, message - 1)
        if done:
            self._spool.drop(done)

    def _on_connect(
        self, _client: mqtt.Client, _data: object, _flags: object, reason: ReasonCode, _: object
    ) -> None:
        if reason.is_failure:
            log.warning(
                "broker refused %s: %s", self.sender, reason, extra={"action": "gateway-refused"}
            )
            return
        self._connected.set()
        self._fresh.set()

    def _on_disconnect(
        self, _client: mqtt.Client, _data: object, _flags: object, _reason: object, _: object
    ) -> None:
        self._connected.clear()

    def _on_publish(
        self, _client: mqtt.Client, _data: object, mid: int, reason: ReasonCode, _: object
    ) -> None:
        # The client holds its own lock here, and sends again by itself, under the same number,
        # what a broken connection left open: only take a note.
        self._answered.append((mid, not reason.is_failure))

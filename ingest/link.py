"""One MQTT client: a persistent session, acknowledgement by hand, and an eye on its own thread."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Final

import paho.mqtt.client as mqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from duestroke.messages import REPORTS, STATUSES
from ingest.arrivals import Arrival, Inbox
from ingest.client import BrokerAddress, ReportClient
from ingest.watch import CONTESTED, SILENT_AFTER_S, Heartbeat, Losses

log = logging.getLogger(__name__)

RECEIVE_MAXIMUM: Final = 1000
"""Messages that the broker may have sent and we not yet acknowledged: the back-pressure."""
_SUBACK_WITHIN_S: Final = 15.0
_NO_TEXT: Final = b"not UTF-8"


class Link:
    """Brings arrivals into an inbox and acknowledges them once told so.

    A link that reports a `fault` is closed and replaced by a new one; what it had not acknowledged
    comes again, because the session is the broker's.
    """

    def __init__(
        self,
        address: BrokerAddress,
        inbox: Inbox,
        *,
        generation: int,
        now: Callable[[], datetime],
        timer: Callable[[], float] = time.monotonic,
    ) -> None:
        self._address, self._inbox, self._now, self._timer = address, inbox, now, timer
        self._lock = threading.Lock()
        self._generation = generation
        self._heartbeat = Heartbeat(f"duestroke/ingest/{address.client_id}/beat")
        self._losses = Losses()
        self._fault: str | None = None
        self._subscribed = self._overflowed = False
        self._ended = threading.Event()
        self._connected_at: float | None = None
        self._client = self._make_client()

    @property
    def generation(self) -> int:
        """Grows with each connection and each loss; an acknowledgement is good within one only."""
        return self._generation

    @property
    def ready(self) -> bool:
        """Connected, and the broker has confirmed the subscriptions."""
        return self._subscribed and self._connected_at is not None

    @property
    def heard(self) -> bool:
        """Whether a heartbeat of ours has ever come back."""
        return self._heartbeat.heard

    def open(self) -> None:
        """Start connecting; returns at once, and connects when the broker comes."""
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = self._address.session_expiry_s
        properties.ReceiveMaximum = RECEIVE_MAXIMUM
        self._client.connect_async(
            self._address.host,
            self._address.port,
            keepalive=self._address.keepalive_s,
            clean_start=False,
            properties=properties,
        )
        self._client.loop_start()

    def close(self, *, wait_s: float = 3.0) -> None:
        """Send what acknowledgements are queued and disconnect; the broker keeps the session."""
        self._ended.clear()
        if self._client.disconnect() == mqtt.MQTT_ERR_SUCCESS:
            self._ended.wait(wait_s)
        if not self._ended.is_set():
            self._client.break_off()
        self._client.loop_stop()

    def acknowledge(self, arrivals: Iterable[Arrival]) -> int:
        """Acknowledge in the given order what came on the connection that stands; returns how many.

        A packet id belongs to its connection: an old one sent now would acknowledge, and so
        destroy, a message that was never written.
        """
        with self._lock:
            current = self._generation
            mids = [one.mid for one in arrivals if one.mid and one.generation == current]
            if mids:
                self._client.acknowledge(mids)
        return len(mids)

    def fault(self) -> str | None:
        """Why this link has to be replaced, or None. To be asked now and then."""
        if self._fault is None and self._connected_at is not None:
            self._fault = self._watch(self._connected_at, self._timer())
        if self._overflowed and not len(self._inbox):
            self._fault = "the messages that were not taken have to come again"
        if self._fault is None and not self._client.thread_lives():
            self._fault = "the network thread has ended"
        return self._fault

    def _make_client(self) -> ReportClient:
        client = ReportClient(self._address, self._take)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        return client

    def _on_connect(
        self,
        client: mqtt.Client,
        _data: object,
        flags: mqtt.ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._next_generation()
        if reason.is_failure:
            log.error(
                "The broker refuses %s: %s",
                self._address.client_id,
                reason,
                extra={"action": "broker-refused"},
            )
            return
        self._say_connected(session_kept=flags.session_present)
        self._heartbeat.begin()
        self._connected_at = self._timer()
        # A session that is present may have been made by a life that ended before it subscribed.
        if not (flags.session_present and self._subscribed):
            self._subscribed = False
            self._subscribe(client)

    def _say_connected(self, *, session_kept: bool) -> None:
        log.info(
            "Connected to the broker, session %s",
            "kept" if session_kept else "new",
            extra={"action": "broker-connected"},
        )
        if self._subscribed and not session_kept:
            log.warning(
                "The broker lost our session and what it had queued; gaps in `seq` show it",
                extra={"action": "session-lost"},
            )

    def _subscribe(self, client: mqtt.Client) -> None:
        """Reports are never retained; of a status the retained one is wanted at once."""
        client.subscribe(
            [
                (REPORTS, SubscribeOptions(qos=1, retainHandling=2)),
                (STATUSES, SubscribeOptions(qos=1, retainHandling=0)),
                (self._heartbeat.topic, SubscribeOptions(qos=0, retainHandling=2)),
            ]
        )

    def _on_subscribe(
        self,
        _client: mqtt.Client,
        _data: object,
        _mid: int,
        reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        refused = [str(reason) for reason in reasons[:2] if reason.is_failure]
        if refused:
            self._fault = f"the broker refuses the subscription: {', '.join(refused)}"
            return
        self._subscribed = True
        log.info("Subscribed to reports and statuses", extra={"action": "subscribed"})

    def _on_connect_fail(self, _client: mqtt.Client, _data: object) -> None:
        log.warning(
            "No broker at %s:%d, trying again",
            self._address.host,
            self._address.port,
            extra={"action": "broker-unreachable"},
        )

    def _on_disconnect(
        self,
        _client: mqtt.Client,
        _data: object,
        _flags: mqtt.DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self._next_generation()
        self._connected_at = None
        self._ended.set()
        if not reason.is_failure:
            return
        log.warning("Broker connection lost: %s", reason, extra={"action": "broker-lost"})
        if self._losses.add(self._timer()):
            log.error(
                "%d connections lost within a minute: another client may use the id %s",
                CONTESTED[0],
                self._address.client_id,
                extra={"action": "client-id-contested"},
            )

    def _on_message(self, _client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        """What has no packet id, or properties."""
        try:
            topic = message.topic.encode()
        except UnicodeDecodeError:
            topic = _NO_TEXT
        mid = message.mid if message.qos else 0
        self._take(topic, mid, message.retain, bytes(message.payload))

    def _take(self, topic: bytes, mid: int, retain: bool, payload: bytes) -> None:
        name = _text_of(topic)
        if name == self._heartbeat.topic:
            self._heartbeat.answer()
            return
        arrival = Arrival(self._generation, mid, name, payload, retain, self._now())
        if self._overflowed or not self._inbox.put(arrival):
            self._refuse_more()

    def _refuse_more(self) -> None:
        """The broker has sent past every bound: take nothing more until what is here is stored.

        Breaking off at once would make the acknowledgements of what is here worthless, and the same
        flood would come again.
        """
        if not self._overflowed:
            self._overflowed = True
            log.warning(
                "%d messages wait to be stored, no more are taken",
                len(self._inbox),
                extra={"action": "inbox-full"},
            )

    def _next_generation(self) -> None:
        with self._lock:
            self._generation += 1

    def _watch(self, connected_at: float, now: float) -> str | None:
        """Sends the heartbeat when it is due, and says what should have come by now and has not."""
        if not self._subscribed:
            late = now - connected_at > _SUBACK_WITHIN_S
            return "the broker does not answer the subscription" if late else None
        if self._heartbeat.due(now):
            self._client.publish(self._heartbeat.topic, b"", qos=0)
        if self._heartbeat.silent(now):
            return f"no packet came back for {SILENT_AFTER_S:.0f} s"
        return None


def _text_of(topic: bytes) -> str:
    try:
        return topic.decode()
    except UnicodeDecodeError:
        # A broker must not pass these on; should one do so, the message still ends in quarantine.
        return _NO_TEXT.decode()

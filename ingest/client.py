"""paho's client with a shorter road for what an ingestor gets by the million: plain QoS 1 messages.

Stock paho takes a `select`, three `recv` and a fresh property table for each message, and wakes its
thread for each acknowledgement; that is most of what a report costs. Here the socket is read in
large pieces and a message without properties is taken apart directly; all else goes paho's way.
It leans on paho's inner names, so `tests/parts/test_ingest_client.py` holds both roads together.
"""

from __future__ import annotations

import contextlib
import logging
import socket
import ssl
import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode

paho_log = logging.getLogger(f"{__name__}.paho")
# paho reports its own orderly end as an error.
paho_log.addFilter(lambda record: "Client is not connected" not in record.getMessage())

Take = Callable[[bytes, int, bool, bytes], None]
"""Called with topic, packet id, whether it was retained, and payload."""

_PUBACK: Final = struct.Struct("!BBH")
_QOS_1: Final = 0x02
_QOS_BITS: Final = 0x06
_RETAIN: Final = 0x01
_PIECE: Final = 65_536
_IN_A_ROW: Final = 500


@dataclass(frozen=True)
class BrokerAddress:
    """Where the broker is and who we are there; `tls` where the link is encrypted."""

    host: str
    port: int
    username: str | None = None
    password: str | None = None
    client_id: str = "duestroke-ingest"
    keepalive_s: int = 20
    session_expiry_s: int = 7 * 86_400
    tls: ssl.SSLContext | None = None


class BufferedSocket:
    """A connected socket that is read in large pieces; tells by `pending` what it holds."""

    def __init__(self, sock: Any) -> None:  # noqa: ANN401 (a plain or a TLS socket)
        self._sock = sock
        self._held, self._at = b"", 0

    def pending(self) -> int:
        """Bytes that can be read without asking the network."""
        below = self._sock.pending() if hasattr(self._sock, "pending") else 0
        return len(self._held) - self._at + int(below)

    def recv(self, size: int) -> bytes:
        """Up to `size` bytes. Raises what the socket raises when it has none."""
        if self._at == len(self._held):
            self._held, self._at = self._sock.recv(_PIECE), 0
        part: bytes = self._held[self._at : self._at + size]
        self._at += len(part)
        return part

    def send(self, data: bytes | bytearray) -> int:
        return int(self._sock.send(data))

    def shutdown(self, how: int) -> None:
        self._sock.shutdown(how)

    def close(self) -> None:
        self._sock.close()

    def fileno(self) -> int:
        return int(self._sock.fileno())

    def setblocking(self, flag: bool) -> None:
        self._sock.setblocking(flag)


class ReportClient(mqtt.Client):
    """A client whose plain messages go to `take`, and all others to `on_message`."""

    def __init__(self, address: BrokerAddress, take: Take) -> None:
        super().__init__(
            CallbackAPIVersion.VERSION2,
            client_id=address.client_id,
            protocol=mqtt.MQTTv5,
            manual_ack=True,
        )
        self._take = take
        # An exception in a callback would end the network thread without a word.
        self.suppress_exceptions = True
        self.enable_logger(paho_log)
        self.reconnect_delay_set(1, 30)
        if address.username is not None:
            self.username_pw_set(address.username, address.password)
        if address.tls is not None:
            self.tls_set_context(address.tls)

    def thread_lives(self) -> bool:
        """Whether the network thread runs; when it has ended, paho still says "connected"."""
        return self._thread is not None and self._thread.is_alive()

    def break_off(self) -> None:
        """Cut a link that takes no more bytes: it would hold up the network thread's end."""
        sock = self._sock
        if isinstance(sock, BufferedSocket):
            with contextlib.suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)

    def acknowledge(self, mids: Sequence[int]) -> None:
        """Queue PUBACKs in order, as one write."""
        packets = b"".join(_PUBACK.pack(mqtt.PUBACK, 2, mid) for mid in mids)
        self._packet_queue(mqtt.PUBACK, packets, mids[-1], 1)

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        """Read what is held in one go, then let paho see to writes and pings."""
        sock = self._sock
        rc = super().loop_read(max_packets)
        for _ in range(_IN_A_ROW):
            if rc != mqtt.MQTT_ERR_SUCCESS or self._sock is not sock or not _holds(sock):
                break
            rc = super().loop_read(max_packets)
        return rc

    def _create_socket(self) -> Any:  # noqa: ANN401 (paho's protocol of a socket)
        return BufferedSocket(super()._create_socket())

    def _handle_publish(self) -> MQTTErrorCode:
        header, body = self._in_packet["command"], self._in_packet["packet"]
        end = 2 + int.from_bytes(body[:2])
        plain = header & _QOS_BITS == _QOS_1 and len(body) > end + 2 and body[end + 2] == 0
        if not plain:
            return super()._handle_publish()
        mid = int.from_bytes(body[end : end + 2])
        self._take(bytes(body[2:end]), mid, bool(header & _RETAIN), bytes(body[end + 3 :]))
        return MQTTErrorCode.MQTT_ERR_SUCCESS


def _holds(sock: Any) -> bool:  # noqa: ANN401
    return isinstance(sock, BufferedSocket) and sock.pending() > 0

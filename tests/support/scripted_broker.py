"""A broker of a few bytes: does only what a test tells it, and writes down what a client sends."""

from __future__ import annotations

import socket
import struct
import threading
import time
from dataclasses import dataclass, field
from types import TracebackType
from typing import Self

CONNECT, CONNACK, PUBLISH, PUBACK = 0x10, 0x20, 0x30, 0x40
SUBSCRIBE, SUBACK, PINGREQ, PINGRESP = 0x80, 0x90, 0xC0, 0xD0


@dataclass
class Packet:
    """One packet of the client: type, flags of its fixed header, the rest, and when it came."""

    kind: int
    flags: int
    body: bytes
    at: float
    connection: int


@dataclass
class ScriptedBroker:
    """Accepts one client at a time and answers its CONNECT, SUBSCRIBE and PINGREQ, nothing else."""

    packets: list[Packet] = field(default_factory=list)
    connections: int = 0
    _conn: socket.socket | None = None

    def __enter__(self) -> Self:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.cut()
        self._thread.join(5)

    def publish(self, topic: str, payload: bytes, mid: int, *, dup: bool = False) -> None:
        """Deliver a QoS 1 message under a packet id."""
        name = topic.encode()
        body = struct.pack("!H", len(name)) + name + struct.pack("!H", mid) + b"\0" + payload
        self._send(PUBLISH | dup << 3 | 0x02, body)

    def cut(self) -> None:
        """Break the connection without a word."""
        if self._conn is not None:
            try:
                self._conn.shutdown(socket.SHUT_RDWR)
            except OSError:
                return

    def of(self, kind: int, connection: int | None = None) -> list[Packet]:
        """Packets of a kind, of one connection (1 is the first) or all."""
        return [
            one
            for one in list(self.packets)
            if one.kind == kind and connection in (None, one.connection)
        ]

    def acknowledged(self, connection: int | None = None) -> list[int]:
        """Packet ids of the PUBACKs in the order in which they came."""
        return [struct.unpack("!H", one.body[:2])[0] for one in self.of(PUBACK, connection)]

    def _serve(self) -> None:
        while True:
            try:
                self._conn, _ = self._listener.accept()
            except OSError:
                return
            self.connections += 1
            with self._conn:
                self._talk(self._conn.makefile("rb"))

    def _talk(self, stream) -> None:
        while packet := self._read(stream):
            self.packets.append(packet)
            if packet.kind == CONNECT:
                # Session present from the second time on: it is the same client's.
                self._send(CONNACK, bytes([self.connections > 1, 0, 0]))
            elif packet.kind == SUBSCRIBE:
                self._send(SUBACK, packet.body[:2] + b"\0" + b"\1\1\0")
            elif packet.kind == PINGREQ:
                self._send(PINGRESP, b"")

    def _read(self, stream) -> Packet | None:
        try:
            head = stream.read(1)
            if not head:
                return None
            size = shift = 0
            while True:
                digit = stream.read(1)[0]
                size |= (digit & 127) << shift
                shift += 7
                if digit < 128:
                    break
            body = stream.read(size)
        except (OSError, IndexError):
            return None
        return Packet(head[0] & 0xF0, head[0] & 0x0F, body, time.monotonic(), self.connections)

    def _send(self, header: int, body: bytes) -> None:
        assert self._conn is not None
        size, length = b"", len(body)
        while True:
            length, digit = divmod(length, 128)
            size += bytes([digit | (0x80 if length else 0)])
            if not length:
                break
        self._conn.sendall(bytes([header]) + size + body)

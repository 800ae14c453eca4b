"""The short road of our MQTT client against paho's own, on the same bytes."""

from __future__ import annotations

import socket
import ssl
import struct
import threading

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from ingest.client import BrokerAddress, BufferedSocket, ReportClient

Seen = list[tuple[str, int, bool, bytes]]


def stock() -> tuple[mqtt.Client, Seen]:
    seen: Seen = []
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5, manual_ack=True)
    client.on_message = lambda _c, _d, m: seen.append((m.topic, m.mid, m.retain, bytes(m.payload)))
    return client, seen


def ours() -> tuple[ReportClient, Seen, Seen]:
    seen: Seen = []
    by_paho: Seen = []
    client = ReportClient(
        BrokerAddress("127.0.0.1", 1),
        lambda topic, mid, retain, payload: seen.append((topic.decode(), mid, retain, payload)),
    )
    client.on_message = lambda _c, _d, m: by_paho.append(
        (m.topic, m.mid, m.retain, bytes(m.payload))
    )
    return client, seen, by_paho


def publish(
    topic: str,
    payload: bytes,
    *,
    mid: int = 0,
    qos: int = 1,
    retain: bool = False,
    dup: bool = False,
) -> bytes:
    """A PUBLISH packet of MQTT 5 without properties."""
    name = topic.encode()
    body = struct.pack("!H", len(name)) + name + (struct.pack("!H", mid) if qos else b"") + b"\0"
    return packet(0x30 | dup << 3 | qos << 1 | retain, body + payload)


def packet(header: int, body: bytes) -> bytes:
    size, length = b"", len(body)
    while True:
        length, digit = divmod(length, 128)
        size += bytes([digit | (0x80 if length else 0)])
        if not length:
            return bytes([header]) + size + body


def with_property(topic: str, payload: bytes, mid: int) -> bytes:
    properties = Properties(PacketTypes.PUBLISH)
    properties.UserProperty = ("from", "gateway 2")
    name = topic.encode()
    body = struct.pack("!H", len(name)) + name + struct.pack("!H", mid) + properties.pack()
    return packet(0x32, body + payload)


PACKETS = [
    publish("duestroke/v1/a/b/c/report", b"{}", mid=1),
    publish("duestroke/v1/a/b/c/report", b"", mid=65_535),
    publish("duestroke/v1/a/b/c/status", b'{"state":1}', mid=2, retain=True),
    publish("t" * 300, b"x" * 40_000, mid=3, dup=True),
    publish("duestroke/v1/ü/b/c/report", bytes(range(256)), mid=4),
    publish("duestroke/ingest/me/beat", b"", qos=0),
    with_property("duestroke/v1/a/b/c/report", b'{"seq":1}', mid=5),
    publish("a", b"\0\0\0", mid=6),
]


def feed(client: mqtt.Client, data: bytes, piece: int) -> None:
    """Let a client read `data` in pieces from a socket of its own kind."""
    near, far = socket.socketpair()
    far.setblocking(False)
    client._sock = BufferedSocket(far) if isinstance(client, ReportClient) else far
    for start in range(0, len(data), piece):
        near.sendall(data[start : start + piece])
        for _ in range(50):
            client.loop_read()
    near.close()
    far.close()
    client._sock = None


@pytest.mark.parametrize("piece", [1, 7, 1000, 10**6])
def test_both_roads_see_the_same_messages(piece: int) -> None:
    data = b"".join(PACKETS) if piece > 100 else b"".join(PACKETS[:3] + PACKETS[4:])
    reference, expected = stock()
    feed(reference, data, piece)
    client, seen, by_paho = ours()
    feed(client, data, piece)
    assert sorted(seen + by_paho, key=repr) == sorted(expected, key=repr)
    assert len(expected) == len(PACKETS) - (0 if piece > 100 else 1)
    # What has no packet id or has properties goes paho's way.
    assert [message[1] for message in by_paho] == [0, 5]


def test_acknowledgements_are_the_bytes_that_paho_sends() -> None:
    reference, _ = stock()
    client, _, _ = ours()
    sent: dict[mqtt.Client, bytes] = {}
    for one in (reference, client):
        near, far = socket.socketpair()
        one._sock = far
        # A thread of paho's would write; here the loop is ours.
        one._thread = threading.current_thread()
        if isinstance(one, ReportClient):
            one.acknowledge([1, 2, 65_535])
        else:
            for mid in (1, 2, 65_535):
                one.ack(mid, 1)
        one.loop_write()
        sent[one] = near.recv(100)
        one._thread, one._sock = None, None
        near.close()
        far.close()
    assert sent[client] == sent[reference] == bytes.fromhex("40020001 40020002 4002ffff")


def test_a_buffered_socket_gives_every_byte_once_in_order() -> None:
    near, far = socket.socketpair()
    buffered = BufferedSocket(far)
    buffered.setblocking(False)
    with pytest.raises(BlockingIOError):
        buffered.recv(1)
    near.sendall(b"abcdef")
    assert [buffered.recv(1), buffered.pending(), buffered.recv(2)] == [b"a", 5, b"bc"]
    near.sendall(b"gh")
    assert [buffered.recv(10), buffered.recv(10), buffered.pending()] == [b"def", b"gh", 0]
    assert buffered.send(b"xy") == 2
    assert near.recv(5) == b"xy"
    near.close()
    assert buffered.recv(1) == b""
    buffered.close()


class HalfRead(ssl.SSLSocket):
    """Only its `pending` is asked."""

    def __init__(self) -> None:
        """Not connected to anything."""

    def pending(self) -> int:
        return 11


def test_what_tls_holds_counts_as_pending() -> None:
    assert BufferedSocket(HalfRead()).pending() == 11

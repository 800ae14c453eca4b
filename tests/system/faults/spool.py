"""A gateway with a spool on disk: nothing leaves it before it is safe that the broker has kept it.

A broker acknowledges before it saves (Mosquitto every five seconds as we set it), so what was
acknowledged lately is kept too, and sent again when the connection broke meanwhile. A broker that
says "no matching subscribers" has kept nothing. Repeats do no harm: a report has an identity.
"""

from __future__ import annotations

import queue
import random
import sqlite3
import threading
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from duestroke.counting.types import Reading
from duestroke.messages import payloads, report_topic

KEPT_S: Final = 12.0
"""Seconds that an acknowledged message stays: twice the broker's saving interval and more."""
_NOBODY_TOOK_IT: Final = 0x10
_IN_FLIGHT: Final = 400

Key = tuple[str, str, int]


class Spool:
    """Messages on disk in order, each with the reports that it carries (`press, boot, seq`)."""

    def __init__(self, file: Path) -> None:
        self._db = sqlite3.connect(file, check_same_thread=False, isolation_level=None)
        self._db.executescript(
            "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;"
            "CREATE TABLE message (id INTEGER PRIMARY KEY, topic TEXT, payload BLOB);"
        )

    def __len__(self) -> int:
        return int(self._db.execute("SELECT count(*) FROM message").fetchone()[0])

    def add(self, messages: list[tuple[str, bytes]]) -> list[int]:
        """Write messages to disk; returns their numbers."""
        self._db.execute("BEGIN")
        query = "INSERT INTO message (topic, payload) VALUES (?, ?)"
        ids = [int(self._db.execute(query, one).lastrowid or 0) for one in messages]
        self._db.execute("COMMIT")
        return ids

    def read(self, number: int) -> tuple[str, bytes]:
        """Topic and payload of a message."""
        query = "SELECT topic, payload FROM message WHERE id = ?"
        topic, payload = self._db.execute(query, [number]).fetchone()
        return str(topic), bytes(payload)

    def drop(self, numbers: Iterable[int]) -> None:
        """Forget messages that the broker has for sure."""
        self._db.execute("BEGIN")
        self._db.executemany("DELETE FROM message WHERE id = ?", [(one,) for one in numbers])
        self._db.execute("COMMIT")


class Gateway:
    """Sends a spool over MQTT 5 at QoS 1 until all of it is safe, whatever breaks meanwhile."""

    def __init__(
        self, name: str, file: Path, port: int, account: tuple[str, str], rng: random.Random
    ) -> None:
        self.spool = Spool(file)
        self.reached: set[Key] = set()
        self.sent_messages = 0
        self._rng = rng
        self._lock = threading.RLock()
        self._keys: dict[int, list[Key]] = {}
        self._waiting: list[int] = []
        self._under_way: dict[int, int] = {}
        self._kept: dict[int, float] = {}
        self._stop = threading.Event()
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=name, protocol=mqtt.MQTTv5
        )
        self._client.username_pw_set(*account)
        self._client.max_inflight_messages_set(_IN_FLIGHT)
        self._client.reconnect_delay_set(1, 2)
        self._client.on_disconnect = lambda *_: self._answers.put(None)
        # paho holds a lock of its own in its callbacks, so they only leave word.
        self._answers: queue.SimpleQueue[tuple[int, ReasonCode] | None] = queue.SimpleQueue()
        self._client.on_publish = lambda _c, _d, mid, reason, _p: self._answers.put((mid, reason))
        self._client.connect_async("127.0.0.1", port, keepalive=10)
        self._pump = threading.Thread(target=self._run, daemon=True)

    def start(self) -> None:
        """Begin to send."""
        self._client.loop_start()
        self._pump.start()

    def stop(self) -> None:
        """Leave the broker."""
        self._stop.set()
        self._pump.join(10)
        self._client.disconnect()
        self._client.loop_stop()

    def put(self, press: str, readings: list[Reading]) -> None:
        """Spool reports: alone or as arrays, now and then twice, or newest first."""
        size = self._rng.choice((1, 5, 20))
        parts = [readings[start : start + size] for start in range(0, len(readings), size)]
        if self._rng.random() < 0.1:
            parts.reverse()
        parts += [part for part in parts if self._rng.random() < 0.05]
        topic = report_topic(press)
        messages = [(topic, body, part) for part in parts for body in payloads(part)]
        with self._lock:
            numbers = self.spool.add([(topic, body) for topic, body, _ in messages])
            for number, (_, _, part) in zip(numbers, messages, strict=True):
                self._keys[number] = [(press, one.boot, one.seq) for one in part]
            self._waiting += numbers

    def _run(self) -> None:
        while not self._stop.is_set():
            with self._lock:
                self._take_answers()
                if self._client.is_connected():
                    self._send_some()
                self._forget_what_is_safe()
            self._stop.wait(0.01)

    def _send_some(self) -> None:
        count = max(0, _IN_FLIGHT - len(self._under_way))
        numbers, self._waiting = self._waiting[:count], self._waiting[count:]
        for number in numbers:
            topic, payload = self.spool.read(number)
            self._under_way[self._client.publish(topic, payload, qos=1).mid] = number
            self.sent_messages += 1

    def _take_answers(self) -> None:
        while not self._answers.empty():
            answer = self._answers.get()
            if answer is None:
                self._broken()
            else:
                self._acknowledged(*answer)

    def _acknowledged(self, mid: int, reason: ReasonCode) -> None:
        number = self._under_way.pop(mid, None)
        if number is None:
            return
        if reason.is_failure or reason.value == _NOBODY_TOOK_IT:
            self._waiting.append(number)
            return
        self._kept[number] = time.monotonic()
        self.reached.update(self._keys[number])

    def _broken(self) -> None:
        """What was acknowledged a short while ago may not have been saved: it is sent again."""
        self._waiting = sorted(self._kept) + self._waiting
        self._kept.clear()

    def _forget_what_is_safe(self) -> None:
        before = time.monotonic() - KEPT_S
        safe = [number for number, at in self._kept.items() if at < before]
        for number in safe:
            del self._kept[number], self._keys[number]
        if safe:
            self.spool.drop(safe)


def until_empty(gateways: Iterable[Gateway], within_s: float, tick: Callable[[], None]) -> bool:
    """Wait until every spool is empty; False when that takes longer than `within_s`."""
    deadline = time.monotonic() + within_s
    while any(len(gateway.spool) for gateway in gateways):
        if time.monotonic() > deadline:
            return False
        tick()
        time.sleep(0.1)
    return True

"""Kills every part at random moments while reports flow, and keeps the book of it."""

from __future__ import annotations

import random
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import httpx2
import psycopg

from launch import postgres
from tests.support.mqtt import PASSWORD, USER, RunningBroker
from tests.system.faults.parts import Api, Broker, Part, Postgres, held_ingestor, ingestor
from tests.system.faults.spool import Gateway, until_empty
from tests.system.faults.truth import Press, plant

PARTS: Final = ("ingestor", "broker", "postgres", "api")
UNCOMMITTED: Final = 100
"""Reports that the broker has and the database has not, at the least, whenever a part is killed."""
_AIMED_AT: Final = (150, 600)
_PRESSES: Final = 12
_TICK_S: Final = 0.05
_BURST: Final = 60


@dataclass(frozen=True)
class Kill:
    """One kill: which part, after how many seconds, with how many reports uncommitted, where."""

    part: str
    at_s: float
    uncommitted: int
    point: str = ""


@dataclass
class Outcome:
    """What the run left: truth, kills, and the state of spool and traffic at the end."""

    presses: list[Press]
    kills: list[Kill] = field(default_factory=list)
    spool_left: int = 0
    messages: int = 0
    api_answers: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0


class Plant:
    """The parts, the presses behind their gateways, and a client of the API."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.rng = random.Random(seed)
        self.folder = folder
        self.began = time.monotonic()
        cluster = postgres.prepare(folder / "db")
        self.database_url = cluster.url
        self.postgres = Postgres(cluster)
        self.postgres.start()
        self.broker = Broker(RunningBroker.start(folder / "broker"))
        self.api = Api.make(self.database_url, folder)
        self.api.migrate()
        self.hold = folder / "hold"
        self.ingestor = ingestor(self.database_url, self.broker.running, folder)
        self.outcome = Outcome(plant(_PRESSES, self.rng))
        self.gateways = [
            Gateway(
                f"gateway-{line}",
                folder / f"spool-{line}.db",
                self.broker.running.port,
                (USER, PASSWORD),
                random.Random(self.rng.random()),
            )
            for line in (1, 2)
        ]
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._threads = [
            threading.Thread(target=self._send_steadily, daemon=True),
            threading.Thread(target=self._ask_steadily, daemon=True),
        ]

    def start(self) -> None:
        """Register the presses over the API, then let reports flow."""
        self.api.part.start()
        self.api.wait()
        with self.api.client() as client:
            for press in self.outcome.presses:
                self._register(client, press)
        self.ingestor.start()
        for gateway in self.gateways:
            gateway.start()
        for thread in self._threads:
            thread.start()

    def stop_sending(self) -> None:
        """No more reports, no more calls; the gateways still empty their spools."""
        self._stop.set()
        for thread in self._threads:
            thread.join(30)

    def stop(self) -> None:
        """End every part."""
        self.stop_sending()
        for gateway in self.gateways:
            gateway.stop()
        for part in (self.ingestor, self.api.part, self.broker, self.postgres):
            part.stop()

    def send(self, reports: int) -> None:
        """Each press makes this many reports and its gateway spools them."""
        with self._lock:
            for index, press in enumerate(self.outcome.presses):
                readings = [press.next_report() for _ in range(reports)]
                self.gateways[index % 2].put(press.name, readings)

    def uncommitted(self) -> int:
        """Reports that the broker has acknowledged and no commit holds yet."""
        reached = self._reached()
        return reached - self._committed()

    def kill_when_behind(self, part: Part) -> None:
        """Send a burst and kill in the middle of it; again when it was committed too fast."""
        for _ in range(50):
            self.send(_BURST)
            # Another depth each time: at the batch's beginning, in its middle, near its end.
            if self._behind(self.rng.randint(*_AIMED_AT)):
                reached, uncommitted = self._reached(), self.uncommitted()
                part.kill()
                if part is self.ingestor:
                    # It stays dead, so what is not committed now was not when it died.
                    uncommitted = reached - self._committed()
                self._book(part.name, uncommitted)
                if uncommitted >= UNCOMMITTED:
                    return
                part.start()
        raise AssertionError(f"{part.name}: never {UNCOMMITTED} reports uncommitted")

    def kill_at(self, point: str) -> None:
        """Kill the ingestor exactly before its commit, or between commit and acknowledgement."""
        reached = self.hold.with_suffix(".reached")
        self.ingestor.stop()
        self.ingestor = held_ingestor(
            self.database_url, self.broker.running, self.folder, self.hold
        )
        self.hold.write_text(point)
        self.ingestor.start()
        self._until(lambda: reached.exists(), 30)
        while (uncommitted := self.uncommitted()) < UNCOMMITTED:
            self.send(_BURST)
            time.sleep(0.05)
        self.ingestor.kill()
        self._book("ingestor", uncommitted, point)
        reached.unlink()
        self.ingestor = ingestor(self.database_url, self.broker.running, self.folder)

    def catch_up(self, within_s: float) -> None:
        """Wait until hardly anything is uncommitted, but no longer than given."""
        deadline = time.monotonic() + within_s
        while time.monotonic() < deadline and self.uncommitted() > UNCOMMITTED:
            time.sleep(0.05)

    def drain(self, within_s: float) -> None:
        """Wait until the spools are empty and every report sent is stored."""
        until_empty(self.gateways, within_s, lambda: None)
        self.outcome.spool_left = sum(len(gateway.spool) for gateway in self.gateways)
        self.outcome.messages = sum(gateway.sent_messages for gateway in self.gateways)
        made = sum(len(press.sent) for press in self.outcome.presses)
        deadline = time.monotonic() + within_s
        while self._stored() < made and time.monotonic() < deadline:
            time.sleep(0.1)
        self.outcome.seconds = time.monotonic() - self.began

    def _behind(self, reports: int) -> bool:
        """Wait a moment for so many uncommitted reports."""
        for _ in range(60):
            if self.uncommitted() >= reports:
                return True
            time.sleep(0.002)
        return False

    def _reached(self) -> int:
        return sum(len(gateway.reached) for gateway in self.gateways)

    def _committed(self) -> int:
        with psycopg.connect(self.database_url, connect_timeout=5) as conn:
            row = conn.execute("SELECT coalesce(sum(readings), 0) FROM press_state").fetchone()
        assert row is not None
        return int(row[0])

    def part(self, name: str) -> Part:
        """The part of a name as it is now."""
        parts: dict[str, Part] = {
            "ingestor": self.ingestor,
            "broker": self.broker,
            "postgres": self.postgres,
            "api": self.api.part,
        }
        return parts[name]

    def _stored(self) -> int:
        with psycopg.connect(self.database_url) as conn:
            row = conn.execute("SELECT count(*) FROM reading").fetchone()
        return 0 if row is None else int(row[0])

    def _book(self, part: str, uncommitted: int, point: str = "") -> None:
        at_s = time.monotonic() - self.began
        self.outcome.kills.append(Kill(part, at_s, uncommitted, point))

    def _send_steadily(self) -> None:
        while not self._stop.wait(_TICK_S):
            self.send(1)

    def _ask_steadily(self) -> None:
        """Reads and repeated registrations, so that the API is at work when it is killed."""
        rng = random.Random(self.rng.random())
        with self.api.client() as client:
            while not self._stop.wait(0.1):
                press = rng.choice(self.outcome.presses)
                try:
                    if rng.random() < 0.3:
                        answer = self._register(client, press)
                    else:
                        answer = client.get(f"/presses/{press.name}/strokes")
                    self.outcome.api_answers[str(answer.status_code)] += 1
                except httpx2.TransportError:
                    self.outcome.api_answers["no answer"] += 1

    def _register(self, client: httpx2.Client, press: Press) -> httpx2.Response:
        settings = {"modulus": press.rule.modulus, "max_spm": press.rule.max_spm}
        return client.put(f"/presses/{press.name}", json=settings)

    def _until(self, true: Callable[[], bool], within_s: float) -> None:
        deadline = time.monotonic() + within_s
        while not true():
            assert time.monotonic() < deadline, "the held ingestor does not reach its point"
            time.sleep(0.01)


@contextmanager
def running(folder: Path, seed: int) -> Iterator[Plant]:
    """A plant that is ended however the run ends."""
    made = Plant(folder, seed)
    try:
        made.start()
        yield made
    finally:
        made.stop()


def schedule(kills: int, rng: random.Random) -> list[tuple[str, str]]:
    """(part, point) of each kill: every part alike, the ingestor's two points once each.

    The first half leaves the broker alone. After a broken link the gateways send much a second
    time, which would hide what an ingestor that acknowledges too early has lost. Raises ValueError
    when there are fewer than five for each part.
    """
    if kills < 5 * len(PARTS):
        raise ValueError(f"kills: got {kills}, allowed is {5 * len(PARTS)} or more")
    each = [(PARTS[index % len(PARTS)], "") for index in range(kills)]
    others = [kill for kill in each if kill[0] != "broker"]
    cut = len(others) * 2 // 3
    early, late = others[:cut], others[cut:] + [kill for kill in each if kill[0] == "broker"]
    first, second = [index for index, (part, _) in enumerate(early) if part == "ingestor"][:2]
    early[first], early[second] = ("ingestor", "written"), ("ingestor", "committed")
    rng.shuffle(early)
    rng.shuffle(late)
    return early + late


@contextmanager
def after_kills(
    folder: Path, *, kills: int, seed: int, say: Callable[[str], None]
) -> Iterator[Plant]:
    """Do the kills, drain, and hand over the plant while database and API still run."""
    with running(folder, seed) as made:
        for part, point in schedule(kills, made.rng):
            time.sleep(made.rng.uniform(0.2, 1.2))
            if point:
                made.kill_at(point)
            else:
                made.kill_when_behind(made.part(part))
            say(_line(len(made.outcome.kills), made.outcome.kills[-1]))
            time.sleep(made.rng.uniform(0.0, 0.8))
            made.part(part).start()
            if made.rng.random() < 0.5:
                # The other half hits a system that has not recovered from the last kill.
                made.catch_up(5.0)
        made.stop_sending()
        made.send(1)
        made.api.wait()
        made.drain(90.0)
        yield made


def _line(number: int, kill: Kill) -> str:
    where = f" at {kill.point!r}" if kill.point else ""
    return (
        f"{number:4d}  {kill.at_s:6.1f} s  {kill.part:9s} killed{where}, "
        f"{kill.uncommitted} reports uncommitted"
    )

"""The stand of the entry tests: a real database and the real API behind the board."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx2

from api.app import create_app as create_api
from dashboard.app import create_app as create_board
from duestroke.counting.types import Reading
from duestroke.ledger import ToolEvent
from duestroke.messages.encode import encode_reading
from duestroke.messages.topics import report_topic
from duestroke.times import to_micros
from store.intake import Delivery, record_batch
from store.positions import ScopedSize
from store.presses import Settings
from store.tokens import ensure
from store.unit import Unit, connect
from tests.browser.stand import Serving

SITE = "harlow-mere"
PRESSES = tuple(f"{SITE}/{line}/0{number}" for line in (1, 2) for number in range(1, 8))
SEATS = {
    "punch": ("punch", "PU", 66.0),
    "redraw-die": ("redraw-die", "RD", None),
    "redraw-sleeve": ("redraw-sleeve", "RS", None),
    "ring-1": ("ironing-ring", "R1", 66.203),
    "ring-2": ("ironing-ring", "R2", 66.08),
    "ring-3": ("ironing-ring", "R3", 65.999),
    "stripper": ("stripper", "ST", None),
    "dome-die": ("dome-die", "DT", None),
}
"""Position: its kind, the letters of its serials, its size in mm."""

SPARES = 40
SECRETS = {"viewer": "secret-of-a-viewer", "crew": "secret-of-the-crew", "engineer": "secret-of-e"}


@dataclass
class Works:
    """A running board over the real API. `api`, `board`: what serves them."""

    url: str
    api_url: str
    api: Serving
    board: Serving
    database_url: str

    def ask(self, path: str) -> Any:
        """What the API says now, below `/api/v1`."""
        headers = {"Authorization": f"Bearer {SECRETS['viewer']}"}
        return httpx2.get(f"{self.api_url}/api/v1{path}", headers=headers).json()


def serial_at(press: str, position: str) -> str:
    """The serial that the stand fits into a place."""
    line, number = press.split("/")[1:]
    return f"{SEATS[position][1]}-{line}{number}"


def spare(number: int) -> str:
    """A ring on the shelf in the size of ring-3."""
    return f"IR26-{number:04d}"


@contextmanager
def works_at(database_url: str) -> Iterator[Works]:
    """Fourteen presses that ran for four days, each with its tools; rings on the shelf."""
    now = datetime.now(UTC).replace(second=0, microsecond=0)
    _fill(database_url, now)
    with Serving(create_api(database_url=database_url, pool_size=3)) as api:
        app = create_board(api_url=api.url, token=SECRETS["viewer"], refresh_s=1.0)
        with Serving(app) as board:
            yield Works(board.url, api.url, api, board, database_url)


def _fill(database_url: str, now: datetime) -> None:
    with connect(database_url) as conn:
        for role, secret in SECRETS.items():
            name = {"crew": "R. Ash", "engineer": "E. Birch"}.get(role, role)
            ensure(conn, name, role, secret, at=now)  # type: ignore[arg-type]
        unit = Unit(conn)
        for press in PRESSES:
            unit.presses.register(press, Settings(timezone="Europe/London"))
            _run(unit, press, now)
        _sizes(unit)
        _tools(unit, now)
        conn.commit()


def _run(unit: Unit, press: str, now: datetime) -> None:
    readings = [
        Reading("b1", hour, to_micros(now - timedelta(hours=96 - hour)), 20_000 * hour, 10.9, 430.0)
        for hour in range(97)
    ]
    topic = report_topic(press)
    record_batch(unit.conn, [Delivery(topic, encode_reading(each), now) for each in readings], now)


def _sizes(unit: Unit) -> None:
    ring = unit.positions.by_name()["ring-3"]
    unit.positions.put(replace(ring, quantity="bore", unit="um", wear_limit=6.0))
    for position, (_, _, size) in SEATS.items():
        for line in ("1", "2"):
            if size is not None:
                unit.positions.put_size(position, ScopedSize(f"{SITE}/{line}", size, 0.002))


def _tools(unit: Unit, now: datetime) -> None:
    begun = now - timedelta(days=4)
    events = []
    for press in PRESSES:
        for position, (kind, _, size) in SEATS.items():
            serial = serial_at(press, position)
            unit.tools.add(serial, kind, size_mm=size, by="stand", at=begun)
            events.append(
                ToolEvent(
                    id=uuid.uuid4(), type="fit", serial=serial, at=begun + timedelta(hours=1),
                    press=press, position=position, by="T. Elm",
                )
            )  # fmt: skip
    for number in range(1, SPARES + 1):
        size = 65.999 if number % 4 else 66.080
        unit.tools.add(spare(number), "ironing-ring", size_mm=size, by="stand", at=begun)
    unit.tools.add("PU26-0007", "punch", size_mm=66.0, by="stand", at=begun)
    unit.ledger.record(events, by="stand", now=now)

"""The API in one process over a real database, a token for each role, and a clock that stands."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import httpx2
import psycopg
import pytest
from starlette.testclient import TestClient

from api.app import create_app
from api.deps import ROLES
from duestroke.forecast import Chance, Forecast
from duestroke.forecast.dates import LEVELS
from duestroke.times import format_time, to_micros
from store.intake import BatchOutcome, Delivery, record_batch
from store.tokens import ensure
from store.unit import Unit, connect

NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)


@dataclass
class Clock:
    """A clock that shows what it was set to."""

    at: datetime

    def __call__(self) -> datetime:
        return self.at


@dataclass(frozen=True)
class Api:
    """Calls of the API under `/api/v1`, by role; `role=None` sends no token."""

    client: TestClient
    clock: Clock
    database_url: str

    def call(
        self, method: str, path: str, *, role: str | None, headers: Any = None, **more: Any
    ) -> httpx2.Response:
        """One request; `more` goes to the client (`json`, `params`, `content`)."""
        given = {"Authorization": f"Bearer {secret_of(role)}"} if role else {}
        return self.client.request(
            method, f"/api/v1{path}", headers=given | (headers or {}), **more
        )

    def get(self, path: str, *, role: str | None = "viewer", **more: Any) -> httpx2.Response:
        return self.call("GET", path, role=role, **more)

    def post(self, path: str, json: Any, *, role: str | None = "admin") -> httpx2.Response:
        return self.call("POST", path, role=role, json=json)

    def put(self, path: str, json: Any, *, role: str | None = "admin") -> httpx2.Response:
        return self.call("PUT", path, role=role, json=json)

    def delete(self, path: str, *, role: str | None = "admin") -> httpx2.Response:
        return self.call("DELETE", path, role=role)


def secret_of(role: str) -> str:
    """The bearer token that the tests give to a role."""
    return f"secret-of-{role}"


@pytest.fixture
def clock() -> Clock:
    return Clock(NOW)


@pytest.fixture
def api(database_url: str, clock: Clock) -> Iterator[Api]:
    """The API over a fresh database, with one token for each role."""
    with psycopg.connect(database_url) as conn:
        for role in ROLES:
            ensure(conn, role, role, secret_of(role), at=NOW)
    app = create_app(database_url=database_url, pool_size=2, clock=clock)
    with TestClient(app, raise_server_exceptions=False) as client:
        yield Api(client, clock, database_url)


PRESS = "harlow-mere/2/07"


@pytest.fixture
def report() -> Callable[..., dict[str, Any]]:
    """Makes a report; see `_report`."""
    return _report


def _report(
    minutes: float, strokes: int, *, boot: str = "b1", seq: int | None = None, **more: Any
) -> dict[str, Any]:
    """A report, `minutes` before NOW where negative; `seq` follows the minutes if left out."""
    at = format_time(NOW + timedelta(minutes=minutes))
    number = int(minutes) + 10_000 if seq is None else seq
    return {"boot": boot, "seq": number, "at": at, "strokes": strokes} | more


@pytest.fixture
def send(database_url: str) -> Callable[..., BatchOutcome]:
    """Takes reports in as the ingestor does: one batch, one transaction."""

    def sending(*reports: dict[str, Any], press: str = PRESS, now: datetime = NOW) -> BatchOutcome:
        topic = f"duestroke/v1/{press}/report"
        with connect(database_url) as conn:
            batch = [Delivery(topic, json.dumps(one).encode(), now) for one in reports]
            return record_batch(conn, batch, now)

    return sending


@pytest.fixture
def foretell(database_url: str) -> Callable[..., None]:
    """Puts a forecast on record as the engine does, due `days` after NOW by the median.

    spread: by how many days it is early or late at the most, the same everywhere between.
    """

    def foretelling(
        position: str,
        days: float,
        *,
        press: str = PRESS,
        state: str = "fine",
        kind: str | None = None,
        spread: float = 0.0,
    ) -> None:
        late = [spread * (2 * float(level) - 1) for level in LEVELS]
        due = tuple(to_micros(NOW + timedelta(days=days + each)) for each in late)
        made = Forecast(
            press=press,
            position=position,
            kind=kind or position,
            serial=f"T-{position}",
            made_at=NOW - timedelta(minutes=2),
            as_of=NOW - timedelta(minutes=3),
            state=state,
            strokes=1_000_000.0,
            remaining=tuple(5e5 * days for _ in LEVELS),
            due_us=due,
            chances=(Chance("S1", NOW + timedelta(days=7), 0.25),),
            rate=(500_000.0, NOW - timedelta(days=90), NOW),
            interval=None,
            basis={
                "lives": 3,
                "failures": 1,
                "families": {"weibull": 0.5, "lognormal": 0.5},
                "wear": None,
                "prior_only": False,
                "fit": "a-fit",
                "as_of": format_time(NOW - timedelta(minutes=3)),
                "cautions": ["one failure only"],
            },
            inputs={},
            digest="d",
        )
        with connect(database_url) as conn, Unit(conn) as unit:
            others = [f for f in unit.forecasts.current(press) if f.position != position]
            unit.forecasts.append([press], [*others, made])
            unit.commit()

    return foretelling

"""A small plant in a real database: presses that report, tools fitted in them."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from duestroke.counting.types import Reading
from duestroke.ledger import ToolEvent
from duestroke.messages import encode_reading, report_topic
from duestroke.names import DEFAULT_POSITIONS
from duestroke.times import to_micros
from store.intake import Delivery, record_batch
from store.presses import Settings
from store.unit import Unit

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
KINDS = {position: kind for position, kind, _ in DEFAULT_POSITIONS}


def register(unit: Unit, *presses: str, max_spm: int = 480, timezone: str = "UTC") -> None:
    """Register presses with the default counter."""
    for press in presses:
        unit.presses.register(press, Settings(max_spm=max_spm, timezone=timezone))


def report(unit: Unit, press: str, readings: Iterable[Reading]) -> None:
    """Take in readings of a press as a gateway would send them."""
    received = NOW + timedelta(days=1)
    topic = report_topic(press)
    deliveries = [Delivery(topic, encode_reading(each), received) for each in readings]
    for start in range(0, len(deliveries), 500):
        record_batch(unit.conn, deliveries[start : start + 500], received)


def steady(
    days: float, *, per_minute: float = 400, until: datetime = NOW, every_minutes: int = 60
) -> list[Reading]:
    """Readings of a press that runs without a stop, the last one at `until`."""
    steps = int(days * 1440 / every_minutes)
    begin = until - timedelta(minutes=every_minutes * steps)
    return [
        Reading(
            "b1",
            k,
            to_micros(begin + timedelta(minutes=every_minutes * k)),
            round(per_minute * every_minutes * k),
            11.0 if per_minute else None,
            430.0 if per_minute else None,
        )
        for k in range(steps + 1)
    ]


def fit_event(serial: str, press: str, position: str, at: datetime, **more: object) -> ToolEvent:
    """A tool fitted into a press."""
    return ToolEvent(
        id=uuid.uuid4(),
        type="fit",
        serial=serial,
        at=at,
        press=press,
        position=position,
        **more,  # type: ignore[arg-type]
    )


def fit_tool(
    unit: Unit, serial: str, press: str, position: str, at: datetime, **more: object
) -> None:
    """Register a tool and fit it."""
    unit.tools.add(serial, KINDS[position], by="test", at=at)
    event = fit_event(serial, press, position, at, **more)
    unit.ledger.record([event], by="test", now=NOW + timedelta(days=1))


def pull_tool(unit: Unit, serial: str, at: datetime, reason: str) -> None:
    """Pull a tool from where it sits."""
    event = ToolEvent(id=uuid.uuid4(), type="pull", serial=serial, at=at, reason=reason)  # type: ignore[arg-type]
    unit.ledger.record([event], by="test", now=NOW + timedelta(days=1))

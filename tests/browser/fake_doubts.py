"""What the fake API lists of the whole plant: flags, questions, events, quarantine, shifts."""

from __future__ import annotations

import base64
from datetime import datetime, timedelta
from typing import Any

from duestroke.times import format_time, parse_time
from tests.browser import fake_api, fake_record, fake_shifts


def answer(
    plant: fake_api.Plant, path: str, asked: dict[str, str], now: datetime
) -> list[dict[str, Any]] | None:
    """The list of the whole plant; None where the path is none, or one press is asked for."""
    if path == "/shifts":
        return fake_shifts.shifts(plant, now)
    if path == "/quarantine":
        return quarantine(now) if plant.presses else []
    if "press" in asked or path not in ("/flags", "/questions", "/tool-events"):
        return None
    names = [each["press"] for each in plant.presses]
    found = [
        row
        for name in names
        for row in fake_record.answer(plant, path, {**asked, "press": name}, now) or []
    ]
    if path == "/flags":
        return [row for row in found if row["settled"] is None]
    if path == "/questions":
        return [row for row in found if row["closed_at"] is None]
    found += fake_shifts.lately(plant, now)
    return [row for row in found if "from" not in asked or _is_after(row["at"], asked["from"])]


def _is_after(at: str, start: str) -> bool:
    return parse_time(at) >= parse_time(start)


def quarantine(now: datetime) -> list[dict[str, Any]]:
    """One report with a wrong field, one of a press that nobody registered."""
    wrong = b'{"boot": "b7", "seq": -4, "at": "2026-11-22T23:10:00Z", "strokes": 100}'
    rows = [
        ("field", "seq", "-4 is not an integer 0 to 9007199254740991", wrong, "1/04"),
        (
            "unknown-press",
            None,
            "no press harlow-mere/4/01 is registered",
            b'{"boot": "x"}',
            "4/01",
        ),
    ]
    return [
        {
            "id": number,
            "received_at": format_time(now - timedelta(hours=number)),
            "last_received_at": format_time(now - timedelta(hours=number)),
            "times": number,
            "topic": f"duestroke/v1/harlow-mere/{press}/report",
            "payload_base64": base64.b64encode(payload).decode(),
            "reason": reason,
            "field": field,
            "detail": detail,
            "press": f"harlow-mere/{press}",
            "state": "waiting",
        }
        for number, (reason, field, detail, payload, press) in enumerate(rows, start=1)
    ]

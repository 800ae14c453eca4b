"""One tool as `GET /tools/{serial}` gives it, from what the fake API holds of its press."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from tests.browser import fake_api, fake_record


def answer(plant: fake_api.Plant, serial: str, now: datetime) -> dict[str, Any] | None:
    """The tool of a serial; None where no press holds it."""
    tools = [tool for tool in plant.tools if tool.position != "press"]
    found = next((tool for tool in tools if fake_api.serial_of(tool) == serial), None)
    if found is None:
        return None
    own = [e for e in fake_record.events(plant, found.press, now) if e["serial"] == serial]
    fits = [_fit(event, found) for event in own if event["type"] == "fit"]
    looks = fake_record.inspections(plant, found.press, now)
    before = fits[0]["strokes_before"] if fits else 0
    since = int(found.strokes)
    return {
        "serial": serial,
        "kind": "ironing-ring" if found.position.startswith("ring") else found.position,
        "batch": "PB-2601",
        "size_mm": 66.105,
        "registered_size_mm": 66.105,
        "note": None,
        "state": "fitted",
        "press": found.press,
        "position": found.position,
        "reworks": 1,
        "back_at": None,
        "registered_at": "2025-01-06T09:00:00Z",
        "registered_by": "tool room",
        "strokes": {
            "since_fit": since,
            "since_rework": None if before is None else since + before,
            "since_new": None,
        },
        "fits": fits,
        "history": own,
        "inspections": [look for look in looks if look["serial"] == serial],
        "moves": [_move(own[0])] if own else [],
    }


def _fit(event: dict[str, Any], tool: fake_api.Tool) -> dict[str, Any]:
    before = None if event["before_unknown"] else event["strokes_before"] or 0
    return {
        "id": event["id"],
        "press": tool.press,
        "position": tool.position,
        "fitted_at": event["at"],
        "pulled_at": None,
        "reason": None,
        "size_mm": 66.105,
        "strokes": int(tool.strokes),
        "strokes_before": before,
    }


def _move(event: dict[str, Any]) -> dict[str, Any]:
    return {
        "subject": "fit",
        "id": event["id"],
        "figure": "strokes",
        "was": 1_000_000,
        "became": 1_000_012,
        "cause": "settlement",
        "cause_id": None,
        "reason": "12 strokes before the download",
        "at": event["entered_at"],
        "by": "R. Ashdown",
    }


def past(plant: fake_api.Plant, serial: str, now: datetime) -> list[dict[str, Any]]:
    """Weekly forecasts of a tool that get narrower; the two oldest came out."""
    tool = answer(plant, serial, now)
    if tool is None:
        return []
    since = tool["strokes"]["since_fit"]
    made = []
    for week in range(8, 0, -1):
        age = since - 3_500_000 * week
        if age < 0:
            continue
        left = {"0.1": 3e6 * week, "0.5": 4.2e6 * week, "0.9": 5.5e6 * week}
        made.append(
            {
                "source": "live",
                "press": tool["press"],
                "position": tool["position"],
                "as_of": fake_api.z_time(now - timedelta(weeks=week)),
                "state": "fine",
                "strokes": age,
                "remaining_strokes": left,
                "due": None,
                "width_80": 2.5e6 * week,
                "outcome": _outcome(since - age) if week % 2 else None,
            }
        )
    return made


def _outcome(left: float) -> dict[str, Any]:
    return {
        "known": "running",
        "strokes_left": left,
        "strokes_left_to": None,
        "level": 0.31,
        "level_to": 1.0,
    }

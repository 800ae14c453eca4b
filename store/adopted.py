"""Rows of a plant's spreadsheets as our own records, under ids that follow from what they say."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo, available_timezones

from duestroke.adoption import Record, Rounded
from duestroke.errors import BadField
from duestroke.ledger import ToolEvent
from duestroke.lives import Life
from duestroke.times import format_time
from store.inspections import Inspection, check_reading
from store.lives import content_id
from store.presses import Settings

_EVENTS: Final = uuid.UUID("2b7e4c0e-6f0a-4f5a-9c55-3f5d8a1e9b77")
_SETTINGS: Final = ("modulus", "max_spm", "timezone", "crank_radius_mm", "rod_length_mm")


def aware(moment: datetime, zone: str) -> datetime:
    """A time in UTC; one without an offset is of this zone."""
    local = moment if moment.tzinfo is not None else moment.replace(tzinfo=ZoneInfo(zone))
    return local.astimezone(UTC)


def settings_of(record: Record) -> Settings:
    """A press's settings. Raises BadField."""
    found = Settings(**{name: record.values.get(name) for name in _SETTINGS})
    if found.timezone is not None and found.timezone not in available_timezones():
        raise BadField("timezone", found.timezone, "an IANA zone, such as Europe/London")
    crank, rod = found.crank_radius_mm, found.rod_length_mm
    if crank and rod and rod <= crank:
        raise BadField("rod_length_mm", rod, f"more than the crank's radius, {crank}")
    return found


def differing(stated: Settings, stands: object) -> str | None:
    """The first setting that is stated otherwise than it stands."""
    for name in _SETTINGS:
        value = getattr(stated, name)
        if value is not None and value != getattr(stands, name):
            return name
    return None


def event_of(record: Record, zone: str) -> ToolEvent:
    """The fit that a row tells of."""
    strokes: Rounded | None = record.values["strokes"]
    margin = None if strokes is None else strokes.margin
    said = {name: record.values.get(name) for name in ("press", "position", "by", "note")}
    content: dict[str, Any] = said | {
        "type": "fit",
        "serial": record.values["serial"],
        "at": aware(record.values["at"], zone),
        "strokes_before": None if strokes is None else strokes.value,
        "before_margin": margin or None,
        "before_unknown": strokes is None,
    }
    return ToolEvent(id=uuid.uuid5(_EVENTS, _text(content)), **content)


def life_of(record: Record, zone: str) -> Life:
    """The past life that a row tells of, its rounded ages as intervals. Raises BadField.

    A worn end lies between the least and the most that its age may be; any other end stands at its
    age, and was found good at the least. An entry lies between its own two.
    """
    given, age = record.values, record.values["strokes"]
    is_worn = given["end"] == "worn"
    strokes = age.high if is_worn else age.value
    content: dict[str, Any] = {
        name: given.get(name) for name in ("serial", "kind", "position", "press", "batch")
    }
    content |= {name: given.get(name) for name in ("end", "mean_speed_mps")}
    content["ended_at"] = aware(given["ended_at"], zone) if "ended_at" in given else None
    content |= _ages(given, age, float(strokes))
    return Life(id=content_id(content), source="imported", **content)


def _ages(given: Mapping[str, Any], age: Rounded, strokes: float) -> dict[str, float | None]:
    entry: Rounded = given.get("entry_strokes") or Rounded(0, 0)
    good: Rounded | None = given.get("strokes_low")
    if good is not None and good.low > strokes:
        raise BadField("strokes_low", good.value, f"at most strokes ({age.value})")
    if entry.value > age.value:
        raise BadField("entry_strokes", entry.value, f"at most strokes ({age.value})")
    low = good.low if good is not None else age.low if age.margin else None
    return {
        "entry_strokes": min(float(entry.high), strokes),
        "entry_low": float(entry.low) if entry.margin else None,
        "strokes": strokes,
        "strokes_low": None if low is None else float(low),
    }


def inspection_of(record: Record, zone: str) -> Inspection:
    """The inspection that a row tells of. Raises BadField."""
    names = ("serial", "verdict", "quantity", "value", "unit", "uncertainty", "by", "note")
    content: dict[str, Any] = {name: record.values.get(name) for name in names}
    content |= {
        "at": aware(record.values["at"], zone),
        "reading_limit": record.values.get("limit"),
    }
    name = hashlib.sha256(_text(content).encode()).hexdigest()[:32]
    found = Inspection(id=f"sheet.{name}", **content)
    check_reading(found)
    return found


def _text(content: Mapping[str, Any]) -> str:
    """One spelling of what a row says, whatever the format of its cells."""
    said = {
        name: format_time(value) if isinstance(value, datetime) else value
        for name, value in content.items()
        if value is not None
    }
    return json.dumps(said, sort_keys=True)

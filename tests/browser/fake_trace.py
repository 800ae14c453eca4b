"""What the fake API tells of a can: a fixed set, with a late entry, a doubt and an empty place."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from duestroke.times import format_time, parse_time

_SET = (
    ("punch", "punch", "PU26-0118-0", 31.2, 400, 96, 240),
    ("redraw-die", "redraw-die", "RD24-0041-K", 52.0, 900, 500, 172),
    ("redraw-sleeve", "redraw-sleeve", "RS26-0207-5", 12.4, 220, 72, 96),
    ("ring-1", "ironing-ring", "IR26-0388-1", 22.9, 300, 72, 96),
    ("ring-2", "ironing-ring", "IR26-0401-P", 18.3, 300, 72, 96),
    ("ring-3", "ironing-ring", "IR26-0412-M", 12.1, 190, 72, 96),
    ("dome-die", "dome-die", "DT25-0019-D", None, 1900, 600, 72),
)
PER_HOUR = 22_000


def answer(asked: dict[str, str], now: datetime) -> dict[str, Any]:
    """`GET /trace`: hours since fit, since the check before, until the check after, by tool."""
    at = parse_time(asked["at"])
    tools = [_tool(at, now, *each) for each in _SET]
    doubts = [doubt for tool in tools for doubt in tool["doubts"]]
    doubts.append({"kind": "no-tool", "position": "stripper", "words": _NO_TOOL})
    starts = [tool["since_good"]["from"] for tool in tools]
    ends = [tool["since_good"]["to"] for tool in tools]
    return {
        "press": asked["press"],
        "at": format_time(at),
        "strokes": 201_881_040,
        "tools": tools,
        "empty": ["stripper"],
        "readings": {"before": _reading(at, -6, 0), "after": _reading(at, 4, 4_000)},
        "around": [_hour(at, hour) for hour in range(-3, 4)],
        "flags": [],
        "same_set": _span(at - timedelta(hours=72), min(at + timedelta(hours=90), now)),
        "since_good": _span(parse_time(min(starts)), parse_time(max(ends))),
        "doubts": doubts,
    }


_NO_TOOL = "no tool is on record at stripper at that time"


def _tool(
    at: datetime,
    now: datetime,
    position: str,
    kind: str,
    serial: str,
    million: float | None,
    fitted: int,
    before: int,
    after: int,
) -> dict[str, Any]:
    fitted_at = at - timedelta(hours=fitted)
    checked, next_check = at - timedelta(hours=before), at + timedelta(hours=after)
    late = 31 if position == "punch" else 0
    doubts = []
    if million is None:
        words = f"nobody knows how many strokes {serial} had when it was fitted"
        doubts = [{"kind": "age-unknown", "position": position, "words": words}]
    return {
        "position": position,
        "kind": kind,
        "serial": serial,
        "batch": None,
        "size_mm": None,
        "life": 1,
        "strokes": {
            "since_fit": fitted * PER_HOUR,
            "since_rework": None if million is None else int(million * 1e6),
        },
        "fitted_at": format_time(fitted_at),
        "pulled_at": format_time(next_check) if next_check <= now else None,
        "reason": "planned" if next_check <= now else None,
        "entered_at": format_time(fitted_at + timedelta(hours=late, minutes=9)),
        "entered_by": "Birch",
        "corrected": position == "ring-2",
        "check_before": _check(checked, 0.4),
        "check_after": _check(next_check, 1.1) if next_check <= now else None,
        "since_good": _span(checked, min(next_check, now)),
        "doubts": doubts,
    }


def _check(at: datetime, value: float) -> dict[str, Any]:
    read = {"quantity": "bore", "value": value, "unit": "um", "uncertainty": 0.8, "share": 0.1}
    return {"id": format_time(at), "at": format_time(at), "verdict": "good"} | read


def _span(start: datetime, end: datetime) -> dict[str, Any]:
    hours = (end - start) / timedelta(hours=1)
    strokes = int(hours * PER_HOUR)
    return {"from": format_time(start), "to": format_time(end), "strokes": strokes}


def _reading(at: datetime, minutes: int, more: int) -> dict[str, Any]:
    when = format_time(at + timedelta(minutes=minutes))
    peaks = {"peak_speed_mps": 10.3, "peak_accel_mps2": 468.0}
    return {"boot": "b1", "seq": 9 + minutes, "at": when, "strokes": 101_000 + more} | peaks


def _hour(at: datetime, offset: int) -> dict[str, Any]:
    start = at.replace(minute=0, second=0, microsecond=0) + timedelta(hours=offset)
    means = {"mean_speed_mps": 10.29, "mean_accel_mps2": 468.9}
    peaks = {"peak_speed_mps": 10.4, "peak_accel_mps2": 475.0}
    ends = format_time(start + timedelta(hours=1))
    made = {"from": format_time(start), "to": ends, "strokes": PER_HOUR, "minutes_running": 56.4}
    return made | means | peaks

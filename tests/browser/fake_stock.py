"""What the fake API tells of spares: a size that runs short, one late from rework, a full shelf."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from duestroke.times import format_time
from tests.browser import fake_api

SIZES = {
    "punch": None,
    "redraw-die": None,
    "redraw-sleeve": None,
    "ring-1": 66.432,
    "ring-2": 66.285,
    "ring-3": 66.150,
    "stripper": None,
    "dome-die": None,
}
KINDS = {"ring-1": "ironing-ring", "ring-2": "ironing-ring", "ring-3": "ironing-ring"}
SHELF = {
    "punch": ("PU26-0118-0", "PU26-0131-L", "PU26-0140-C"),
    "redraw-die": (),
    "redraw-sleeve": ("RS26-0207-5", "RS26-0211-H"),
    "ring-1": ("IR26-0388-1", "IR26-0390-8"),
    "ring-2": ("IR26-0401-P", "IR26-0402-N"),
    "ring-3": ("IR26-0412-M",),
    "stripper": tuple(f"ST26-{at:04d}" for at in range(12)),
    "dome-die": ("DT26-0019-D",),
}
WEEKLY = {
    "punch": ((0, 1), (0, 1), (1, 2), (1, 2), (1, 2), (1, 2)),
    "redraw-die": ((0, 1), (0, 1), (1, 1), (0, 1), (0, 0), (0, 0)),
    "ring-1": ((0, 0), (0, 0), (0, 0), (0, 1), (0, 1), (0, 1)),
    "ring-3": ((2, 3), (1, 2), (1, 2), (0, 1), (0, 1), (1, 1)),
}
QUIET = ((0, 0), (0, 1), (0, 1), (0, 1), (0, 1), (0, 1))


def demand(plant: fake_api.Plant, now: datetime) -> dict[str, Any]:
    """`GET /demand` of six weeks; nothing where the plant has no press."""
    if not plant.presses:
        return {"items": [], "made_at": None}
    items = [_wanted(position, size, now) for position, size in SIZES.items()]
    items.sort(key=lambda each: (each["kind"], each["size_mm"] or 0))
    return {"items": items, "made_at": format_time(now - timedelta(minutes=2))}


def _wanted(position: str, size: float | None, now: datetime) -> dict[str, Any]:
    weekly = WEEKLY.get(position, QUIET)
    return {
        "kind": KINDS.get(position, position),
        "size_mm": size,
        "size_tolerance_mm": None if size is None else 0.004,
        "positions": [position],
        "tools": 21,
        "without_range": 1 if position == "dome-die" else 0,
        "shelf": list(SHELF[position]),
        "weeks": [_week(position, weekly, at, now) for at in range(len(weekly))],
    }


def _week(position: str, weekly: Any, at: int, now: datetime) -> dict[str, Any]:
    end = now + timedelta(days=7 * (at + 1))
    low, high = (sum(each[side] for each in weekly[: at + 1]) for side in (0, 1))
    most = max(each[1] for each in weekly[: at + 1])
    kind = KINDS.get(position, position)
    promises = [one["back_at"] for one in _out(kind, now)]
    back = sum(each is not None and each <= format_time(end) for each in promises)
    return {
        "from": format_time(end - timedelta(days=7)),
        "to": format_time(end),
        "wanted": _number(*weekly[at]),
        "wanted_by_then": _number(low, max(low, most, high - at)),
        "back_by_then": back,
        "ordered_by_then": 4 if kind == "ironing-ring" and at >= 4 else 0,
    }


def _number(low: int, high: int) -> dict[str, Any]:
    return {"expected": 0.4 * low + 0.4 * high, "level_50": low, "level_90": high}


def stock(plant: fake_api.Plant, now: datetime) -> list[dict[str, Any]]:
    """`GET /stock`; nothing where the plant has no press."""
    if not plant.presses:
        return []
    kinds = dict.fromkeys(KINDS.get(position, position) for position in SIZES)
    return [_kind(kind, now) for kind in sorted(kinds)]


def _kind(kind: str, now: datetime) -> dict[str, Any]:
    shelf = [
        _held(serial, SIZES[position], "PB-2601" if serial == "PU26-0140-C" else None)
        for position, serials in SHELF.items()
        for serial in serials
        if KINDS.get(position, position) == kind
    ]
    due = format_time(now + timedelta(days=31))
    orders = [{"quantity": 4, "size_mm": 66.150, "due_at": due}] if kind == "ironing-ring" else []
    late = {"reworks": 22, "median_days": 1.4, "days_90": 8.8}
    return {
        "kind": kind,
        "lead_days": 21.0 if kind == "stripper" else 70.0,
        "on_order": orders,
        "entered_at": format_time(now - timedelta(days=9)),
        "entered_by": "R. Ashdown",
        "shelf": shelf,
        "bench": _bench(kind),
        "out": _out(kind, now),
        "usual_lateness": None if kind == "dome-die" else late,
    }


def _held(serial: str, size: float | None, batch: str | None = None) -> dict[str, Any]:
    return {"serial": serial, "size_mm": size, "batch": batch, "reworks": 1}


def _bench(kind: str) -> list[dict[str, Any]]:
    if kind == "ironing-ring":
        return [_held("IR25-0377-K", 66.1564), _held("IR26-0455-3", None)]
    return [_held("RD25-0033-Q", 65.02)] if kind == "redraw-die" else []


def _out(kind: str, now: datetime) -> list[dict[str, Any]]:
    """Serial, days since it was sent, days until promised, days until nine in ten are back."""
    known: dict[str, tuple[tuple[str, int, float | None, float | None], ...]] = {
        "redraw-die": (("RD24-0041-K", 9, 18, 27),),
        "ironing-ring": (("IR25-0301-T", 12, -2.5, 6.3), ("IR25-0322-B", 3, 5, 13.8)),
        "punch": (("PU25-0090-V", 2, None, None),),
    }
    return [
        _held(serial, SIZES.get("ring-3") if kind == "ironing-ring" else None)
        | {
            "sent_at": format_time(now - timedelta(days=sent)),
            "back_at": None if back is None else format_time(now + timedelta(days=back)),
            "back_by_90": None if late is None else format_time(now + timedelta(days=late)),
        }
        for serial, sent, back, late in known.get(kind, ())
    ]

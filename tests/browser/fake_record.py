"""What the fake API holds about one press: positions, ledger, readings, flags, series.

Made from the plant's tools by fixed rules, so that a figure on the page can be told from its place.
"""

from __future__ import annotations

import random
import uuid
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from tests.browser import fake_api, fake_stock

PER_DAY = 500_000.0
HOURS_DOWN = range(7, 11)
"""Hours of the weekly clean, in which no press runs."""

POSITIONS = (
    ("punch", "punch", 10, "diameter", "um", -4.0),
    ("redraw-die", "redraw-die", 20, "bore", "um", 15.0),
    ("redraw-sleeve", "redraw-sleeve", 30, "face", "um", 20.0),
    ("ring-1", "ironing-ring", 40, "bore", "um", 10.0),
    ("ring-2", "ironing-ring", 50, "bore", "um", 8.0),
    ("ring-3", "ironing-ring", 60, "bore", "um", 6.0),
    ("stripper", "stripper", 70, None, None, None),
    ("dome-die", "dome-die", 80, "profile", "um", -15.0),
    ("press", "press", 900, None, None, None),
)
NAMESPACE = uuid.UUID("6f1c55c4-5f0b-4f43-9a53-0d1d8c3c1f10")
CREWS = ("Alder", "Birch", "Cedar", "Damson")


def uid(*parts: object) -> str:
    """An id that stays the same for the same thing."""
    return str(uuid.uuid5(NAMESPACE, "|".join(str(part) for part in parts)))


def positions() -> list[dict[str, Any]]:
    """Positions as `GET /positions` gives them."""
    return [
        {
            "position": name,
            "kind": kind,
            "handbook_life": None if kind == "press" else 40e6,
            "handbook_spread": 0.48,
            "handbook_own": True,
            "quantity": quantity,
            "unit": unit,
            "limit": limit,
            "size_mm": fake_stock.SIZES.get(name),
            "size_tolerance_mm": 0.004 if fake_stock.SIZES.get(name) else None,
            "sizes": [],
            "order": order,
            "interval_strokes": 100_000_000 if kind == "press" else None,
            "interval_days": None,
        }
        for name, kind, order, quantity, unit, limit in POSITIONS
    ]


def tools_of(plant: fake_api.Plant, press: str) -> list[fake_api.Tool]:
    """The tools of one press, worst first as the plant lists them."""
    return [tool for tool in plant.tools if tool.press == press]


def fitted_at(tool: fake_api.Tool, now: datetime) -> datetime:
    """When a tool was fitted, at half a million strokes a day, on the hour."""
    at = now - timedelta(days=tool.strokes / PER_DAY)
    return at.replace(minute=0, second=0, microsecond=0)


def event_of(
    press: str, kind: str, serial: str, position: str | None, at: datetime, **more: Any
) -> dict[str, Any]:
    """One event as `GET /tool-events` gives it, entered at the end of the hour."""
    late = timedelta(minutes=more.pop("minutes_late", 40))
    by = CREWS[at.day % 4]
    return {
        "id": uid(press, kind, serial, position, at),
        "type": kind,
        "serial": serial,
        "at": fake_api.z_time(at),
        "press": press,
        "position": position,
        "reason": None,
        "strokes_before": None,
        "before_unknown": False,
        "strokes_before_margin": None,
        "size_mm": None,
        "back_at": None,
        "by": by,
        "replaces": False,
        "corrects": None,
        "void": False,
        "note": None,
        "entered_at": fake_api.z_time(at + late),
        "entered_by": f"crew {by}",
        "press_strokes": 96_000_000,
        "corrected_by": None,
        "implied_by": None,
        **more,
    }


def events(plant: fake_api.Plant, press: str, now: datetime) -> list[dict[str, Any]]:
    """A fit of each tool and the pull before it; a late entry, a correction, an age not known."""
    made = []
    reasons = ("broken", "worn", "planned", "collateral", "can-defect")
    for place, tool in enumerate(tools_of(plant, press)):
        at = fitted_at(tool, now)
        if tool.position == "press":
            made.append(event_of(press, "service", press, "press", at, reason="planned"))
            continue
        serial, old = fake_api.serial_of(tool), f"OLD-{tool.position}"
        late = 3 * 1440 if place == 2 else 40
        if place != 1:
            reason = reasons[place % 5]
            made.append(event_of(press, "pull", old, tool.position, at, reason=reason))
        made.append(
            event_of(
                press, "fit", serial, tool.position, at, minutes_late=late,
                before_unknown=place == 1, strokes_before=1_200_000 if place == 3 else None,
                strokes_before_margin=100_000 if place == 3 else None,
            )
        )  # fmt: skip
    return sorted([*made, *corrected(plant, press, now)], key=lambda each: each["at"])


def corrected(plant: fake_api.Plant, press: str, now: datetime) -> list[dict[str, Any]]:
    """A pull keyed with the wrong reason, and the entry that stands for it."""
    at = (now - timedelta(days=30)).replace(minute=0)
    wrong = event_of(press, "pull", "IR25-0099", "ring-1", at, reason="worn")
    right = event_of(
        press, "pull", "IR25-0099", "ring-1", at, reason="broken", minutes_late=1500,
        corrects=wrong["id"], note="chip seen on the bench",
    )  # fmt: skip
    right["id"] = uid(press, "right")
    wrong["corrected_by"] = right["id"]
    return [wrong, right]


def inspection_of(tool: fake_api.Tool, at: datetime, **found: Any) -> dict[str, Any]:
    """One inspection as `GET /inspections` gives it."""
    by = CREWS[at.day % 4]
    return {
        "id": uid(tool.press, tool.position, at, found.get("quantity")),
        "serial": fake_api.serial_of(tool),
        "at": fake_api.z_time(at),
        "verdict": None,
        "quantity": None,
        "value": None,
        "unit": None,
        "limit": None,
        "uncertainty": None,
        "of_set": False,
        "share": None,
        "by": by,
        "corrects": None,
        "void": False,
        "note": None,
        "corrected_by": None,
        "entered_at": fake_api.z_time(at + timedelta(minutes=20)),
        "entered_by": f"crew {by}",
        "press": tool.press,
        "position": tool.position,
        "press_strokes": 120_000_000,
        **found,
    }


def inspections(plant: fake_api.Plant, press: str, now: datetime) -> list[dict[str, Any]]:
    """Two readings of each tool that is measured, a look at the stripper, a wall of the set."""
    limits = {name: (quantity, unit, limit) for name, _, _, quantity, unit, limit in POSITIONS}
    made = []
    for tool in tools_of(plant, press):
        if tool.position == "press":
            continue
        quantity, unit, limit = limits[tool.position]
        share = random.Random(f"read{press}{tool.position}").uniform(0.2, 0.7)
        if (press[-4:], tool.position) in (("2/03", "ring-3"), ("3/06", "ring-3")):
            share = 0.96
        for days, part in ((11, 0.8), (4, 1.0)):
            at = (now - timedelta(days=days)).replace(hour=7, minute=50)
            if at < fitted_at(tool, now):
                continue
            if limit is None:
                made.append(inspection_of(tool, at, verdict="good"))
                continue
            made.append(
                inspection_of(
                    tool, at, quantity=quantity, unit=unit, limit=limit,
                    value=round(limit * share * part, 2), uncertainty=0.8,
                    share=round(limit * share * part, 2) / limit,
                )
            )  # fmt: skip
        if tool.position == "ring-3":
            at = (now - timedelta(days=5)).replace(hour=8)
            wall = {"quantity": "wall", "unit": "um", "value": 76.2, "of_set": True}
            made.append(inspection_of(tool, at, **wall))
    return sorted(made, key=lambda each: each["at"])


def flag_of(
    press: str, kinds: list[str], begin: datetime, minutes: float, counted: int, hides: int,
    settled: dict[str, Any] | None = None, candidates: tuple[int, ...] = (),
) -> dict[str, Any]:  # fmt: skip
    """One flag as `GET /flags` gives it."""
    return {
        "id": uid(press, "flag", begin),
        "press": press,
        "kinds": kinds,
        "from": fake_api.z_time(begin),
        "to": fake_api.z_time(begin + timedelta(minutes=minutes)),
        "counted": counted,
        "hidden_at_most": 0 if settled else hides,
        "settled": settled,
        "candidates": list(candidates),
    }


def flags(press: str, now: datetime) -> list[dict[str, Any]]:
    """3/02's download, 1/02's hidden wrap, a long list on 3/05, one settled one elsewhere."""
    settled = {
        "strokes": 12,
        "reason": "stood for the download; by the can count",
        "by": "R. Ashdown",
        "at": fake_api.z_time(now - timedelta(days=70)),
    }
    match press[-4:]:
        case "3/02":
            begin = (now - timedelta(days=20)).replace(minute=0)
            return [flag_of(press, ["restart"], begin, 170, 1930, 100_120)]
        case "1/02":
            begin = now - timedelta(days=22)
            return [flag_of(press, ["wrap"], begin, 240, 25_664, 118_386,
                            candidates=(25_664, 91_200))]  # fmt: skip
        case "3/05":
            return [
                flag_of(press, ["reboot", "clock"], now - timedelta(days=at, hours=at), 20, 7_600,
                        12_000, {**settled, "strokes": -at} if at > 2 else None)
                for at in range(9, 0, -1)
            ]  # fmt: skip
        case "2/06":
            return []
        case _:
            begin = now - timedelta(days=80)
            return [flag_of(press, ["reboot"], begin, 40, 5_850, 24_000, settled)]


def ratio_of(press: str, days_ago: float) -> float:
    """K of a press some days ago: 2/05 rises from D-38 to D-9, all others stay."""
    line = press.split("/")[1]
    built = {"1": 1.0, "2": 1.116, "3": 1.0}.get(line, 1.0)
    if not press.endswith("2/05"):
        return built
    return built + (1.21 - built) * min(max((38 - days_ago) / 29, 0.0), 1.0)


def bucket_of(press: str, at: datetime, hours: float, running: float, now: datetime) -> Any:
    """One bucket as the series gives it; `running` is its share of running."""
    rate = {"1": 380.0, "2": 390.0, "3": 400.0}.get(press.split("/")[1], 380.0)
    minutes = 60 * hours * running
    speed = 10.3
    ratio = ratio_of(press, (now - at) / timedelta(days=1))
    ratio *= 1 + random.Random(f"k{press}{at}").gauss(0, 0.004)
    omega = 6.283185307179586 * rate / 60
    is_up = running > 0
    return {
        "from": fake_api.z_time(at),
        "to": fake_api.z_time(min(at + timedelta(hours=hours), now)),
        "strokes": round(rate * minutes),
        "mean_speed_mps": speed if is_up else None,
        "peak_speed_mps": speed * 1.01 if is_up else None,
        "mean_accel_mps2": ratio * omega * speed if is_up else None,
        "peak_accel_mps2": ratio * omega * speed * 1.03 if is_up else None,
        "minutes_running": minutes,
    }


def series(
    plant: fake_api.Plant, press: str, asked: dict[str, str], now: datetime
) -> list[dict[str, Any]]:
    """Hours or days of a press; one that never reported, or stands, has none with strokes."""
    known = next(each for each in plant.presses if each["press"] == press)
    moves = bool(known["last_report"]) and known["strokes_per_minute"] > 0
    return buckets(press, asked["bucket"], datetime.fromisoformat(asked["from"]), now, moves)


@lru_cache(maxsize=64)
def buckets(
    press: str, size: str, begin: datetime, now: datetime, moves: bool
) -> list[dict[str, Any]]:
    """Buckets from `begin` until now; kept, since many pages ask for the same ones."""
    made = []
    if size == "1h":
        at = begin
        while at < now:
            down = at.weekday() == 2 and at.hour in HOURS_DOWN
            made.append(bucket_of(press, at, 1, 0.0 if down or not moves else 1.0, now))
            at += timedelta(hours=1)
        return made
    at = begin.replace(hour=0)
    while at < now:
        share = 0.78 if at.weekday() == 2 else 0.9
        whole = (min(at + timedelta(days=1), now) - at) / timedelta(hours=1)
        made.append(bucket_of(press, at, whole, share if moves else 0.0, now))
        at += timedelta(days=1)
    return made


def questions(plant: fake_api.Plant, press: str, now: datetime) -> list[dict[str, Any]]:
    """1/02 asks about a ring that reads smaller than before; nothing else asks."""
    if not press.endswith("1/02"):
        return []
    return [
        {
            "id": uid(press, "question"),
            "kind": "backwards",
            "serial": fake_api.serial_of(tool),
            "press": press,
            "position": tool.position,
            "inspection": uid(press, "one"),
            "against": uid(press, "two"),
            "words": "bore read 2.1 um after 4.9 um: was the ring changed?",
            "raised_at": fake_api.z_time(now - timedelta(days=4)),
            "closed_at": None,
            "closed_by": None,
            "reason": None,
        }
        for tool in tools_of(plant, press)
        if tool.position == "ring-1"
    ]


def dry_windows(press: str, now: datetime) -> list[dict[str, Any]]:
    """3/08 ran dry after its change of can size."""
    if not press.endswith("3/08"):
        return []
    begin = now - timedelta(days=40)
    return [
        {
            "id": uid(press, "dry"),
            "press": press,
            "from": fake_api.z_time(begin),
            "to": fake_api.z_time(begin + timedelta(minutes=25)),
            "reason": "set up after the change of can size",
            "strokes": 9_000,
            "entered_at": fake_api.z_time(begin + timedelta(hours=1)),
            "entered_by": "R. Ashdown",
            "taken_back_at": None,
            "taken_back_by": None,
        }
    ]


def answer(
    plant: fake_api.Plant, path: str, asked: dict[str, str], now: datetime
) -> list[dict[str, Any]] | None:
    """The items of a list about a press, or None where the path is no such list."""
    press = asked.get("press", "")
    match path:
        case "/positions":
            return positions()
        case "/tool-events":
            return events(plant, press, now)
        case "/inspections":
            return inspections(plant, press, now)
        case "/dry-windows":
            return dry_windows(press, now)
        case "/questions":
            return questions(plant, press, now)
        case "/flags":
            return flags(press, now) if any(p["press"] == press for p in plant.presses) else []
    if path.endswith("/series"):
        return series(plant, path.removeprefix("/presses/").removesuffix("/series"), asked, now)
    return None

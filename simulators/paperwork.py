"""What the plant's crews wrote down, in the words of the product: tools, events, looks, stops."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Final, Literal, cast
from zoneinfo import ZoneInfo

from duestroke.ledger import ToolEvent
from duestroke.ledger.events import EventType, Reason
from duestroke.shifts import Rota, Shift, ShiftPlan
from duestroke.times import from_micros, to_micros
from simulators import gauge
from simulators.plant import BY_POSITION, CREWS, DAY, ZONE
from simulators.played import Entry, Played
from simulators.stops import planned_stops
from simulators.stories import Demo
from store.bulk_ledger import NewTool
from store.inspections import Inspection
from store.positions import Position
from store.stops import Stop

BY: Final = "demo history"
WEEKS_AHEAD: Final = 8
_NAMESPACE: Final = uuid.UUID("6f0b3a52-9d0e-5c57-8a43-0c6a2f6f7d11")


def tools(played: Played) -> list[NewTool]:
    """Every tool that a press ever had, with its size when new."""
    return [NewTool(tool.serial, tool.kind, tool.batch, tool.new_mm) for tool in played.tools]


def events(demo: Demo, played: Played) -> list[ToolEvent]:
    """The press's ledger in order of time."""
    return [_event(demo, played, number, entry) for number, entry in enumerate(played.entries)]


def _event(demo: Demo, played: Played, number: int, entry: Entry) -> ToolEvent:
    press = played.press.name
    has_place = entry.type in ("fit", "service")
    return ToolEvent(
        id=_id(demo, press, "event", number),
        type=cast(EventType, entry.type),
        serial=press if entry.tool is None else entry.tool.serial,
        at=from_micros(entry.at),
        press=press if has_place else None,
        position=entry.position if entry.type == "fit" else None,
        reason=cast(Reason | None, entry.reason),
        strokes_before=entry.strokes_before,
        before_unknown=entry.before_unknown,
        size_mm=entry.size_mm,
        back_at=None if entry.back_at is None else from_micros(entry.back_at),
        by=crew_at(entry.at),
        note=entry.note,
    )


def inspections(demo: Demo, played: Played) -> list[Inspection]:
    """What was looked at, in order of time."""
    return [
        Inspection(
            id=str(_id(demo, played.press.name, "look", number)),
            serial=look.tool.serial,
            at=from_micros(look.at),
            verdict=cast(Literal["good", "worn"] | None, look.verdict),
            quantity=look.quantity,
            value=look.value,
            unit=look.unit,
            reading_limit=look.limit,
            uncertainty=look.uncertainty,
            by=crew_at(look.at),
            note=look.note,
        )
        for number, look in enumerate(played.looks)
    ]


def crew_at(at: int) -> str:
    """The crew on shift: two days, two nights, four off; shifts change at 06:00 and 18:00."""
    since_six = from_micros(at).astimezone(ZoneInfo(ZONE)).replace(tzinfo=None) - timedelta(hours=6)
    pair, is_night = since_six.toordinal() // 2, since_six.hour >= 12
    return CREWS[(pair - is_night) % len(CREWS)]


def shift_plan() -> ShiftPlan:
    """The plant's shifts and its crews in turn, as `crew_at` has them."""
    # The days since year 1 tell whose turn it is; any eighth of them begins the cycle.
    start = date.fromordinal(739_616)
    rota = tuple(
        tuple(crew_at(_micros_at(start + timedelta(days=day), hour)) for hour in (7, 19))
        for day in range(2 * len(CREWS))
    )
    shifts = (Shift(time(6), time(18)), Shift(time(18), time(6)))
    return ShiftPlan(ZoneInfo(ZONE), shifts, Rota(start, rota))


def _micros_at(day: date, hour: int) -> int:
    return to_micros(datetime.combine(day, time(hour), ZoneInfo(ZONE)))


def stops(demo: Demo, now: datetime, frm: int) -> Iterator[Stop]:
    """Planned stops of all lines from a time up to eight weeks from now."""
    to = max(demo.d0, int(now.timestamp() * 1_000_000)) + WEEKS_AHEAD * 7 * DAY
    for line in demo.plant.lines:
        for stop in planned_stops(line, demo.first_day, frm, to):
            yield Stop(
                stop.id,
                stop.scope,
                from_micros(stop.start),
                from_micros(stop.end),
                stop.max_changes,
                now,
                BY,
            )


HANDBOOK_M: Final = {
    "punch": 62,
    "redraw-die": 78,
    "redraw-sleeve": 44,
    "ring-1": 58,
    "ring-2": 48,
    "ring-3": 36,
    "stripper": 22,
    "dome-die": 125,
    "hold-ring": 105,
}
"""The invented plant's own figures for the median life, in million strokes."""


SIZE_TOLERANCE_MM: Final = 0.01


def positions(known: dict[str, Position]) -> Iterator[Position]:
    """What the plant says about its positions: lives, wear limits, sizes, the press's interval."""
    known = {"hold-ring": Position("hold-ring", "hold-ring", 75), **known}
    for position, life in HANDBOOK_M.items():
        told = replace(known[position], handbook_life=life * 1e6, handbook_own=True)
        if position in gauge.GAUGED:
            quantity, limit = gauge.GAUGED[position].quantity, BY_POSITION[position].limit_um
            told = replace(told, quantity=quantity, unit=gauge.UNIT, wear_limit=limit)
        size = BY_POSITION[position].size_mm
        if size is not None:
            told = replace(told, size_mm=size, size_tolerance_mm=SIZE_TOLERANCE_MM)
        yield told
    yield replace(known["press"], interval_strokes=100_000_000, interval_days=182.0)


def _id(demo: Demo, press: str, what: str, number: int) -> uuid.UUID:
    return uuid.uuid5(_NAMESPACE, f"{demo.seed} {demo.d0} {press} {what} {number}")

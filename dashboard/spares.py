"""The spare for each tool that is wanted out: on the shelf, else on its way back, else none.

Spares are dealt to the worst first, each serial once. A size is the one that a
place asks for in its own press; a tool whose size nobody entered is no spare there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

from dashboard import fleet as fleets
from dashboard import words
from dashboard.axis import Axis
from dashboard.client import Forecast
from dashboard.entry_tools import Place, Tool
from dashboard.fleet import Fleet
from dashboard.tool_room_facts import Away, Held, Order, Stock, size_words
from duestroke.names import PRESS_POSITION

WANTED_OUT: Final = ("overdue", "this-stop", "plan")
BRACKET_TOP: Final = 91.0
BRACKET_LOW: Final = 99.0


@dataclass(frozen=True, slots=True)
class Spare:
    """What could go in for one tool. held: one on the shelf.

    left: suitable ones that are still free.  back: one in rework.  bench: tools of the kind that
    wait there.  order: new ones to come.
    """

    held: Held | None = None
    left: int = 0
    back: Away | None = None
    bench: int = 0
    order: Order | None = None

    @property
    def is_missing(self) -> bool:
        """Whether the shelf has none."""
        return self.held is None


Key = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Spares:
    """Spares by press and position. fault: why they are not known, empty where they are."""

    dealt: Mapping[Key, Spare] = field(default_factory=dict)
    fault: str = ""

    def of(self, tool: Forecast) -> Spare | None:
        """The spare for a tool; None where none is wanted, or where nothing is known."""
        return self.dealt.get((tool.press, tool.position))

    def is_missing(self, tool: Forecast) -> bool:
        """Whether a tool is wanted out and the shelf has none for it."""
        spare = self.of(tool)
        return spare is not None and spare.is_missing


def deal(
    fleet: Fleet,
    stock: Sequence[Stock] | None,
    places: Sequence[Place] | None,
    fault: str = "",
) -> Spares:
    """Deal the shelf to the tools that are wanted out, worst first."""
    if stock is None or places is None:
        return Spares(fault=fault or "the spares are not known")
    kinds = {each.kind: each for each in stock}
    by_name = {each.position: each for each in places}
    used: set[str] = set()
    dealt: dict[Key, Spare] = {}
    for tool in in_turn(fleet):
        place = by_name.get(tool.position)
        if place is not None and tool.position != PRESS_POSITION:
            dealt[tool.press, tool.position] = _spare(tool, place, kinds.get(place.kind), used)
    return Spares(dealt)


def in_turn(fleet: Fleet) -> list[Forecast]:
    """Tools wanted out at the next two stops of their line, worst first as the Shift page has them.

    A spare goes where most is at stake, not where the first stop happens to be.
    """
    found = (tool for held in fleet.tools.values() for tool in held if tool.state in WANTED_OUT)
    return fleets.by_urgency(found, fleet.now)


def _spare(tool: Forecast, place: Place, stock: Stock | None, used: set[str]) -> Spare:
    size, _ = place.size_in(tool.press)
    if stock is None:
        return Spare()
    free = [
        held for held in stock.shelf if held.serial not in used and _suits(held, place, tool.press)
    ]
    if free:
        used.add(free[0].serial)
        return Spare(held=free[0], left=len(free) - 1)
    back = _first_back(stock, used)
    if back is not None:
        used.add(back.serial)
    orders = [each for each in stock.on_order if each.size_mm in (None, size) or size is None]
    order = min(orders, key=lambda each: each.due_at, default=None)
    return Spare(back=back, bench=len(stock.bench), order=order)


def _suits(held: Held, place: Place, press: str) -> bool:
    tool = Tool(serial=held.serial, kind=place.kind, state="shelf", size_mm=held.size_mm)
    return place.suits(tool, press) is True


def _first_back(stock: Stock, used: set[str]) -> Away | None:
    """The one promised soonest; its size is open until it is ground."""
    promised = [each for each in stock.out if each.back_at is not None and each.serial not in used]
    return min(promised, key=lambda each: (each.back_at, each.serial), default=None)


# ---- in words and on the axis ----


def said(spares: Spares, fleet: Fleet, tool: Forecast) -> dict[str, str]:
    """The spare of a row: `lead` in its `tone`, a `serial` that leads to its page, `text`."""
    if tool.state == "cant-tell":
        return _words("quiet", "", text="no spare wanted yet")
    if tool.position == PRESS_POSITION:
        return _words("quiet", "", text="a service: no spare wanted")
    if spares.fault:
        return _words("doubt", "Spares not known:", text=spares.fault)
    spare = spares.of(tool)
    if spare is None:
        return _words("quiet", "", text="no spare wanted yet")
    if spare.held is not None:
        return _words("", "", spare.held.serial, _on_shelf(spare))
    serial = spare.back.serial if spare.back is not None else ""
    return _words("act", "No spare on the shelf.", serial, _elsewhere(spare, fleet))


def _words(tone: str, lead: str, serial: str = "", text: str = "") -> dict[str, str]:
    return {"tone": tone, "lead": lead, "serial": serial, "text": text}


def _on_shelf(spare: Spare) -> str:
    held = spare.held
    size = "" if held is None or held.size_mm is None else f"{size_words(held.size_mm)}, "
    last = "last one that suits" if not spare.left else "on the shelf"
    return f"{size}{last}"


def _elsewhere(spare: Spare, fleet: Fleet) -> str:
    if spare.back is not None:
        return f"in rework, {promise(spare.back, fleet)}"
    if spare.order is not None:
        due = words.day(spare.order.due_at, fleet.zone, fleet.now)
        return f"{spare.order.quantity}{words.NB}new on order, due {due}."
    if spare.bench:
        return f"{spare.bench}{words.NB}of its kind on the bench, none that suits ready."
    return "None in rework, none on order."


def promise(away: Away, fleet: Fleet) -> str:
    """`promised 11 Dec, 90 % by 20 Dec`."""
    if away.back_at is None:
        return "no day promised"
    late = " (late)" if away.back_at < fleet.now else ""
    day = f"promised {words.day(away.back_at, fleet.zone, fleet.now)}{late}"
    if away.back_by_90 is None:
        return day
    return f"{day}, 90{words.NB}% by {words.day(away.back_by_90, fleet.zone, fleet.now)}"


def bracket(spares: Spares, fleet: Fleet, tool: Forecast) -> str:
    """Path of the blue bracket under a row, from the day promised to the day of the 90 %.

    Only where nothing on the shelf serves and one is in rework; else empty.
    """
    spare = spares.of(tool)
    back = spare.back if spare is not None and spare.is_missing else None
    if back is None or back.back_at is None:
        return ""
    end = back.back_by_90 or back.back_at
    if end < fleet.now or fleet.axis.x(back.back_at) > fleet.axis.span:
        return ""
    return _bracket(fleet.axis, back.back_at, end)


def _bracket(axis: Axis, begin: datetime, end: datetime) -> str:
    start, stop = axis.x(begin), axis.x(end)
    top, low = BRACKET_TOP, BRACKET_LOW
    opening = f"M{start:.0f} {low:g}V{top:g}" if start >= 0 else f"M0 {top:g}"
    closing = f"V{low:g}" if stop <= axis.span else ""
    return f"{opening}H{min(stop, axis.span):.0f}{closing}"

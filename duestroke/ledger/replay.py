"""The ledger played through in order of time: who sat where, and what contradicts what."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, Literal, NamedTuple
from uuid import UUID

from duestroke.errors import BadField, Contradiction
from duestroke.ledger.events import REASONS, BadEvent, EventType, Reason, Tool, ToolEvent
from duestroke.names import PRESS_POSITION
from duestroke.times import format_time

State = Literal["new", "shelf", "fitted", "bench", "out", "scrapped"]
"""`new`: registered and never touched; it shows as shelf, or bench while it lacks a size."""

_FROM: Final[dict[EventType, tuple[State, ...]]] = {
    "fit": ("new", "shelf", "bench"),
    "shelve": ("new", "bench", "out"),
    "send": ("new", "shelf", "bench"),
    "rework": ("new", "shelf", "bench", "out"),
    "scrap": ("new", "shelf", "bench", "out"),
}
_TO: Final[dict[EventType, State]] = {
    "shelve": "shelf",
    "send": "out",
    "rework": "shelf",
    "scrap": "scrapped",
}
_WORDS: Final[dict[State, str]] = {
    "new": "is new and was never fitted",
    "shelf": "is on the shelf",
    "fitted": "is fitted",
    "bench": "is on the bench",
    "out": "is out for rework",
    "scrapped": "is scrapped",
}
Seat = tuple[str, str]
"""Press and position."""


class Entry(NamedTuple):
    """An event with its rank among events of equal `at`: the entry it corrects, else its own."""

    event: ToolEvent
    place: int

    @property
    def order(self) -> tuple[datetime, int, bool]:
        """Time, then entry; a pull that a fit implies comes just before that fit."""
        return (self.event.at, self.place, self.event.implied_by is None)


@dataclass(slots=True)
class Fit:
    """One stretch of a tool in one seat.

    event: the fit (or service) that began it.  ordinal: of the tool, from 0.  life: reworks before.
    chain: the event at whose time `base` was the tool's strokes since rework; later stretches of
    the same life add their runs to it.  base: None where nobody knows.  pull: the event that ended
    it; a fit with `replaces` or a service may end it too.  margin: by how much `base` may be off.
    """

    event: ToolEvent
    kind: str
    ordinal: int
    life: int
    chain: UUID
    base: int | None
    size_mm: float | None
    pull: ToolEvent | None = None
    reason: Reason | None = None
    margin: int = 0

    @property
    def seat(self) -> Seat:
        """Press and position of this stretch."""
        return seat_of(self.event)


@dataclass(slots=True)
class ToolNow:
    """A tool after the last event: state, size, reworks so far, promised return, its stretches."""

    tool: Tool
    state: State = "new"
    size_mm: float | None = None
    life: int = 0
    back_at: datetime | None = None
    last: ToolEvent | None = None
    fits: list[Fit] = field(default_factory=list)

    @property
    def sits(self) -> Fit | None:
        """The stretch it is in, while fitted."""
        return self.fits[-1] if self.state == "fitted" else None

    def __str__(self) -> str:
        since = "" if self.last is None else f" since the {self.last}"
        return f"{self.tool.serial} {_WORDS[self.state]}{since}"


@dataclass(slots=True)
class Ledger:
    """What follows from the events: each tool's end, and the seat that each pull emptied."""

    tools: dict[str, ToolNow]
    seats: dict[Seat, ToolNow]
    pulled: dict[UUID, list[Fit]]

    @property
    def fits(self) -> list[Fit]:
        """All stretches, tool by tool in order."""
        return [fit for tool in self.tools.values() for fit in tool.fits]


def seat_of(event: ToolEvent) -> Seat:
    """Press and position of a fit or service. Raises ValueError for one that has none."""
    if event.type == "service" and event.press is not None:
        return (event.press, PRESS_POSITION)
    if event.press is None or event.position is None:
        raise ValueError(f"no seat in the {event}")
    return (event.press, event.position)


def replay(
    entries: Iterable[Entry],
    tools: Mapping[str, Tool],
    kinds: Mapping[str, str],
    new: frozenset[UUID] = frozenset(),
) -> Ledger:
    """Play the events that stand (none corrected, none void) in order.

    tools: every tool named.  kinds: the kind that each position takes.  new: the events just
    entered; a reason missing there is a wrong field, elsewhere a contradiction.
    Raises Contradiction naming what stands against an event; BadField for an unknown serial or
    position.
    """
    player = _Player(sorted(entries, key=lambda entry: entry.order), tools, kinds, new)
    for entry in player.entries:
        try:
            player.play(entry.event)
        except BadField as fault:
            raise BadEvent(entry.event, fault) from fault
    return player.ledger


class _Player:
    def __init__(
        self,
        entries: Sequence[Entry],
        tools: Mapping[str, Tool],
        kinds: Mapping[str, str],
        new: frozenset[UUID],
    ) -> None:
        self.entries, self._known, self._kinds, self._new = entries, tools, kinds, new
        self.ledger = Ledger({}, {}, {})

    def play(self, event: ToolEvent) -> None:
        if event.type == "service":
            self._service(event)
        elif event.type == "fit":
            self._fit(event, self._tool(event.serial))
        elif event.type == "pull":
            self._pull(event, self._tool(event.serial))
        else:
            self._move(event, self._tool(event.serial))

    def _tool(self, serial: str) -> ToolNow:
        found = self.ledger.tools.get(serial)
        if found is None:
            tool = self._known.get(serial)
            if tool is None:
                raise BadField("serial", serial, "the serial of a registered tool")
            found = self.ledger.tools[serial] = ToolNow(tool, size_mm=tool.size_mm)
        return found

    def _fit(self, event: ToolEvent, tool: ToolNow) -> None:
        seat = seat_of(event)
        self._check_kind(event, tool.tool)
        self._check_state(event, tool)
        held = self.ledger.seats.get(seat)
        if held is not None:
            self._replace(event, held)
        self._seat(event, tool, seat)

    def _check_kind(self, event: ToolEvent, tool: Tool) -> None:
        wanted = self._kinds.get(event.position or "")
        if wanted is None:
            raise BadField("position", event.position, "a position that GET /positions lists")
        if wanted != tool.kind:
            raise Contradiction(
                f"{event.position} takes the kind {wanted}; {tool.serial} is a {tool.kind}",
                field="serial",
            )

    def _check_state(self, event: ToolEvent, tool: ToolNow) -> None:
        if tool.state not in _FROM[event.type]:
            raise Contradiction(f"{tool}; that stands against the {event}")

    def _replace(self, event: ToolEvent, held: ToolNow) -> None:
        if not event.replaces:
            raise Contradiction(
                f"{held}; that stands against the {event}, unless it says replaces: true"
            )
        if event.reason is None and event.id in self._new:
            allowed = "one of " + ", ".join(REASONS)
            raise BadField("reason", None, f"{allowed}: why {held.tool.serial} comes out")
        if event.reason is None:
            raise Contradiction(f"the {event} would pull {held.tool.serial} and gives no reason")
        self._end(held, event, event.reason)

    def _seat(self, event: ToolEvent, tool: ToolNow, seat: Seat) -> None:
        before = tool.fits[-1] if tool.fits else None
        chain, base, margin = _base(event, tool, before)
        fit = Fit(event, tool.tool.kind, len(tool.fits), tool.life, chain, base, tool.size_mm)
        fit.margin = margin
        tool.fits.append(fit)
        tool.state, tool.last = "fitted", event
        self.ledger.seats[seat] = tool

    def _end(self, tool: ToolNow, event: ToolEvent, reason: Reason) -> None:
        fit = tool.fits[-1]
        fit.pull, fit.reason = event, reason
        tool.state, tool.last = "bench", event
        del self.ledger.seats[fit.seat]
        self.ledger.pulled.setdefault(event.id, []).append(fit)

    def _pull(self, event: ToolEvent, tool: ToolNow) -> None:
        sits = tool.sits
        if sits is None:
            later = self._fitted_later(event)
            raise Contradiction(f"{tool}{later}; that stands against the {event}")
        press, position = sits.seat
        if (event.press or press, event.position or position) != sits.seat:
            raise Contradiction(f"{tool}; that stands against the {event}")
        if event.reason is None:
            raise Contradiction(f"the {event} gives no reason", field="reason")
        self._end(tool, event, event.reason)

    def _fitted_later(self, pull: ToolEvent) -> str:
        for event, _ in self.entries:
            if event.serial == pull.serial and event.type == "fit" and event.at > pull.at:
                return f" and is fitted only at {format_time(event.at)}, by the {event}"
        return ""

    def _move(self, event: ToolEvent, tool: ToolNow) -> None:
        self._check_state(event, tool)
        if event.type == "rework":
            # What size it came back in is what the event says, and unknown where it says nothing.
            tool.life, tool.size_mm = tool.life + 1, event.size_mm
        elif event.type == "shelve" and event.size_mm is not None:
            tool.size_mm = event.size_mm
        tool.back_at = event.back_at if event.type == "send" else None
        tool.state, tool.last = _TO[event.type], event

    def _service(self, event: ToolEvent) -> None:
        """The press's own life begins anew; its first known life begins at its first service."""
        seat = seat_of(event)
        own = self.ledger.tools.setdefault(seat[0], ToolNow(Tool(seat[0], PRESS_POSITION)))
        if own.sits is not None:
            self._end(own, event, event.reason or "planned")
            own.life += 1
        self._seat(event, own, seat)


def _base(event: ToolEvent, tool: ToolNow, before: Fit | None) -> tuple[UUID, int | None, int]:
    """The anchor of the tool's age, its strokes there (stated, carried on, or zero), the margin."""
    if event.before_unknown:
        return event.id, None, 0
    if event.strokes_before is not None:
        return event.id, event.strokes_before, event.before_margin or 0
    if before is not None and before.life == tool.life:
        return before.chain, before.base, before.margin
    return event.id, 0, 0

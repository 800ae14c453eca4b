"""A plant's records taken in from its spreadsheets: all or none, once however often sent."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Final, Literal, TypeVar

from duestroke.adoption import Record, Refusal, refusal_order
from duestroke.errors import BadField, Contradiction
from duestroke.ledger import ToolEvent
from duestroke.lives import Life
from duestroke.names import PRESS_POSITION
from duestroke.times import format_time
from store.adopted import differing, event_of, inspection_of, life_of, settings_of
from store.bulk_ledger import add_inspections
from store.inspections import Inspection
from store.positions import Position
from store.sql import named_queries
from store.unit import Unit

SQL: Final = named_queries("adoption.sql")
T = TypeVar("T")
Pair = tuple[Record, T]
_FIRST: Final = {"presses": "press", "tools": "serial", "fits": "serial"}
_COLUMNS: Final = {
    "strokes_before": "strokes",
    "strokes_before_margin": "strokes",
    "reading_limit": "limit",
    "entry_strokes_low": "entry_strokes",
}


@dataclass(slots=True)
class Outcome:
    """What came of it. made, known: rows by sheet that were new, and that were there already.

    refusals: every cell that cannot stand, by sheet and row.  notes: what should be looked at.
    """

    made: Counter[str] = field(default_factory=Counter)
    known: Counter[str] = field(default_factory=Counter)
    refusals: list[Refusal] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def count(self, record: Record, *, is_new: bool) -> None:
        """One more row of a sheet."""
        (self.made if is_new else self.known)[record.sheet] += 1


class Adoption:
    """Takes records in. The caller owns the transaction, and rolls it back where any is refused."""

    def __init__(self, unit: Unit, *, by: str, now: datetime) -> None:
        self._unit, self._by, self._now = unit, by, now
        self._positions: Mapping[str, Position] = unit.positions.by_name()
        self._held: set[str] = set()
        self._press_zones: dict[str, str] = {}
        self._tool_zones: dict[str, str] = {}
        self.outcome = Outcome()

    def take_in(self, records: Sequence[Record], refused: Sequence[Refusal] = ()) -> Outcome:
        """Take in rows of all sheets.

        refused: cells that could not be read.  A row that rests on a press or a tool whose own row
        was refused is not judged: it may well be right.
        """
        self.outcome.refusals += refused
        for record in _of("presses", records):
            self._one(record, partial(self._press, record))
        self._press_zones = self._zones("zones", "name")
        for record in _of("tools", records):
            self._one(record, partial(self._tool, record))
        self._fits(self._ready("fits", records, event_of))
        self._tool_zones = self._zones("zones_of_tools", "serial")
        self._lives(self._ready("lives", records, life_of))
        self._looks(self._ready("inspections", records, inspection_of))
        self.outcome.refusals.sort(key=refusal_order)
        return self.outcome

    def hold(self, names: Sequence[str]) -> None:
        """Presses and serials whose own rows could not be read."""
        self._held |= set(names)

    def _ready(
        self, sheet: str, records: Sequence[Record], make: Callable[[Record, str], T]
    ) -> list[Pair[T]]:
        """Rows of a sheet as our own records; those that cannot be are refused."""
        found: list[Pair[T]] = []
        for record in _of(sheet, records):
            if not self._held.isdisjoint((record.said.get("press"), record.said.get("serial"))):
                continue
            try:
                found.append((record, make(record, self._zone(record))))
            except BadField as fault:
                self._refuse(record, fault)
        return found

    def _zone(self, record: Record) -> str:
        """The zone of the press, else of the tool's press, else the one that all presses share."""
        press, serial = record.said.get("press", ""), record.said.get("serial", "")
        known = self._press_zones.get(press) or self._tool_zones.get(serial)
        shared = set(self._press_zones.values())
        return known or (shared.pop() if len(shared) == 1 else "UTC")

    def _zones(self, query: Literal["zones", "zones_of_tools"], key: str) -> dict[str, str]:
        return {row[key]: row["timezone"] for row in self._unit.conn.execute(SQL[query])}

    def _one(self, record: Record, take: Callable[[], bool]) -> None:
        try:
            with self._unit.conn.transaction():
                is_new = take()
        except (BadField, Contradiction) as fault:
            self._refuse(record, fault)
        else:
            self.outcome.count(record, is_new=is_new)

    def _refuse(self, record: Record, fault: BadField | Contradiction) -> None:
        reason = f"allowed is {fault.allowed}" if isinstance(fault, BadField) else fault.against
        column = _COLUMNS.get(fault.field or "", fault.field or "")
        if column not in record.said:
            column = _FIRST.get(record.sheet, "serial")
        self.outcome.refusals.append(record.refused(column, reason))
        if record.sheet in ("presses", "tools"):
            self._held.add(record.said[_FIRST[record.sheet]])

    def _press(self, record: Record) -> bool:
        name, stated = record.values["press"], settings_of(record)
        known = self._unit.presses.get(name)
        if known is None:
            return self._unit.presses.register(name, stated, by=self._by)
        other = differing(stated, known)
        if other is not None:
            stands = getattr(known, other)
            raise Contradiction(f"{name} is registered with {stands} already", field=other)
        return False

    def _tool(self, record: Record) -> bool:
        given = record.values
        kinds = {p.kind for p in self._positions.values() if p.position != PRESS_POSITION}
        if given["kind"] not in kinds:
            raise BadField("kind", given["kind"], "one of " + ", ".join(sorted(kinds)))
        _, is_new = self._unit.tools.add(
            given["serial"],
            given["kind"],
            batch=given.get("batch"),
            size_mm=given.get("size_mm"),
            note=given.get("note"),
            by=self._by,
            at=self._now,
        )
        return is_new

    def _fits(self, pairs: list[Pair[ToolEvent]]) -> None:
        """All at once where nothing stands against it; else one by one, to name each that does."""
        known = self._known("known_events", [str(event.id) for _, event in pairs])
        ordered = sorted(pairs, key=lambda pair: pair[1].at)
        try:
            with self._unit.conn.transaction():
                self._enter([event for _, event in ordered])
        except (BadField, Contradiction):
            for record, event in ordered:
                self._one(record, partial(self._enter, [event]))
        else:
            for record, event in ordered:
                self.outcome.count(record, is_new=str(event.id) not in known)

    def _enter(self, events: Sequence[ToolEvent]) -> bool:
        recorded = self._unit.ledger.record(events, by=self._by, now=self._now, is_taken_over=True)
        self.outcome.notes += [
            f"{event.serial}: {word}"
            for event in events
            for word in recorded.warnings.get(event.id, [])
        ]
        return recorded.made

    def _lives(self, pairs: list[Pair[Life]]) -> None:
        known = self._known("known_lives", [life.id for _, life in pairs])
        kept = [pair for pair in pairs if self._is_placed(*pair)]
        self._unit.lives.add([life for _, life in kept], by=self._by, at=self._now)
        for record, life in kept:
            self.outcome.count(record, is_new=life.id not in known)
        running = {life.serial for _, life in kept if life.end == "running"}
        self.outcome.notes += [
            f"{serial}: sits in {position} by the ledger, so its running life counts twice"
            for serial, position in sorted(self._unit.lives.running_here(sorted(running)))
        ]

    def _is_placed(self, record: Record, life: Life) -> bool:
        position = self._positions.get(life.position)
        if position is None:
            names = ", ".join(self._positions)
            self._refuse(record, BadField("position", life.position, f"one of {names}"))
        elif position.kind != life.kind:
            takes = f"{position.kind}, which {life.position} takes"
            self._refuse(record, BadField("kind", life.kind, takes))
        return position is not None and position.kind == life.kind

    def _looks(self, pairs: list[Pair[Inspection]]) -> None:
        rows = self._unit.conn.execute(SQL["serials"]).fetchall()
        serials = {row["serial"] for row in rows}
        known = self._known("known_inspections", [look.id for _, look in pairs])
        fresh: dict[str, Inspection] = {}
        for record, look in pairs:
            if look.serial not in serials:
                self._refuse(record, BadField("serial", look.serial, "a tool of the sheet tools"))
            elif look.at > self._now:
                allowed = f"not in the future (now {format_time(self._now)})"
                self._refuse(record, BadField("at", format_time(look.at), allowed))
            else:
                is_new = look.id not in known and look.id not in fresh
                self.outcome.count(record, is_new=is_new)
                if is_new:
                    fresh[look.id] = look
        self._add(sorted(fresh.values(), key=lambda look: look.at))

    def _add(self, looks: Sequence[Inspection]) -> None:
        add_inspections(self._unit.conn, looks, by=self._by, now=self._now)
        asked = [
            question.words
            for question in self._unit.questions.page(None, is_open=True)
            if question.inspection_id in {look.id for look in looks}
        ]
        self.outcome.notes += asked

    def _known(
        self,
        query: Literal["known_events", "known_lives", "known_inspections"],
        ids: Sequence[str],
    ) -> set[str]:
        rows = self._unit.conn.execute(SQL[query], {"ids": list(ids)}).fetchall()
        return {row["id"] for row in rows}


def _of(sheet: str, records: Sequence[Record]) -> list[Record]:
    return [record for record in records if record.sheet == sheet]

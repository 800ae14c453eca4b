"""The tool ledger: events entered and listed, and who sits where now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any, Final
from uuid import UUID

import psycopg
from psycopg.rows import DictRow

from duestroke.errors import Contradiction
from duestroke.ledger import Ledger, ToolEvent
from store import consequences, late, moves, recording, wake
from store.inspections import PgInspections
from store.ledger_rows import EventRow, Fitted, Stretch, event_row
from store.positions import PgPositions, Position
from store.sql import named_queries

SQL: Final = named_queries("ledger.sql")
EventKey = tuple[datetime, int, int, int]


@dataclass(frozen=True, slots=True)
class Recorded:
    """Events as stored, in the order sent.  made: at least one was new.  warnings: by event."""

    rows: list[EventRow]
    made: bool
    warnings: Mapping[UUID, list[str]]


class PgLedger:
    """The ledger. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def record(
        self,
        events: Sequence[ToolEvent],
        *,
        by: str,
        now: datetime,
        is_taken_over: bool = False,
    ) -> Recorded:
        """Enter events, judged together in the order given; sent again they change nothing.

        by: who enters them.  is_taken_over: they come out of another book, so nobody was shown
        here what they move.  Raises BadEvent for a wrong field (an `at` after `now` included) and
        Contradiction for what stands against the ledger; nothing is entered then.
        """
        wake.lock_ledger(self._conn)
        corrected = [event.corrects for event in events if event.corrects is not None]
        known = self.by_ids([*(event.id for event in events), *corrected])
        sent = {event.id for event in events}
        fresh = recording.sift(events, {k: row for k, row in known.items() if k in sent})
        recording.check_all(fresh, now)
        warnings: Mapping[UUID, list[str]] = {}
        if fresh:
            warnings = self._enter(fresh, known, by=by, now=now, is_shown=not is_taken_over)
        stored = self.by_ids([event.id for event in events])
        return Recorded([stored[event.id] for event in events], bool(fresh), warnings)

    def _enter(
        self,
        events: list[ToolEvent],
        known: Mapping[UUID, EventRow],
        *,
        by: str,
        now: datetime,
        is_shown: bool,
    ) -> dict[UUID, list[str]]:
        fresh = recording.number(self._conn, events, known)
        positions = PgPositions(self._conn).by_name()
        touched = recording.load(self._conn, fresh, known)
        kinds = {name: position.kind for name, position in positions.items()}
        ledger = recording.judge(fresh, touched, kinds)
        shown = self._shown(touched, now) if is_shown else {}
        changed = consequences.save(self._conn, fresh, touched, ledger, by=by, now=now)
        changed |= {event.serial for event in events}
        PgInspections(self._conn).reseat(sorted(changed), now)
        if shown:
            why = late.cause_of(events, known, by=by, now=now)
            after = moves.of_serials(self._conn, sorted(touched.serials), now)
            moves.keep(self._conn, moves.renamed(shown, _successors(events)), after, why)
        wake.wake(self._conn, {"ledger": sorted(changed)})
        warnings = _warnings(events, ledger, positions)
        for event in events:
            warnings[event.id] += self._age_words(event)
        return warnings

    def _shown(self, touched: recording.Touched, now: datetime) -> moves.Figures:
        """The figures that the new events may move, where any was there to be seen before."""
        if all(row.entered_at >= now for row in touched.standing):
            return {}
        locked = {"ids": sorted(set(touched.presses.values()))}
        self._conn.execute(SQL["lock_presses"], locked)
        return moves.of_serials(self._conn, sorted(touched.serials), now)

    def _age_words(self, event: ToolEvent) -> list[str]:
        """Where a fit states another age than the ledger knows."""
        if event.type != "fit" or event.strokes_before is None:
            return []
        stretches = self.stretches(event.serial)
        for before, here in pairwise(stretches):
            known = before.strokes if before.life == here.life else 0
            if here.id == event.id and known not in (None, event.strokes_before):
                return [f"the ledger knows {known} strokes of {event.serial} before this fit"]
        return []

    def by_ids(self, ids: Sequence[UUID]) -> dict[UUID, EventRow]:
        """Events on record by id; unknown ids are left out."""
        rows = self._conn.execute(SQL["by_ids"], {"ids": list(ids)}).fetchall()
        return {row["id"]: event_row(row) for row in rows}

    def page(
        self,
        limit: int | None,
        *,
        press: str | None = None,
        serial: str | None = None,
        frm: datetime | None = None,
        to: datetime | None = None,
        after: EventKey | None = None,
    ) -> list[EventRow]:
        """Up to `limit` events by time, corrected ones included, in the window [frm, to)."""
        values: dict[str, Any] = {"press": press, "serial": serial, "from": frm, "to": to}
        names = ("after_at", "after_place", "after_rank", "after_entry")
        values |= dict(zip(names, after or (None,) * 4, strict=True))
        rows = self._conn.execute(SQL["page"], values | {"limit": limit}).fetchall()
        return [event_row(row) for row in rows]

    def stretches(self, serial: str) -> list[Stretch]:
        """A tool's stretches in order, with the strokes that each ran."""
        rows = self._conn.execute(SQL["stretches"], {"serial": serial}).fetchall()
        return [Stretch(**row) for row in rows]

    def fitted(self, presses: Sequence[str] | None = None) -> list[Fitted]:
        """Every tool that sits in a press now (serviced presses themselves too), in one query."""
        values = {"presses": None if presses is None else list(presses)}
        return [Fitted(**row) for row in self._conn.execute(SQL["fitted"], values).fetchall()]


def _successors(events: Sequence[ToolEvent]) -> dict[str, str]:
    """Ids of corrected events to those of the events that stand for them."""
    return {
        str(event.corrects): str(event.id)
        for event in events
        if event.corrects is not None and not event.void
    }


def _warnings(
    events: Sequence[ToolEvent], ledger: Ledger, positions: Mapping[str, Position]
) -> dict[UUID, list[str]]:
    """What is taken all the same, but should be looked at."""
    sizes = {fit.event.id: fit.size_mm for fit in ledger.fits if fit.event.type == "fit"}
    found: dict[UUID, list[str]] = {}
    for event in events:
        words = [] if event.void else _move_words(event)
        if event.id in sizes:
            words.append(_size_words(event, sizes[event.id], positions))
        found[event.id] = [word for word in words if word is not None]
    return found


def _move_words(event: ToolEvent) -> list[str | None]:
    if event.type == "rework" and event.size_mm is None:
        return [f"{event.serial} came back without a size: it serves where any size does"]
    if event.type not in ("rework", "shelve") and event.size_mm is not None:
        return ["size_mm counts only with rework or shelve: the tool's size stays as it was"]
    return []


def _size_words(
    event: ToolEvent, size_mm: float | None, positions: Mapping[str, Position]
) -> str | None:
    if event.position is None or event.press is None:
        raise Contradiction(f"the {event} has no place")
    wanted = positions[event.position].size_for(event.press)
    if wanted.size_mm is None:
        return None
    place = f"{event.position} of {event.press} asks for {wanted.size_mm} mm"
    if size_mm is None:
        return f"{place}; the size of {event.serial} is not on record"
    tolerance = wanted.size_tolerance_mm
    if tolerance is None or abs(size_mm - wanted.size_mm) <= tolerance + 1e-9:
        return None
    return f"{place} within {tolerance} mm; {event.serial} has {size_mm} mm"

"""Inspections: a verdict or a reading of a tool, and the strokes it had then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from typing import Any, Final, Literal

import psycopg
from psycopg.rows import DictRow

from duestroke.errors import BadField, Contradiction
from duestroke.ledger.readings import is_of_set
from duestroke.times import format_time
from store import wake
from store.questions import PgQuestions
from store.sql import named_queries
from store.strokes import totals_at

SQL: Final = named_queries("inspections.sql")
Verdict = Literal["good", "worn"]
MOST_READING: Final = 1e9
LEAST_LIMIT: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspection:
    """One inspection as entered.

    serial: a tool's, or a press's own name.  value: change since fit or rework, or whatever
    `quantity` says, in `unit`; reading_limit: value at which the tool comes out; uncertainty:
    half-width of the reading's 95 % range.  corrects: the inspection that this one stands for;
    with `void` it only takes that one back.
    """

    id: str
    serial: str
    at: datetime
    verdict: Verdict | None = None
    quantity: str | None = None
    value: float | None = None
    unit: str | None = None
    reading_limit: float | None = None
    uncertainty: float | None = None
    by: str | None = None
    note: str | None = None
    corrects: str | None = None
    void: bool = False


@dataclass(frozen=True, slots=True)
class InspectionRow:
    """An inspection on record. press, position: where the tool was, or had last been.

    press_strokes: the press's total then, at most that at the pull.  of_set: the quantity is made
    by several tools together.  share: of its limit used up; None where it has none, is of a set,
    does not stand, or is in question.
    """

    inspection: Inspection
    entry: int
    corrected_by: str | None
    entered_at: datetime
    entered_by: str
    press: str | None
    position: str | None
    press_strokes: int | None
    of_set: bool
    share: float | None


class PgInspections:
    """Inspections. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def record(
        self, inspection: Inspection, *, by: str, now: datetime
    ) -> tuple[InspectionRow, bool]:
        """The inspection as stored, and whether it is new; the same one again changes nothing.

        Raises BadField for an unknown serial, an `at` after `now` or neither verdict nor reading;
        Contradiction for an id that is another's and for what cannot be corrected.
        """
        wake.lock_ledger(self._conn)
        known = self.get(inspection.id)
        if known is not None:
            return _same(known, inspection), False
        old = self._check(inspection, now)
        serials = sorted({inspection.serial, inspection.serial if old is None else old.serial})
        self._conn.execute(SQL["lock_press"], {"serial": inspection.serial})
        self._conn.execute(SQL["insert"], values_of(inspection, by=by, now=now))
        if inspection.corrects is not None:
            marked = {"id": inspection.corrects, "by": inspection.id}
            self._conn.execute(SQL["mark_corrected"], marked)
        self.reseat(serials, now)
        wake.wake(self._conn, {"ledger": serials})
        stored = self.get(inspection.id)
        if stored is None:
            raise Contradiction(f"the inspection {inspection.id} could not be read back")
        return stored, True

    def _check(self, given: Inspection, now: datetime) -> Inspection | None:
        """What it corrects, if anything. Raises BadField or Contradiction."""
        if given.at > now:
            raise BadField("at", format_time(given.at), f"not in the future ({format_time(now)})")
        row = self._conn.execute(SQL["is_serial"], {"serial": given.serial}).fetchone()
        if row is None or not row["known"]:
            raise BadField("serial", given.serial, "the serial of a registered tool, or a press")
        if given.void and given.corrects is None:
            raise BadField("corrects", None, "the id of the inspection to take back, with void")
        if not given.void:
            check_reading(given)
        if given.corrects is None:
            return None
        old = self._corrected(given.corrects)
        if given.void and given.serial != old.serial:
            raise Contradiction(
                f"the inspection {old.id} is of {old.serial}, not of {given.serial}", field="serial"
            )
        return old

    def _corrected(self, inspection_id: str) -> Inspection:
        old = self.get(inspection_id)
        if old is None:
            raise BadField("corrects", inspection_id, "the id of an inspection")
        if old.corrected_by is not None:
            raise Contradiction(
                f"the inspection {inspection_id} was corrected already, by {old.corrected_by}",
                field="corrects",
            )
        if old.inspection.void:
            raise Contradiction(
                f"the inspection {inspection_id} takes another back: enter that one anew instead",
                field="corrects",
            )
        return old.inspection

    def get(self, inspection_id: str) -> InspectionRow | None:
        """One inspection by id."""
        row = self._conn.execute(SQL["get"], {"id": inspection_id}).fetchone()
        return None if row is None else _row(row)

    def page(
        self,
        limit: int | None,
        *,
        serial: str | None = None,
        press: str | None = None,
        frm: datetime | None = None,
        to: datetime | None = None,
        after: tuple[datetime, int] | None = None,
    ) -> list[InspectionRow]:
        """Up to `limit` inspections by time, corrected ones included, in the window [frm, to)."""
        after_at, after_entry = after or (None, None)
        values = {"serial": serial, "press": press, "from": frm, "to": to, "limit": limit}
        values |= {"after_at": after_at, "after_entry": after_entry}
        return [_row(row) for row in self._conn.execute(SQL["page"], values).fetchall()]

    def reseat(self, serials: Sequence[str], now: datetime) -> None:
        """Tie these tools' inspections to the stretches as they are now, with their strokes.

        What their readings ask is asked anew.

        The caller holds the ledger's lock and the row locks of the presses concerned.
        """
        values = {"serials": list(serials)}
        self._conn.execute(SQL["unseat"], values)
        rows = self._conn.execute(SQL["reseat"], values).fetchall()
        totals = totals_at(self._conn, [(row["press_id"], row["strokes_at"]) for row in rows])
        if rows:
            moved = {"ids": [row["id"] for row in rows], "strokes": list(totals)}
            self._conn.execute(SQL["set_strokes"], moved)
        PgQuestions(self._conn).refresh(serials, now)


def values_of(inspection: Inspection, *, by: str, now: datetime) -> dict[str, Any]:
    """A row of the table."""
    entered = {"entered_at": now, "entered_by": by, "of_set": is_of_set(inspection.quantity)}
    return asdict(inspection) | entered


_FIELDS: Final = tuple(field.name for field in fields(Inspection))


def _content(inspection: Inspection) -> dict[str, Any]:
    said = asdict(inspection) | {"at": format_time(inspection.at)}
    return {name: value for name, value in said.items() if value is not None and value is not False}


def check_reading(given: Inspection) -> None:
    """Raises BadField where an inspection says too little, or a figure that cannot be."""
    # Within these bounds the share of the limit that is used up is always a number.
    if given.value is not None and not abs(given.value) <= MOST_READING:
        raise BadField("value", given.value, f"from -{MOST_READING:g} to {MOST_READING:g}")
    limit = given.reading_limit
    if limit is not None and not LEAST_LIMIT <= abs(limit) <= MOST_READING:
        raise BadField("limit", limit, f"{LEAST_LIMIT:g} to {MOST_READING:g} above or below 0")
    said = (given.quantity, given.unit, given.uncertainty)
    if given.value is None and any(one is not None for one in said):
        raise BadField("value", None, "the value that was read")
    if given.verdict is None and given.value is None:
        raise BadField("verdict", None, "good or worn, or else a reading: quantity, value, unit")
    if given.value is not None and given.quantity is None:
        raise BadField("quantity", None, "what was read, such as bore")
    if given.value is not None and given.unit is None:
        raise BadField("unit", None, "the unit of the value, such as um")
    if given.uncertainty is not None and not 0 <= given.uncertainty <= MOST_READING:
        raise BadField("uncertainty", given.uncertainty, f"0 to {MOST_READING:g}, in the same unit")


def _same(known: InspectionRow, again: Inspection) -> InspectionRow:
    if _content(known.inspection) != _content(again):
        raise Contradiction(f"another inspection has the id {again.id}", field="id")
    return known


def _row(row: Mapping[str, Any]) -> InspectionRow:
    return InspectionRow(
        inspection=Inspection(**{name: row[name] for name in _FIELDS}),
        entry=row["entry"],
        corrected_by=row["corrected_by"],
        entered_at=row["entered_at"],
        entered_by=row["entered_by"],
        press=row["press"],
        position=row["position"],
        press_strokes=row["press_strokes"],
        of_set=row["of_set"],
        share=row["share"],
    )

"""Presses: settings, counting rules that change, and their record counted anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow

from duestroke.counting.insert import recount
from duestroke.counting.judge import most_plausible
from duestroke.counting.types import Rule
from duestroke.errors import Contradiction
from duestroke.times import to_micros
from store.moves import Why
from store.records import rules_by_press
from store.recount import LockedPress, recounted
from store.rows import NEVER_AT
from store.sql import named_queries
from store.standing import standing_since
from store.strokes import totals_at
from store.wake import wake

SQL: Final = named_queries("presses.sql")
INTAKE: Final = named_queries("intake.sql")
_RATE_WINDOW: Final = timedelta(minutes=10)


@dataclass(frozen=True)
class Settings:
    """What is known of a press; None in a change keeps what stands."""

    modulus: int | None = None
    max_spm: int | None = None
    timezone: str | None = None
    crank_radius_mm: float | None = None
    rod_length_mm: float | None = None


@dataclass(frozen=True)
class LastReading:
    """The last reading in counting order."""

    boot: str
    seq: int
    at: datetime
    strokes: int
    peak_speed_mps: float | None
    peak_accel_mps2: float | None


@dataclass(frozen=True)
class PressRow:
    """A press as it stands. `strokes_per_minute` over the last ten minutes of its record."""

    id: int
    name: str
    modulus: int
    max_spm: int
    timezone: str
    crank_radius_mm: float | None
    rod_length_mm: float | None
    registered_at: datetime
    state: str
    state_at: datetime | None
    last_report: LastReading | None
    latest_at: datetime | None
    received_at: datetime | None
    strokes: int
    missing: int
    strokes_per_minute: float
    counter_stands_since: datetime | None

    @property
    def not_counted_at_most(self) -> int:
        """Strokes that may have run since the counter stands still, up to the last report."""
        if self.counter_stands_since is None or self.latest_at is None:
            return 0
        elapsed = to_micros(self.latest_at) - to_micros(self.counter_stands_since)
        return most_plausible(Rule(self.modulus, self.max_spm), elapsed)


class PgPresses:
    """Presses. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def get(self, press: str) -> PressRow | None:
        """One press, or None."""
        rows = self._rows({"after": None, "name": press, "limit": 1})
        return rows[0] if rows else None

    def page(self, limit: int = 100, after: str | None = None) -> list[PressRow]:
        """Presses by name; `after` is the last name seen."""
        return self._rows({"after": after, "name": None, "limit": limit})

    def register(
        self,
        press: str,
        change: Settings,
        *,
        since: datetime | None = None,
        by: str = "settings",
    ) -> bool:
        """Register a press (True) or change it (False). Readings still kept are counted anew.

        since: a change of modulus or max_spm holds for the boots that begin at or after it.
        by: who changes it, as the figures say that move with it.
        Raises Contradiction when a kept reading does not fit the new modulus.
        """
        values = {
            "name": press,
            "timezone": change.timezone or "UTC",
            "crank_radius_mm": change.crank_radius_mm,
            "rod_length_mm": change.rod_length_mm,
        }
        made = self._conn.execute(SQL["add_press"], values).fetchone()
        if made is not None:
            rule = Rule(change.modulus or Rule().modulus, change.max_spm or Rule().max_spm)
            self._conn.execute(SQL["add_state"], {"press": made["id"]})
            self._conn.execute(SQL["put_rule"], [made["id"], NEVER_AT, *rule])
            wake(self._conn, {"presses": [press]})
            return True
        with recounted(self._conn, press) as found:
            self._change(found, change)
            if change.modulus is not None or change.max_spm is not None:
                self._change_rules(found, change, since or NEVER_AT, by)
        wake(self._conn, {"presses": [press]})
        return False

    def _change(self, found: LockedPress, change: Settings) -> None:
        held = self._conn.execute(SQL["settings_of"], {"name": found.name}).fetchone()
        if held is None:
            raise KeyError(found.name)
        kept = ("timezone", "crank_radius_mm", "rod_length_mm")
        values = {
            name: held[name] if getattr(change, name) is None else getattr(change, name)
            for name in kept
        }
        self._conn.execute(SQL["change_press"], values | {"press": found.id})
        if values["timezone"] != held["timezone"]:
            found.days_of(values["timezone"])

    def _change_rules(self, found: LockedPress, change: Settings, since: datetime, by: str) -> None:
        if change.modulus is not None:
            values = {"press": found.id, "from": since, "modulus": change.modulus}
            misfit = self._conn.execute(SQL["misfit"], values).fetchone()
            if misfit is not None:
                raise Contradiction(
                    f"boot {misfit['boot']}, seq {misfit['seq']} reports {misfit['strokes']} "
                    f"strokes, which a modulus of {change.modulus} does not hold",
                    field="modulus",
                )
        rows = self._conn.execute(INTAKE["rules_of"], {"presses": [found.id]}).fetchall()
        rules = {row["valid_from"]: Rule(row["modulus"], row["max_spm"]) for row in rows}
        held = max((at for at in rules if at <= since), default=min(rules))
        rules.setdefault(since, rules[held])
        for at, rule in rules.items():
            if at >= since:
                rules[at] = Rule(change.modulus or rule.modulus, change.max_spm or rule.max_spm)
        self._conn.execute(SQL["drop_rules"], {"press": found.id})
        with self._conn.cursor() as cursor:
            cursor.executemany(SQL["put_rule"], [(found.id, at, *r) for at, r in rules.items()])
        changes = rules_by_press(self._conn.execute(INTAKE["rules_of"], {"presses": [found.id]}))
        why = Why("rule", None, "modulus or max_spm of the press changed", None, by)
        found.apply(lambda record, stored: recount(record, stored, rules=changes[found.id]), why)

    def _rows(self, values: Mapping[str, Any]) -> list[PressRow]:
        rows = self._conn.execute(SQL["page"], values).fetchall()
        moving = [row for row in rows if row["latest_at"] is not None]
        before = totals_at(
            self._conn, [(row["id"], row["latest_at"] - _RATE_WINDOW) for row in moving]
        )
        since = {row["id"]: total for row, total in zip(moving, before, strict=True)}
        standing = standing_since(self._conn, [row["name"] for row in rows])
        return [_press_row(row, since.get(row["id"], 0), standing) for row in rows]


def _press_row(
    row: Mapping[str, Any], ten_minutes_ago: int, standing: Mapping[str, datetime]
) -> PressRow:
    last = None
    if row["boot"] is not None:
        last = LastReading(
            row["boot"],
            row["seq"],
            row["at"],
            row["strokes"],
            row["peak_speed_mps"],
            row["peak_accel_mps2"],
        )
    return PressRow(
        row["id"],
        row["name"],
        row["modulus"],
        row["max_spm"],
        row["timezone"],
        row["crank_radius_mm"],
        row["rod_length_mm"],
        row["registered_at"],
        row["status"] or "unknown",
        row["status_at"],
        last,
        row["latest_at"],
        row["received_at"],
        row["total"],
        row["missing"],
        _rate(row, ten_minutes_ago),
        standing.get(row["name"]),
    )


def _rate(row: Mapping[str, Any], ten_minutes_ago: int) -> float:
    """Strokes a minute over the last ten minutes of the record, or over all of a shorter one."""
    if row["latest_at"] is None or row["latest_at"] <= row["first_at"]:
        return 0.0
    window = min(row["latest_at"] - row["first_at"], _RATE_WINDOW)
    return float((row["total"] - ten_minutes_ago) / (window / timedelta(minutes=1)))

"""Shift plans of sites, as they were said."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any, Final
from zoneinfo import ZoneInfo

import psycopg
from psycopg.rows import DictRow
from psycopg.types.json import Jsonb

from duestroke.shifts import WEEKDAYS, Rota, Shift, ShiftPlan
from store.sql import named_queries

SQL: Final = named_queries("shifts.sql")


@dataclass(frozen=True, slots=True)
class SitePlan:
    """A site's shifts, with who said so and when."""

    site: str
    plan: ShiftPlan
    entered_at: datetime
    entered_by: str


class PgShifts:
    """Shift plans. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def put(self, given: SitePlan) -> bool:
        """Set a site's plan; True when it had none."""
        known = self.get(given.site)
        values = {"site": given.site, "content": Jsonb(content_of(given.plan))}
        entered = {"entered_at": given.entered_at, "entered_by": given.entered_by}
        self._conn.execute(SQL["put"], values | entered)
        return known is None

    def get(self, site: str) -> SitePlan | None:
        """A site's plan."""
        rows = self.page(1, site=site)
        return rows[0] if rows else None

    def page(
        self, limit: int, *, site: str | None = None, after: str | None = None
    ) -> list[SitePlan]:
        """Up to `limit` plans by site, after the site `after`."""
        values = {"site": site, "after": after, "limit": limit}
        return [
            SitePlan(row["site"], plan_of(row["content"]), row["entered_at"], row["entered_by"])
            for row in self._conn.execute(SQL["page"], values)
        ]


def content_of(plan: ShiftPlan) -> dict[str, Any]:
    """A plan as plain JSON content; the time zone is an IANA name."""
    shifts = [
        {
            "from": f"{shift.begins:%H:%M}",
            "to": f"{shift.ends:%H:%M}",
            "days": [WEEKDAYS[day] for day in sorted(shift.days)],
        }
        for shift in plan.shifts
    ]
    rota = None
    if plan.rota is not None:
        crews = [list(names) for names in plan.rota.crews]
        rota = {"from": plan.rota.start.isoformat(), "crews": crews}
    return {"timezone": str(plan.zone), "shifts": shifts, "rota": rota}


def plan_of(content: dict[str, Any]) -> ShiftPlan:
    """A plan from its content, as `content_of` gives it. Raises BadField and ValueError."""
    shifts = tuple(
        Shift(
            time.fromisoformat(shift["from"]),
            time.fromisoformat(shift["to"]),
            frozenset(WEEKDAYS.index(day) for day in shift["days"]),
        )
        for shift in content["shifts"]
    )
    rota = content["rota"]
    if rota is not None:
        crews = tuple(tuple(names) for names in rota["crews"])
        rota = Rota(date.fromisoformat(rota["from"]), crews)
    return ShiftPlan(ZoneInfo(content["timezone"]), shifts, rota)

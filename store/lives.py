"""Lives that the inference uses: what follows from the ledger, and past ones typed in."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow
from psycopg.types.json import Jsonb

from duestroke.errors import Contradiction
from duestroke.lives import Life, WearReading
from duestroke.times import format_time
from store import wake
from store.sql import named_queries

SQL: Final = named_queries("lives.sql")
NEAR_LIMIT: Final = 0.7
"""Share of its limit above which a tool pulled as planned was close to its end."""

Readings = tuple[WearReading, ...]

_FIELDS: Final = tuple(field.name for field in fields(Life))
_NOT_TYPED_IN: Final = ("id", "source", "life_number", "mean_roughness", "readings")
_CONTENT: Final = tuple(name for name in _FIELDS if name not in _NOT_TYPED_IN)


@dataclass(frozen=True, slots=True)
class Ends:
    """Stretches of one kind and position that ended, and how many were pulled near the limit."""

    planned_near_limit: int
    ends: int


@dataclass(frozen=True, slots=True)
class Stretch:
    """Where and when a tool sat; pulled_at: None while it does. id: that of its life."""

    id: str
    press: str
    fitted_at: datetime
    pulled_at: datetime | None


class PgLives:
    """Lives. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def for_inference(self, kind: str | None = None, position: str | None = None) -> list[Life]:
        """Every life used for inference, by id: of one kind and position, or all."""
        return self.page(None, kind=kind, position=position)

    def page(
        self,
        limit: int | None,
        *,
        kind: str | None = None,
        position: str | None = None,
        after: str | None = None,
        with_speeds: bool = False,
    ) -> list[Life]:
        """Up to `limit` lives by id, after the id `after`.

        Those of the ledger come with their wear as measured and their roughness as the last fit
        took it.  with_speeds: also with their mean peak speed, which moves with each day of a
        running tool.
        """
        values: dict[str, Any] = {"kind": kind, "position": position, "after": after}
        values |= {"limit": limit, "speeds": with_speeds, "chains": None}
        return self._lives(values)

    def of_serials(self, serials: Sequence[str]) -> list[Life]:
        """The lives of these tools that follow from the ledger, by id."""
        rows = self._conn.execute(SQL["chains"], {"serials": list(serials)}).fetchall()
        nothing = dict.fromkeys(("kind", "position", "after", "limit"))
        return self._lives(nothing | {"speeds": False, "chains": [row["chain"] for row in rows]})

    def stretches(self, serials: Sequence[str] | None = None) -> list[Stretch]:
        """Every stretch of these tools (None: of all), in no order."""
        values = {"serials": None if serials is None else list(serials)}
        return [Stretch(**row) for row in self._conn.execute(SQL["stretches"], values)]

    def touched(self, events: int, inspections: int, presses: Sequence[str]) -> set[str]:
        """Tools whose lives may be others than when the ledger had these newest entries.

        presses: those that had a stored count moved since.
        """
        values = {"events": events, "inspections": inspections, "presses": list(presses)}
        return {row["serial"] for row in self._conn.execute(SQL["touched"], values)}

    def presses_of(self, serials: Iterable[str]) -> set[str]:
        """Presses that these tools were ever entered in."""
        rows = self._conn.execute(SQL["presses_of"], {"serials": list(serials)})
        return {row["press"] for row in rows}

    def keep_duty(self, lives: Iterable[Life]) -> None:
        """Write down the roughness of ledger lives as a fit takes it, for `page` to show."""
        known = [life for life in lives if life.source == "ledger"]
        if known:
            values = {
                "ids": [life.id for life in known],
                "roughness": [life.mean_roughness for life in known],
            }
            self._conn.execute(SQL["put_duty"], values)

    def readings(self, stretches: Sequence[str] | None = None) -> dict[str, Readings]:
        """Wear as measured by stretch (None: of all), in order of age; only what counts."""
        values = {"stretches": None if stretches is None else list(stretches)}
        found: dict[str, list[WearReading]] = {}
        for row in self._conn.execute(SQL["readings"], values):
            # A share of -0.0 would not come back as such from where inputs are kept.
            share = row["share"] + 0.0
            reading = WearReading(row["strokes"], share, row["sd"], row["session"])
            found.setdefault(row["stretch"], []).append(reading)
        return {
            stretch: tuple(sorted(rows, key=lambda one: one.strokes))
            for stretch, rows in found.items()
        }

    def _lives(self, values: Mapping[str, Any]) -> list[Life]:
        rows = self._conn.execute(SQL["lives"], values).fetchall()
        is_part = values["limit"] is not None or values["chains"] is not None
        stretches = [row["id"] for row in rows if row["source"] == "ledger"] if is_part else None
        readings = self.readings(stretches)
        return [Life(**row, readings=readings.get(row["id"], ())) for row in rows]

    def all_ends_near_limit(self) -> dict[tuple[str, str], Ends]:
        """Ends near the limit by kind and position, for all in one query."""
        rows = self._conn.execute(SQL["ends_near_limit"], {"share": NEAR_LIMIT}).fetchall()
        return {
            (row["kind"], row["position"]): Ends(row["planned_near_limit"], row["ends"])
            for row in rows
        }

    def ends_near_limit(self, kind: str, position: str) -> tuple[int, int]:
        """Planned ends with a last reading above 70 % of the limit, and all ends."""
        found = self.all_ends_near_limit().get((kind, position), Ends(0, 0))
        return found.planned_near_limit, found.ends

    def collateral_pulls(self) -> dict[str, list[datetime]]:
        """When tools were pulled as damaged by something else, by press, in order."""
        found: dict[str, list[datetime]] = {}
        for row in self._conn.execute(SQL["collateral_pulls"]):
            found.setdefault(row["press"], []).append(row["at"])
        return found

    def unknown_ages(self) -> dict[tuple[str, str], int]:
        """Stretches by kind and position that stay out because nobody knows the tool's age."""
        rows = self._conn.execute(SQL["unknown_ages"]).fetchall()
        return {(row["kind"], row["position"]): row["fits"] for row in rows}

    def add(self, lives: Sequence[Life], *, by: str, at: datetime) -> tuple[list[str], bool]:
        """Past lives, all or nothing: their ids in order, and whether any is new.

        Raises Contradiction when an id belongs to other content. One taken back counts again.
        """
        wake.lock_ledger(self._conn)
        fresh = _sifted(lives, self._imported([life.id for life in lives]))
        if fresh:
            entered = {"entered_at": at, "entered_by": by}
            values = [asdict(life) | {"given": Jsonb(given)} | entered for life, given in fresh]
            self._conn.cursor().executemany(SQL["import"], values)
            wake.wake(self._conn, {"ledger": []})
        return [life.id for life in lives], bool(fresh)

    def _imported(self, ids: Sequence[str]) -> dict[str, Any]:
        rows = self._conn.execute(SQL["imported"], {"ids": list(ids)}).fetchall()
        return {row["id"]: row for row in rows}

    def running_here(self, serials: Sequence[str]) -> set[tuple[str, str]]:
        """(serial, position) of those tools that sit in a press by the ledger."""
        rows = self._conn.execute(SQL["running_here"], {"serials": list(serials)}).fetchall()
        return {(row["serial"], row["position"]) for row in rows}

    def take_back(self, life_id: str, *, by: str, at: datetime) -> bool:
        """Take a typed-in life out of the inference; False when there is none of this id.

        Raises Contradiction for a life that follows from the ledger.
        """
        values = {"id": life_id, "by": by, "at": at}
        if self._conn.execute(SQL["take_back"], values).fetchone() is not None:
            wake.wake(self._conn, {"ledger": []})
            return True
        row = self._conn.execute(SQL["is_ledger_life"], {"id": life_id}).fetchone()
        if row is not None and row["known"]:
            raise Contradiction(f"the life {life_id} follows from the ledger: correct its events")
        return False


def content_id(life: Mapping[str, Any]) -> str:
    """The id of a life that was sent without one: made of its whole content."""
    text = json.dumps({name: _plain(life.get(name)) for name in _CONTENT}, sort_keys=True)
    return "content." + hashlib.sha256(text.encode()).hexdigest()[:32]


def _sifted(
    lives: Sequence[Life], known: dict[str, Any]
) -> list[tuple[Life, Mapping[str, object]]]:
    """The lives that are new or were taken back, each once, with their content."""
    fresh: list[tuple[Life, Mapping[str, object]]] = []
    for life in lives:
        content = _content(life)
        row = known.get(life.id)
        if row is not None and row["given"] != content:
            raise Contradiction(f"another life has the id {life.id}", field="id")
        if row is None or row["taken_back_at"] is not None:
            fresh.append((life, content))
        known[life.id] = {"given": content, "taken_back_at": None}
    return fresh


def _content(life: Life) -> dict[str, Any]:
    return {name: _plain(getattr(life, name)) for name in _CONTENT}


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return format_time(value)
    # 1 and 1.0 are one number in JSON and must be one content here.
    return float(value) if isinstance(value, int) else value

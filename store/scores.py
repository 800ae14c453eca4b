"""Scores of forecasts, and what of the ledger they are made from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from typing import Any, Final, Literal
from uuid import UUID

import psycopg
from psycopg.rows import DictRow

from duestroke.score import Look, Score, Scored, Stretch
from store.sql import named_queries

SQL: Final = named_queries("scores.sql")

Source = Literal["live", "backtest"]

_SCORE: Final = tuple(field.name for field in fields(Score))


@dataclass(frozen=True, slots=True)
class OnRecord:
    """A forecast on record that counts for the score. fit: the stretch that it was made in.

    chances: (stop, time, chance), the next stop first.
    """

    id: int
    press_id: int
    press: str
    position: str
    kind: str
    serial: str
    chain: UUID
    fit_id: UUID
    as_of: datetime
    remaining: list[float]
    due_us: list[int | None] | None
    age: float | None
    handbook_life: float | None
    chances: list[tuple[str | None, str, float]]


@dataclass(frozen=True, slots=True)
class LifeRecord:
    """One life as the ledger tells it now. fits: the stretches' ids, in order."""

    fits: tuple[UUID, ...]
    stretches: tuple[Stretch, ...]
    looks: tuple[Look, ...]


@dataclass(frozen=True, slots=True)
class Kept:
    """A score with what it is of, as it is kept."""

    forecast_id: int | None
    press_id: int
    position: str
    kind: str
    serial: str
    chain: UUID
    as_of: datetime
    score: Score

    def as_scored(self) -> Scored:
        """As a summary takes it."""
        return Scored(self.kind, self.position, str(self.chain), self.as_of, self.score)


class PgScores:
    """Repository of scores. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def stale_lives(self, now: datetime, limit: int) -> dict[UUID, str]:
        """Lives to be scored anew with the marks that say what of, those that ended first."""
        rows = self._conn.execute(SQL["stale_lives"], {"now": now, "limit": limit})
        return {row["chain"]: row["mark"] for row in rows}

    def forecasts_of(self, lives: Sequence[UUID]) -> list[OnRecord]:
        """The forecasts on record of these lives that count: the first of each press-week."""
        rows = self._conn.execute(SQL["forecasts_of_lives"], {"chains": list(lives)})
        return [OnRecord(**row) for row in rows]

    def lives(self, lives: Sequence[UUID]) -> dict[UUID, LifeRecord]:
        """What the ledger tells of these lives."""
        asked = {"chains": list(lives)}
        parts: dict[UUID, list[DictRow]] = {}
        for row in self._conn.execute(SQL["stretches"], asked):
            parts.setdefault(row["chain"], []).append(row)
        looks: dict[UUID, list[DictRow]] = {}
        for row in self._conn.execute(SQL["looks"], asked):
            looks.setdefault(row["chain"], []).append(row)
        return {chain: _life(own, looks.get(chain, [])) for chain, own in parts.items()}

    def seats(
        self, tools: Sequence[tuple[str, str, str, datetime]]
    ) -> list[tuple[int, UUID, UUID] | None]:
        """Press id, life and stretch of tools, each (press, position, serial, time).

        None for one that was not there by the ledger of now.
        """
        presses, positions, serials, times = map(
            list, zip(*tools, strict=True) if tools else ((),) * 4
        )
        asked = {"presses": presses, "positions": positions, "serials": serials, "times": times}
        found: list[tuple[int, UUID, UUID] | None] = [None] * len(tools)
        for row in self._conn.execute(SQL["seats"], asked):
            found[row["ord"] - 1] = (row["press_id"], row["chain"], row["fit_id"])
        return found

    def replace_lives(self, marks: dict[UUID, str], kept: Sequence[Kept], now: datetime) -> None:
        """The scores of these lives' forecasts on record, in place of those that stood."""
        self._conn.execute(SQL["clear_lives"], {"chains": list(marks)})
        self._add("live", kept, now)
        values = {"chains": list(marks), "marks": list(marks.values()), "now": now}
        self._conn.execute(SQL["mark"], values)

    def forget_lost_lives(self) -> None:
        """Drop the scores of lives that the ledger knows no more."""
        self._conn.execute(SQL["forget"])

    def replace_backtest(
        self, kind: str | None, position: str | None, kept: Sequence[Kept], now: datetime
    ) -> None:
        """The scores of a backtest of a place (None: of all), in place of those that stood."""
        self._conn.execute(SQL["clear_backtest"], {"kind": kind, "position": position})
        self._add("backtest", kept, now)

    def all(
        self, source: Source, kind: str | None = None, position: str | None = None
    ) -> list[Scored]:
        """Scores of one source, of a kind and position or of all, by time."""
        asked = {"source": source, "kind": kind, "position": position}
        return [_scored(row) for row in self._conn.execute(SQL["page"], asked)]

    def newest(self, source: Source) -> datetime | None:
        """When the newest score of a source was made."""
        row = self._conn.execute(SQL["newest"], {"source": source}).fetchone()
        return None if row is None else row["at"]

    def _add(self, source: Source, kept: Sequence[Kept], now: datetime) -> None:
        rows = [_row(each) | {"source": source, "scored_at": now} for each in kept]
        with self._conn.cursor() as cursor:
            cursor.executemany(SQL["add"], rows)


def _life(parts: Sequence[DictRow], looks: Sequence[DictRow]) -> LifeRecord:
    """A life from its stretches and its inspections, both in order."""
    stretches = tuple(
        Stretch(row["fitted_at"], row["fit_strokes"], row["total"], row["pulled_at"], row["reason"])
        for row in parts
    )
    number = {row["id"]: k for k, row in enumerate(parts)}
    runs = [stretch.total - stretch.fitted_total for stretch in stretches]
    seen = []
    for row in looks:
        k, base = number[row["fit_id"]], parts[0]["base"]
        inside = row["press_strokes"] - stretches[k].fitted_total
        age = None if base is None else float(base + sum(runs[:k]) + inside)
        told = {name: row[name] for name in ("is_good", "is_worn", "share", "margin")}
        seen.append(Look(k, row["at"], row["press_strokes"], **told, age=age))
    return LifeRecord(tuple(row["id"] for row in parts), stretches, tuple(seen))


def _row(kept: Kept) -> dict[str, Any]:
    told = asdict(kept)
    score: dict[str, Any] = told.pop("score")
    return told | score


def _scored(row: DictRow) -> Scored:
    score = Score(**{name: row[name] for name in _SCORE})
    return Scored(row["kind"], row["position"], str(row["chain"]), row["as_of"], score)

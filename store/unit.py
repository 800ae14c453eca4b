"""The unit of work: one connection, one transaction, the repositories over it."""

from __future__ import annotations

from functools import cached_property
from types import TracebackType
from typing import Self

import psycopg
from psycopg.rows import DictRow, dict_row

from store.dry import PgDryWindows
from store.flags import PgFlags
from store.forecasts import PgForecasts
from store.inspections import PgInspections
from store.ledger import PgLedger
from store.lives import PgLives
from store.positions import PgPositions
from store.presses import PgPresses
from store.quarantine import PgQuarantine
from store.questions import PgQuestions
from store.scores import PgScores
from store.shifts import PgShifts
from store.stock import PgStock
from store.stops import PgStops
from store.strokes import PgStrokes
from store.tokens import PgTokens
from store.tools import PgTools

Connection = psycopg.Connection[DictRow]


def connect(database_url: str, *, autocommit: bool = False) -> Connection:
    """A connection as the repositories want it: rows as dictionaries, times in UTC."""
    conn = psycopg.connect(database_url, row_factory=dict_row, autocommit=autocommit)
    conn.execute("SET TIME ZONE 'UTC'")
    if not autocommit:
        conn.commit()
    return conn


class Unit:
    """`with Unit(conn) as unit: ...; unit.commit()`. Leaving without commit rolls back."""

    def __init__(self, conn: Connection) -> None:
        self.conn = conn

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if not self.conn.closed:
            self.conn.rollback()

    def commit(self) -> None:
        """Make what was done in this unit stand."""
        self.conn.commit()

    def notify(self, payload: str) -> None:
        """Wake listeners at commit; a wake-up only, never the data."""
        self.conn.execute("SELECT pg_notify('duestroke', %s)", [payload])

    @cached_property
    def presses(self) -> PgPresses:
        return PgPresses(self.conn)

    @cached_property
    def strokes(self) -> PgStrokes:
        return PgStrokes(self.conn)

    @cached_property
    def flags(self) -> PgFlags:
        return PgFlags(self.conn)

    @cached_property
    def dry_windows(self) -> PgDryWindows:
        return PgDryWindows(self.conn)

    @cached_property
    def quarantine(self) -> PgQuarantine:
        return PgQuarantine(self.conn)

    @cached_property
    def tokens(self) -> PgTokens:
        return PgTokens(self.conn)

    @cached_property
    def inspections(self) -> PgInspections:
        return PgInspections(self.conn)

    @cached_property
    def questions(self) -> PgQuestions:
        return PgQuestions(self.conn)

    @cached_property
    def ledger(self) -> PgLedger:
        return PgLedger(self.conn)

    @cached_property
    def lives(self) -> PgLives:
        return PgLives(self.conn)

    @cached_property
    def positions(self) -> PgPositions:
        return PgPositions(self.conn)

    @cached_property
    def stops(self) -> PgStops:
        return PgStops(self.conn)

    @cached_property
    def shifts(self) -> PgShifts:
        return PgShifts(self.conn)

    @cached_property
    def stock(self) -> PgStock:
        return PgStock(self.conn)

    @cached_property
    def tools(self) -> PgTools:
        return PgTools(self.conn)

    @cached_property
    def forecasts(self) -> PgForecasts:
        return PgForecasts(self.conn)

    @cached_property
    def scores(self) -> PgScores:
        return PgScores(self.conn)

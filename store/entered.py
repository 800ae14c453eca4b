"""When and by whom records were entered, where they are taken over from elsewhere in bulk."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final, NamedTuple

import psycopg
from psycopg.rows import DictRow

from store.sql import named_queries

SQL: Final = named_queries("entered.sql")


class Entered(NamedTuple):
    """Who entered the record with this id, and when."""

    id: str
    at: datetime
    by: str


def events_entered(conn: psycopg.Connection[DictRow], entered: Sequence[Entered]) -> None:
    """State when tool events just recorded were really entered. The caller commits."""
    conn.execute(SQL["events"], _columns(entered))


def inspections_entered(conn: psycopg.Connection[DictRow], entered: Sequence[Entered]) -> None:
    """State when inspections just recorded were really entered, and their questions raised.

    The caller commits.
    """
    conn.execute(SQL["inspections"], _columns(entered))
    conn.execute(SQL["questions"], {"ids": [one.id for one in entered]})


def _columns(entered: Sequence[Entered]) -> dict[str, list[object]]:
    return {
        "ids": [one.id for one in entered],
        "ats": [one.at for one in entered],
        "bys": [one.by for one in entered],
    }

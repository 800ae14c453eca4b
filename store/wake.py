"""One writer of the ledger at a time, and the wake-up that tells the others after its commit."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Final

import psycopg
from psycopg.rows import DictRow

CHANNEL: Final = "duestroke"
_LEDGER_LOCK: Final = 7_041_997
_MOST_NAMES: Final = 50
"""A payload holds at most 8,000 bytes; more names than this and the listener asks the database."""


def lock_ledger(conn: psycopg.Connection[DictRow]) -> None:
    """Hold off other writers of the ledger until this transaction ends.

    Taken before any press's row lock, which the intake holds while it moves stored figures.
    """
    conn.execute("SELECT pg_advisory_xact_lock(%s)", [_LEDGER_LOCK])


def wake(conn: psycopg.Connection[DictRow], what: Mapping[str, list[str]]) -> None:
    """Tell listeners at commit what has changed; too many names are left out."""
    short = {key: names for key, names in what.items() if len(names) <= _MOST_NAMES}
    conn.execute("SELECT pg_notify(%s, %s)", [CHANNEL, json.dumps(short)])

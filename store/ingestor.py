"""One active ingestor a database: the right to write, held by the writing session itself."""

from __future__ import annotations

from typing import Final

import psycopg
from psycopg.rows import DictRow, dict_row

from store.sql import named_queries

_SQL: Final = named_queries("ingestor.sql")
# Of its own: migrations and the ledger have other keys in the same space.
_KEY: Final = 4_160_001
# What a vanished peer may cost: the server frees the right within seconds.
_OPTIONS: Final = " ".join(
    f"-c {option}"
    for option in (
        "timezone=UTC",
        "tcp_keepalives_idle=10",
        "tcp_keepalives_interval=3",
        "tcp_keepalives_count=3",
        "statement_timeout=60s",
        "idle_in_transaction_session_timeout=60s",
    )
)


def connect(database_url: str) -> psycopg.Connection[DictRow]:
    """A session for the ingestor, patient with a slow server but not with a vanished one.

    Raises psycopg.OperationalError when the database can't be reached.
    """
    return psycopg.connect(
        database_url,
        row_factory=dict_row,
        application_name="duestroke-ingest",
        options=_OPTIONS,
        connect_timeout=5,
        keepalives_idle=10,
        keepalives_interval=3,
        keepalives_count=3,
        tcp_user_timeout=20_000,
    )


def hold(conn: psycopg.Connection[DictRow]) -> bool:
    """Try to take the right to write for this session; False while another session has it."""
    row = conn.execute(_SQL["hold"], {"key": _KEY}).fetchone()
    conn.commit()
    return row is not None and bool(row["held"])

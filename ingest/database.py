"""The database session of an ingestor."""

from __future__ import annotations

from typing import Final

import psycopg
from psycopg.rows import DictRow, dict_row

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

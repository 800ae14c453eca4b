"""Numbered `.sql` files, applied once each, in order, under a lock and with a checksum."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources
from typing import Any, Final, LiteralString

import psycopg

_LOCK: Final = 7_041_996
_TABLE: Final = """
CREATE TABLE IF NOT EXISTS schema_migration (
  version text PRIMARY KEY, sha256 text NOT NULL, applied_at timestamptz NOT NULL DEFAULT now())
"""


class MigrationChanged(Exception):
    """A file that was applied before has other content now."""


@dataclass(frozen=True)
class Migration:
    """One file: version (its stem), text, and whether it must run outside a transaction."""

    version: str
    text: LiteralString

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.text.encode()).hexdigest()

    @property
    def outside_transaction(self) -> bool:
        """A file headed `-- no-transaction` holds one statement that cannot run inside one."""
        return self.text.startswith("-- no-transaction")


def migrations() -> list[Migration]:
    """All migrations that ship with this version, in order."""
    folder = resources.files("store").joinpath("migrations")
    files = sorted(
        (item for item in folder.iterdir() if item.name.endswith(".sql")), key=lambda i: i.name
    )
    return [Migration(item.name.removesuffix(".sql"), item.read_text("utf-8")) for item in files]


def migrate(database_url: str, steps: Sequence[Migration] | None = None) -> list[str]:
    """Apply what is missing; returns the versions applied. Safe to run from several places at once.

    Raises MigrationChanged when a file that was applied has changed since.
    """
    done: list[str] = []
    with psycopg.connect(database_url, autocommit=True) as conn:
        conn.execute("SELECT pg_advisory_lock(%s)", [_LOCK])
        _create_extension(conn)
        conn.execute(_TABLE)
        known: dict[str, str] = dict(
            conn.execute("SELECT version, sha256 FROM schema_migration").fetchall()
        )
        for step in migrations() if steps is None else steps:
            if step.version not in known:
                _apply(conn, step)
                done.append(step.version)
            elif known[step.version] != step.sha256:
                raise MigrationChanged(f"{step.version}: the file changed after it was applied")
    return done


def pending(conn: psycopg.Connection[Any]) -> list[str]:
    """Versions that ship with this program and are not in the database yet."""
    if conn.execute("SELECT to_regclass('schema_migration') IS NULL AS none").fetchone() in (
        (True,),
        {"none": True},
    ):
        return [step.version for step in migrations()]
    rows = conn.execute("SELECT version FROM schema_migration").fetchall()
    known = {row["version"] if isinstance(row, dict) else row[0] for row in rows}
    return [step.version for step in migrations() if step.version not in known]


def _apply(conn: psycopg.Connection[Any], step: Migration) -> None:
    record = "INSERT INTO schema_migration (version, sha256) VALUES (%s, %s)"
    if step.outside_transaction:
        conn.execute(step.text)
        conn.execute(record, [step.version, step.sha256])
        return
    with conn.transaction():
        conn.execute(step.text)
        conn.execute(record, [step.version, step.sha256])


def _create_extension(conn: psycopg.Connection[Any]) -> None:
    """TimescaleDB where the server has it and we may; a plain server stays plain."""
    wanted = conn.execute(
        "SELECT 1 FROM pg_available_extensions WHERE name = 'timescaledb' "
        "AND installed_version IS NULL AND current_setting('is_superuser') = 'on'"
    ).fetchone()
    if wanted:
        conn.execute("CREATE EXTENSION IF NOT EXISTS timescaledb")

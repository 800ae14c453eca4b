"""Bearer tokens by their sha256. A secret itself never reaches the database or a log."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal

import psycopg
from psycopg.rows import DictRow

from store.sql import named_queries

SQL: Final = named_queries("tokens.sql")
Role = Literal["viewer", "crew", "engineer", "admin"]


@dataclass(frozen=True)
class Token:
    """What is on record of a token: everything but its secret."""

    id: str
    name: str
    role: Role
    created_at: datetime
    created_by: str
    expires_at: datetime | None
    revoked_at: datetime | None


def digest_of(secret: str) -> bytes:
    """What the database keeps of a secret.

    One round of SHA-256 is enough: secrets are 32 random bytes, which nobody can guess through.
    """
    return hashlib.sha256(secret.encode()).digest()


class PgTokens:
    """Tokens on record. The caller owns the transaction; rows come as dicts."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def find(self, digest: bytes, at: datetime) -> Token | None:
        """The token with this digest that is valid at `at`."""
        return _token(self._conn.execute(SQL["find"], {"digest": digest, "at": at}).fetchone())

    def get(self, token_id: str) -> Token | None:
        """One token by id, also when it was taken back."""
        return _token(self._conn.execute(SQL["get"], {"id": token_id}).fetchone())

    def page(self, limit: int, after: str | None = None) -> list[Token]:
        """Up to `limit` tokens that are not taken back, by id, after the id `after`."""
        rows = self._conn.execute(SQL["list"], {"limit": limit, "after": after}).fetchall()
        return [Token(**row) for row in rows]

    def add(
        self,
        token_id: str,
        *,
        name: str,
        role: Role,
        digest: bytes,
        expires_at: datetime | None,
        by: str,
        at: datetime,
    ) -> Token | None:
        """The new token; None when the id is on record already."""
        values: dict[str, object] = {"id": token_id, "name": name, "role": role, "digest": digest}
        values |= {"expires_at": expires_at, "by": by, "at": at}
        return _token(self._conn.execute(SQL["add"], values).fetchone())

    def revoke(self, token_id: str, at: datetime) -> bool:
        """Take a token back; False when there is none that is still valid by id."""
        found = self._conn.execute(SQL["revoke"], {"id": token_id, "at": at}).fetchone()
        return found is not None


def ensure(
    conn: psycopg.Connection[Any], name: str, role: Role, secret: str, *, at: datetime
) -> None:
    """Make a token with a known secret valid, as the start does with its own; commits nothing.

    Safe to repeat. Under the same name another secret replaces the one before.
    """
    values = {"id": f"start.{name}", "name": name, "role": role, "digest": digest_of(secret)}
    conn.execute(SQL["ensure"], values | {"at": at})


def _token(row: Mapping[str, Any] | None) -> Token | None:
    return None if row is None else Token(**row)

"""What the record asks back: kept, listed, answered; raised anew whenever the record moves."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow

from duestroke.errors import Contradiction
from duestroke.ledger.readings import Question, QuestionKind, Reading, questions
from duestroke.times import format_time
from store import wake
from store.sql import named_queries

SQL: Final = named_queries("questions.sql")
PUT_RIGHT: Final = "the record was put right"


@dataclass(frozen=True, slots=True)
class QuestionRow:
    """A question on record. closed_by: None while open, and where the record was put right."""

    id: str
    kind: QuestionKind
    serial: str
    press: str | None
    position: str | None
    inspection_id: str
    against_id: str | None
    words: str
    raised_at: datetime
    closed_at: datetime | None
    closed_by: str | None
    reason: str | None


class PgQuestions:
    """Questions. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def page(
        self,
        limit: int | None,
        *,
        press: str | None = None,
        serial: str | None = None,
        is_open: bool | None = None,
        after: tuple[datetime, str] | None = None,
        question_id: str | None = None,
    ) -> list[QuestionRow]:
        """Up to `limit` questions by the time they were raised, after the one of that key."""
        after_at, after_id = after or (None, None)
        values: dict[str, Any] = {
            "id": question_id,
            "serial": serial,
            "press": press,
            "open": is_open,
        }
        values |= {"after_at": after_at, "after_id": after_id, "limit": limit}
        return [_row(row) for row in self._conn.execute(SQL["page"], values).fetchall()]

    def get(self, question_id: str) -> QuestionRow | None:
        """One question by id."""
        rows = self.page(1, question_id=question_id)
        return rows[0] if rows else None

    def close(self, question_id: str, *, reason: str, by: str, at: datetime) -> QuestionRow | None:
        """Answer a question; the same answer again changes nothing. None when there is no such one.

        Raises Contradiction when it was closed with another word, or by the record itself.
        """
        wake.lock_ledger(self._conn)
        known = self.get(question_id)
        if known is None:
            return None
        if known.closed_at is not None:
            if known.reason != reason or known.closed_by is None:
                who = known.closed_by or "itself"
                when = format_time(known.closed_at)
                raise Contradiction(f"it was closed by {who} at {when}: {known.reason}")
            return known
        values = {"id": question_id, "reason": reason, "by": by, "at": at}
        self._conn.execute(SQL["close"], values)
        wake.wake(self._conn, {"ledger": [known.serial]})
        return self.get(question_id)

    def refresh(self, serials: Sequence[str], now: datetime | None = None) -> None:
        """Ask what these tools' readings ask as the record stands; close what they ask no more.

        now: when the record moved; None: when the readings were entered.  The caller holds the
        ledger's lock.
        """
        values = {"serials": list(serials)}
        rows = {row["id"]: row for row in self._conn.execute(SQL["readings"], values)}
        known = {row["id"]: row for row in self._conn.execute(SQL["of_serials"], values)}
        if not rows and not known:
            return
        asked = {question_id(one): one for one in questions(map(_reading, rows.values()))}
        fresh = [
            _values(name, one, rows[one.reading.id], now)
            for name, one in asked.items()
            if name not in known or _is_settled(known[name])
        ]
        if fresh:
            self._conn.cursor().executemany(SQL["raise"], fresh)
        gone = [name for name, row in known.items() if name not in asked and not row["closed_at"]]
        if gone:
            at = now or max(row["entered_at"] for row in rows.values())
            self._conn.execute(SQL["settle"], {"ids": gone, "at": at, "reason": PUT_RIGHT})

    def refresh_position(self, position: str) -> None:
        """Ask anew of every tool that was read at a position whose limit has changed."""
        rows = self._conn.execute(SQL["serials_at"], {"position": position}).fetchall()
        if rows:
            self.refresh([row["serial"] for row in rows])

    def reading(self, serial: str, inspection_id: str) -> Reading | None:
        """One reading that stands, with the limit that holds for it."""
        for row in self._conn.execute(SQL["readings"], {"serials": [serial]}):
            if row["id"] == inspection_id:
                return _reading(row)
        return None


def question_id(question: Question) -> str:
    """The id of a question: what it asks about, whatever the order of entry."""
    text = "|".join((question.kind, question.reading.id, question.against or ""))
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def _is_settled(row: Mapping[str, Any]) -> bool:
    """Closed by the record itself, not by somebody's answer."""
    return row["closed_at"] is not None and row["closed_by"] is None


def _reading(row: Mapping[str, Any]) -> Reading:
    kept = {name: value for name, value in row.items() if name in Reading.__slots__}
    return Reading(**kept)


def _values(
    name: str, question: Question, row: Mapping[str, Any], now: datetime | None
) -> dict[str, Any]:
    return {
        "id": name,
        "kind": question.kind,
        "serial": row["serial"],
        "press_id": row["press_id"],
        "position": row["position"],
        "inspection_id": row["id"],
        "against_id": question.against,
        "words": question.words,
        "raised_at": now or row["entered_at"],
    }


def _row(row: Mapping[str, Any]) -> QuestionRow:
    return QuestionRow(**{name: row[name] for name in QuestionRow.__slots__})

"""A gateway's own store on disk: what was made and not acknowledged yet, and how far each press is.

Whatever happens to gateway, network or broker, a report that was put here is sent until the broker
has acknowledged it. A report and the note that it was made are written in one transaction.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final, NamedTuple, Self

from simulators.reports import Sent

_TABLES: Final = """
CREATE TABLE IF NOT EXISTS message (
  id INTEGER PRIMARY KEY AUTOINCREMENT, sender TEXT NOT NULL, topic TEXT NOT NULL,
  payload BLOB NOT NULL);
CREATE INDEX IF NOT EXISTS message_sender ON message (sender, id);
CREATE TABLE IF NOT EXISTS sent (
  press TEXT PRIMARY KEY, boot TEXT NOT NULL, seq INTEGER NOT NULL, made_at INTEGER NOT NULL);
"""


class Waiting(NamedTuple):
    """A message that the broker has not acknowledged."""

    id: int
    topic: str
    payload: bytes


class Spool:
    """Messages by sender, oldest first. Used from one thread."""

    def __init__(self, path: Path | str) -> None:
        self._db = sqlite3.connect(path)
        self._db.execute("PRAGMA journal_mode = WAL")
        # A power cut may take the last second of reports; the counter is cumulative, so no stroke.
        self._db.execute("PRAGMA synchronous = NORMAL")
        self._db.executescript(_TABLES)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        self._db.close()

    def put(
        self,
        messages: Iterable[tuple[str, str, bytes]],
        progress: Mapping[str, Sent] | None = None,
    ) -> None:
        """Keep messages (sender, topic, payload), and how far presses are, in one transaction."""
        with self._db:
            self._db.executemany(
                "INSERT INTO message (sender, topic, payload) VALUES (?, ?, ?)", messages
            )
            self._db.executemany(
                "INSERT OR REPLACE INTO sent (press, boot, seq, made_at) VALUES (?, ?, ?, ?)",
                [(press, *sent_row(sent)) for press, sent in (progress or {}).items()],
            )

    def waiting(self, sender: str, *, after: int = 0, limit: int = 100) -> list[Waiting]:
        """A sender's oldest messages with an id above `after`."""
        rows = self._db.execute(
            "SELECT id, topic, payload FROM message"
            " WHERE sender = ? AND id > ? ORDER BY id LIMIT ?",
            (sender, after, limit),
        )
        return [Waiting(*row) for row in rows]

    def drop(self, ids: Iterable[int]) -> None:
        """Forget messages that the broker has acknowledged."""
        with self._db:
            self._db.executemany("DELETE FROM message WHERE id = ?", [(one,) for one in ids])

    def progress(self) -> dict[str, Sent]:
        """How far each press is: its last report made."""
        rows = self._db.execute("SELECT press, boot, seq, made_at FROM sent")
        return {press: Sent(boot, seq, made_at) for press, boot, seq, made_at in rows}

    def __len__(self) -> int:
        count: int = self._db.execute("SELECT count(*) FROM message").fetchone()[0]
        return count


def sent_row(sent: Sent) -> tuple[str, int, int]:
    """The columns of one press's progress."""
    return sent.boot, sent.seq, sent.made_at

"""What the record knows of a press at one time: tools, checks, readings, flags."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow

from duestroke.trace import Check, Doubt, Seat, Span, doubts, same_set, seats_at, suspects
from store.sql import named_queries
from store.strokes import SQL as STROKES_SQL
from store.strokes import SeriesItem, StoredFlag, flag_of, totals_at

SQL: Final = named_queries("trace.sql")
REACH: Final = timedelta(hours=1)
"""How far around a time changes of tools are read, to be told as near ones."""

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class RawReading:
    """A reading as reported."""

    boot: str
    seq: int
    at: datetime
    strokes: int
    peak_speed_mps: float | None
    peak_accel_mps2: float | None


@dataclass(frozen=True, slots=True)
class Counted:
    """A span of time with the strokes that the press made in it."""

    span: Span
    strokes: int


@dataclass(frozen=True, slots=True)
class SeatThen:
    """A tool in the press at the time. Strokes are those it had then, None where nobody knows.

    suspects: since it was last found good, to its next check, pull, or now.
    """

    seat: Seat
    since_fit: int
    since_rework: int | None
    suspects: Counted


@dataclass(frozen=True, slots=True)
class Trace:
    """A press at one time. strokes: its total then.  kinds: of the positions it ever had, in order.

    same_set: while exactly these tools sat together.  since_good: from when all of them were last
    found good to when the last of them is checked again.
    """

    press: str
    at: datetime
    timezone: str
    strokes: int
    kinds: Mapping[str, str]
    seats: tuple[SeatThen, ...]
    before: RawReading | None
    after: RawReading | None
    series: tuple[SeriesItem, ...]
    flags: tuple[StoredFlag, ...]
    same_set: Counted | None
    since_good: Counted | None
    doubts: tuple[Doubt, ...]


class PgTrace:
    """Reads of the record at one time. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def at(
        self, press: str, at: datetime, now: datetime, series: Sequence[SeriesItem] = ()
    ) -> Trace:
        """The press at `at`, which is not after `now`; series: hours around it.

        Raises KeyError for a press that is not registered.
        """
        row = self._conn.execute(SQL["press"], {"press": press}).fetchone()
        if row is None:
            raise KeyError(press)
        press_id = row["id"]
        kinds = {
            place["position"]: place["kind"]
            for place in self._conn.execute(SQL["places"], {"press_id": press_id})
        }
        seats = self._seats(press_id, at)
        held = seats_at(seats, at)
        ordered = [held[place] for place in kinds if place in held]
        flags = self._flags(press, at)
        spans = _spans(ordered, at, now)
        counted = self._counted(press_id, spans)
        total = totals_at(self._conn, [(press_id, at)])[0]
        before, after = self._reading(press_id, at, "before"), self._reading(press_id, at, "after")
        own = counted[: len(ordered)]
        whole = [None, None] if not ordered else counted[len(ordered) :]
        said = doubts(list(kinds), seats, at, flags=[_flag_words(flag) for flag in flags])
        return Trace(
            press=press,
            at=at,
            timezone=row["timezone"],
            strokes=total,
            kinds=kinds,
            seats=tuple(_then(*pair, total) for pair in zip(ordered, own, strict=True)),
            before=before,
            after=after,
            series=tuple(series),
            flags=tuple(flags),
            same_set=whole[0],
            since_good=whole[1],
            doubts=(*_outside(before, after), *said),
        )

    def _seats(self, press_id: int, at: datetime) -> list[Seat]:
        reach = {"press_id": press_id, "from": at - REACH, "to": at + REACH}
        rows = self._conn.execute(SQL["stretches"], reach).fetchall()
        ids, chains = [row["id"] for row in rows], list({row["chain"] for row in rows})
        ages = {
            row["id"]: row["strokes_before"]
            for row in self._conn.execute(SQL["ages"], {"chains": chains})
        }
        checks: dict[str, list[Check]] = defaultdict(list)
        for row in self._conn.execute(SQL["checks"], {"stretches": ids}):
            checks[row["stretch"]].append(_check(row))
        asked: dict[str, list[str]] = defaultdict(list)
        for row in self._conn.execute(SQL["asked"], {"stretches": ids}):
            asked[row["stretch"]].append(row["words"])
        return [_seat(row, ages[row["id"]], checks[row["id"]], asked[row["id"]]) for row in rows]

    def _flags(self, press: str, at: datetime) -> list[StoredFlag]:
        window = {"press": press, "from": at, "to": at}
        rows = self._conn.execute(STROKES_SQL["flags_of_press"], window)
        flags = [flag_of(row) for row in rows]
        return [flag for flag in flags if flag.settled is None and flag.start <= at <= flag.end]

    def _counted(self, press_id: int, spans: Sequence[Span]) -> list[Counted]:
        edges = [(press_id, edge) for span in spans for edge in (span.start, span.end)]
        totals = totals_at(self._conn, edges)
        pairs = zip(totals[::2], totals[1::2], strict=True)
        return [
            Counted(span, max(last - first, 0))
            for span, (first, last) in zip(spans, pairs, strict=True)
        ]

    def _reading(self, press_id: int, at: datetime, side: str) -> RawReading | None:
        asked = {"press_id": press_id, "at": at}
        row = self._conn.execute(SQL[f"reading_{side}"], asked).fetchone()
        if row is None:
            return None
        return RawReading(**{name: row[name] for name in RawReading.__slots__})


def _spans(seats: Sequence[Seat], at: datetime, now: datetime) -> list[Span]:
    """Each tool's own span, then those of the whole set."""
    own = [suspects(seat, at, now) for seat in seats]
    together = same_set(seats, now)
    if together is None:
        return []
    since = Span(min(span.start for span in own), max(span.end for span in own))
    return [*own, together, since]


def _then(seat: Seat, counted: Counted, total: int) -> SeatThen:
    since_fit = max(total - seat.fit_strokes, 0)
    before = seat.strokes_before
    return SeatThen(seat, since_fit, None if before is None else before + since_fit, counted)


def _outside(before: RawReading | None, after: RawReading | None) -> list[Doubt]:
    if before is not None:
        return []
    words = "the press's count begins only after that time"
    if after is None:
        words = "the press has never reported"
    return [Doubt("no-record", None, words)]


def _flag_words(flag: StoredFlag) -> str:
    kinds = ", ".join(flag.kinds)
    return f"flag {kinds} over that time: up to {flag.hidden_at_most:,} strokes may be hidden"


def _seat(row: Row, before: int | None, checks: Sequence[Check], asked: Sequence[str]) -> Seat:
    fields = (
        *("position", "serial", "kind", "fitted_at", "pulled_at", "fit_strokes", "batch"),
        *("size_mm", "life", "reason", "entered_at", "entered_by", "corrected"),
    )
    known = {name: row[name] for name in fields}
    return Seat(**known, strokes_before=before, checks=tuple(checks), asked=tuple(asked))


def _check(row: Row) -> Check:
    fields = (
        *("id", "at", "verdict", "is_good", "quantity", "value", "unit"),
        *("uncertainty", "share", "of_set", "press_strokes"),
    )
    return Check(**{name: row[name] for name in fields})

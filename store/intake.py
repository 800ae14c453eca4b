"""One batch of messages into the database, in one transaction that the caller commits."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Final, NamedTuple

import psycopg
from psycopg.rows import DictRow

from duestroke.counting.append import append, comes_after
from duestroke.counting.batch import Identity, in_boots
from duestroke.counting.insert import insert
from duestroke.counting.types import Reading, RuleChange
from duestroke.messages import Refused, Status, decode_report, decode_status
from duestroke.messages.report import element_of
from duestroke.messages.wire import Reason
from duestroke.times import from_micros, to_micros
from store.keep import Kept, write
from store.records import PgReadings, record_end, rules_by_press, whole_record
from store.rows import columns, micros
from store.sql import named_queries
from store.wake import wake

SQL: Final = named_queries("intake.sql")
FUTURE: Final = timedelta(minutes=10)
"""A reading further ahead of the receiver's clock waits until its time has come."""
FIRST_YEAR: Final = to_micros(datetime(2020, 1, 1, tzinfo=UTC))
"""A reading from before was made by a clock that had never been set."""

Row = Mapping[str, Any]


class Delivery(NamedTuple):
    """A message as it came: topic, bytes, and when it was received."""

    topic: str
    payload: bytes
    received_at: datetime


@dataclass
class BatchOutcome:
    """What became of a batch: counts of readings, and the presses that were touched."""

    kept: int = 0
    repeated: int = 0
    quarantined: int = 0
    statuses: int = 0
    presses: set[str] = field(default_factory=set)


@dataclass
class _Sorted:
    """A batch, decoded: readings by press with the delivery each came in, statuses, refusals."""

    readings: dict[str, list[tuple[Reading, Delivery]]] = field(default_factory=dict)
    statuses: list[tuple[Status, Delivery]] = field(default_factory=list)
    refused: list[tuple[Refused, Delivery]] = field(default_factory=list)


def record_batch(
    conn: psycopg.Connection[DictRow], deliveries: Sequence[Delivery], now: datetime
) -> BatchOutcome:
    """Take in a batch of reports and statuses. The caller commits, and only then acknowledges.

    Rules 1 to 6 of counting hold across batches in any order: what is new under its identity is
    counted, repeats have no effect, and all else goes to quarantine with its bytes.
    """
    batch = _sort_out(deliveries)
    outcome = BatchOutcome(statuses=len(batch.statuses))
    kept = _count(conn, batch, now, outcome)
    if kept:
        write(conn, kept)
    if batch.statuses:
        _put_statuses(conn, batch.statuses, outcome)
    for refused, delivery in batch.refused:
        quarantine(conn, refused, delivery.received_at)
    outcome.quarantined = len(batch.refused)
    if outcome.presses:
        wake(conn, {"presses": sorted(outcome.presses)})
    return outcome


def quarantine(conn: psycopg.Connection[DictRow], refused: Refused, received_at: datetime) -> int:
    """Set a refused payload aside with its bytes; once however often the same bytes come."""
    digest = hashlib.sha256(refused.topic.encode() + b"\0" + refused.payload).digest()
    retry_at = None
    if refused.reason == "future":
        retry_at = _due(refused)
    row = conn.execute(
        SQL["quarantine_put"],
        refused._asdict() | {"digest": digest, "received_at": received_at, "retry_at": retry_at},
    ).fetchone()
    return int(row["id"]) if row is not None else 0


def _due(refused: Refused) -> datetime | None:
    """When a report from the future may be taken in: ten minutes before its own time."""
    for report in decode_report(refused.topic, refused.payload).reports:
        return from_micros(report.reading.at) - FUTURE
    return None


def _sort_out(deliveries: Sequence[Delivery]) -> _Sorted:
    out = _Sorted()
    for delivery in deliveries:
        if delivery.topic.endswith("/status"):
            status = decode_status(delivery.topic, delivery.payload)
            if isinstance(status, Status):
                out.statuses.append((status, delivery))
            else:
                out.refused.append((status, delivery))
            continue
        decoded = decode_report(delivery.topic, delivery.payload)
        out.refused.extend((refused, delivery) for refused in decoded.refused)
        for press, reading in decoded.reports:
            out.readings.setdefault(press, []).append((reading, delivery))
    return out


def _put_statuses(
    conn: psycopg.Connection[DictRow],
    statuses: Iterable[tuple[Status, Delivery]],
    outcome: BatchOutcome,
) -> None:
    newest = {
        status.press: (status.press, status.state, status.at, delivery.received_at)
        for status, delivery in statuses
    }
    # In one order, so that two intakes cannot wait in a ring.
    conn.execute(SQL["put_status"], columns([newest[press] for press in sorted(newest)], 4))
    outcome.presses |= newest.keys()


def _count(
    conn: psycopg.Connection[DictRow], batch: _Sorted, now: datetime, outcome: BatchOutcome
) -> list[Kept]:
    if not batch.readings:
        return []
    names = {"names": list(batch.readings)}
    ids = {row["name"]: row["id"] for row in conn.execute(SQL["press_ids"], names)}
    for name in batch.readings.keys() - ids.keys():
        for reading, delivery in batch.readings[name]:
            detail = f"press {name} is not registered"
            _refuse(batch, name, reading, delivery, "unknown-press", None, detail)
    presses = {"presses": list(ids.values())}
    conn.execute(SQL["lock_presses"], presses)
    states = conn.execute(SQL["states"], presses).fetchall()
    rules = rules_by_press(conn.execute(SQL["rules_of"], presses))
    boot_ids = _known_boots(conn, states, batch)
    taken: list[_Press] = []
    for state in states:
        press = _Press(state, rules[state["press_id"]], boot_ids[state["press_id"]])
        for reading, delivery in batch.readings[press.name]:
            fault = _fault(reading, press, now)
            if fault is not None:
                _refuse(batch, press.name, reading, delivery, *fault)
            else:
                press.offer(reading, delivery, batch)
        taken.append(press)
    _set_known_aside(conn, taken, batch)
    kept = [one for press in taken if (one := press.counted(conn)) is not None]
    outcome.kept = sum(len(one.changes.placed) for one in kept)
    outcome.repeated = sum(press.repeated for press in taken)
    outcome.presses |= {one.press for one in kept}
    return kept


class _Press:
    """A locked press and the readings offered to it."""

    def __init__(self, state: Row, rules: list[RuleChange], boot_ids: dict[str, int]) -> None:
        self.state, self.rules, self.boot_ids = state, rules, boot_ids
        self.name: str = state["name"]
        self.fresh: dict[Identity, tuple[Reading, Delivery]] = {}
        self.repeated = 0

    def offer(self, reading: Reading, delivery: Delivery, batch: _Sorted) -> None:
        """Take a reading; repeats inside the batch have no effect, conflicts are set aside."""
        identity = (reading.boot, reading.seq)
        held = self.fresh.get(identity)
        if held is None:
            self.fresh[identity] = (reading, delivery)
        elif held[0] == reading:
            self.repeated += 1
        else:
            _conflict(batch, self.name, reading, delivery)

    def maybe_known(self, identity: Identity) -> bool:
        """Whether a reading of this identity may be stored already."""
        boot, seq = identity
        if boot == self.state["boot"]:
            return bool(seq <= self.state["last_seq"])
        return boot in self.boot_ids

    def counted(self, conn: psycopg.Connection[DictRow]) -> Kept | None:
        """Count what is new: by the short road where it all comes last, else by the long one."""
        if not self.fresh:
            return None
        readings = [reading for reading, _ in self.fresh.values()]
        record = record_end(self.state, self.rules)
        boots = in_boots(readings)
        known = [boot for boot in boots if boot[0].boot in self.boot_ids]
        last = all(boot[0].boot == self.state["boot"] for boot in known)
        if last and comes_after(record, boots):
            changes = append(record, boots)
        else:
            record = whole_record(conn, self.state, self.rules)
            press_id = self.state["press_id"]
            for row in conn.execute(_BOOT_IDS, {"press": press_id}):
                self.boot_ids[row["name"]] = row["id"]
            changes = insert(record, readings, PgReadings(conn, press_id))
        return Kept(
            self.state["press_id"],
            self.name,
            self.state["timezone"],
            record,
            changes,
            self._received,
            self.boot_ids,
        )

    def _received(self, identity: Identity) -> datetime:
        return self.fresh[identity][1].received_at


def _known_boots(
    conn: psycopg.Connection[DictRow], states: Sequence[Row], batch: _Sorted
) -> dict[int, dict[str, int]]:
    """Ids of the boots that the batch names, by press; the last boot comes with the state."""
    out: dict[int, dict[str, int]] = {}
    asked: set[tuple[int, str]] = set()
    for state in states:
        held = out[state["press_id"]] = {}
        if state["boot_id"] is not None:
            held[state["boot"]] = state["boot_id"]
        for reading, _ in batch.readings[state["name"]]:
            if reading.boot not in held:
                asked.add((state["press_id"], reading.boot))
    if asked:
        presses, boots = columns(list(asked), 2)
        for row in conn.execute(SQL["boots_named"], {"presses": presses, "boots": boots}):
            out[row["press_id"]][row["name"]] = row["id"]
    return out


def _set_known_aside(
    conn: psycopg.Connection[DictRow], taken: Iterable[_Press], batch: _Sorted
) -> None:
    """Of what may be stored already: repeats have no effect, other content is a conflict."""
    presses = {press.state["press_id"]: press for press in taken}
    asked = [
        (press_id, *identity)
        for press_id, press in presses.items()
        for identity in press.fresh
        if press.maybe_known(identity)
    ]
    if not asked:
        return
    ids, boots, seqs = columns(asked, 3)
    values = {"presses": ids, "boots": boots, "seqs": seqs}
    for row in conn.execute(SQL["stored_readings"], values):
        press = presses[row["press_id"]]
        reading, delivery = press.fresh.pop((row["boot"], row["seq"]))
        stored = (
            to_micros(row["at"]),
            row["strokes"],
            row["peak_speed_mps"],
            row["peak_accel_mps2"],
        )
        if reading[2:] == stored:
            press.repeated += 1
        else:
            _conflict(batch, press.name, reading, delivery)


def _fault(reading: Reading, press: _Press, now: datetime) -> tuple[Reason, str | None, str] | None:
    """Why a readable report cannot be taken in now: reason, field, detail."""
    top = max(change.rule.modulus for change in press.rules)
    if reading.strokes >= top:
        return "field", "strokes", f"strokes: got {reading.strokes}, allowed is 0 to {top - 1}"
    if reading.at > to_micros(now + FUTURE):
        return "future", "at", "at: more than 10 minutes ahead of the receiver's clock"
    if reading.at < FIRST_YEAR:
        return "past", "at", "at: before 2020, so the sender's clock was not set"
    if reading.at < micros(press.state["thinned_to"]):
        return "past", "at", "at: before the readings that were thinned out of this press's record"
    return None


def _conflict(batch: _Sorted, press: str, reading: Reading, delivery: Delivery) -> None:
    detail = f"boot {reading.boot}, seq {reading.seq} is on record with other content"
    _refuse(batch, press, reading, delivery, "conflict", None, detail)


def _refuse(
    batch: _Sorted,
    press: str,
    reading: Reading,
    delivery: Delivery,
    reason: Reason,
    name: str | None,
    detail: str,
) -> None:
    part = element_of(delivery.topic, delivery.payload, reading)
    batch.refused.append((Refused(delivery.topic, part, reason, name, detail, press), delivery))


def replay_waiting(conn: psycopg.Connection[DictRow], now: datetime, limit: int = 1_000) -> int:
    """Take in what waited for its time or its press, oldest first; returns how many went in.

    The caller commits. Rows that another one holds are left to it.
    """
    rows = conn.execute(SQL["waiting_now"], {"now": now, "limit": limit}).fetchall()
    return sum(replay(conn, row, now) for row in rows)


def replay(conn: psycopg.Connection[DictRow], row: Row, now: datetime) -> bool:
    """Try one quarantined payload again; True when nothing of it had to be refused."""
    delivery = Delivery(row["topic"], bytes(row["payload"]), row["received_at"])
    outcome = record_batch(conn, [delivery], now)
    if outcome.quarantined:
        # It was put back under the same bytes; that it was tried is no further arrival.
        conn.execute(SQL["not_arrived"], {"id": row["id"]})
        return False
    conn.execute(SQL["replayed"], {"id": row["id"]})
    return True


_BOOT_IDS: Final = named_queries("records.sql")["boots_of"]

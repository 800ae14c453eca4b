"""A press's record out of the database, whole or just its end, and its stored readings."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow

from duestroke.counting.batch import Identity, Settlement
from duestroke.counting.record import Around, Boot, Placed, Record, Span
from duestroke.counting.types import Reading, Rule, RuleChange
from duestroke.times import to_micros
from store.rows import micros, stamp
from store.sql import named_queries

SQL: Final = named_queries("records.sql")
_FLAGS: Final = uuid.UUID("5f0c6a0e-3a8f-4d0a-9b56-0d2c6a1f7e41")

Row = Mapping[str, Any]


def flag_id(press: str, earlier: Identity, later: Identity) -> uuid.UUID:
    """The identity of a flag: the pair of readings that it stands between, whenever it is asked."""
    return uuid.uuid5(_FLAGS, f"{press}|{earlier[0]}|{earlier[1]}|{later[0]}|{later[1]}")


def rules_by_press(rows: Iterable[Row]) -> dict[int, list[RuleChange]]:
    """Counting rules from rows ordered by press."""
    return {
        press: [
            RuleChange(to_micros(row["valid_from"]), Rule(row["modulus"], row["max_spm"]))
            for row in group
        ]
        for press, group in groupby(rows, key=lambda row: row["press_id"])
    }


def boot_of(row: Row, name: str = "name", readings: str = "readings") -> Boot:
    """A boot from a row that holds its ends."""
    ends = [
        Placed(
            Reading(row[name], row[f"{end}_seq"], micros(row[f"{end}_at"]), row[f"{end}_strokes"]),
            row[f"{end}_unwrapped"],
        )
        for end in ("first", "last")
    ]
    latest = row["boot_latest_at"] if "boot_latest_at" in row else row["latest_at"]
    return Boot(row[name], ends[0], ends[1], micros(latest), row[readings])


def placed_of(row: Row) -> Placed:
    """A stored reading."""
    reading = Reading(
        row["boot"],
        row["seq"],
        to_micros(row["at"]),
        row["strokes"],
        row["peak_speed_mps"],
        row["peak_accel_mps2"],
    )
    return Placed(reading, row["unwrapped"])


def whole_record(
    conn: psycopg.Connection[DictRow], state: Row, rules: Sequence[RuleChange]
) -> Record:
    """All boots, spans and settlements of a press whose state row is locked."""
    press = {"press": state["press_id"]}
    boots = {row["name"]: boot_of(row) for row in conn.execute(SQL["boots_of"], press)}
    spans = [_span(row) for row in conn.execute(SQL["spans_of"], press)]
    settled = {
        row["flag_id"]: Settlement(row["counted"], row["strokes"])
        for row in conn.execute(SQL["settlements_of"], press)
    }
    return Record(
        rules,
        boots,
        spans,
        total=state["total"],
        latest_at=micros(state["latest_at"]),
        readings=state["readings"],
        missing=state["missing"],
        settlements=_Settled(state["name"], settled),
        thinned_to=micros(state["thinned_to"]),
    )


def record_end(state: Row, rules: Sequence[RuleChange]) -> Record:
    """Just the last boot of a press: enough for readings that come after everything."""
    boots = {}
    if state["boot_id"] is not None:
        boots[state["boot"]] = boot_of(state, "boot", "boot_readings")
    return Record(
        rules,
        boots,
        total=state["total"],
        latest_at=micros(state["latest_at"]),
        readings=state["readings"],
        missing=state["missing"],
        whole=False,
    )


class _Settled(Mapping[tuple[Identity, Identity], Settlement]):
    """Settlements by pair, found through the identity that the pair gives its flag."""

    def __init__(self, press: str, by_flag: Mapping[uuid.UUID, Settlement]) -> None:
        self._press, self._by_flag = press, by_flag

    def __getitem__(self, pair: tuple[Identity, Identity]) -> Settlement:
        if not self._by_flag:
            raise KeyError(pair)
        return self._by_flag[flag_id(self._press, *pair)]

    def __iter__(self) -> Iterator[tuple[Identity, Identity]]:
        raise TypeError("settlements are looked up by pair, not listed")

    def __len__(self) -> int:
        return len(self._by_flag)


def _span(row: Row) -> Span:
    prev = None if row["prev_boot"] is None else (row["prev_boot"], row["prev_seq"])
    return Span(
        row["boot"],
        row["start_seq"],
        micros(row["boot_at"]),
        micros(row["start_at"]),
        row["start_unwrapped"],
        row["total"],
        micros(row["latest_before"]),
        prev,
        None if prev is None else micros(row["prev_at"]),
        row["prev_unwrapped"],
        tuple(row["kinds"]),
        row["counted"],
        row["hidden_at_most"],
        row["settled"],
    )


class PgReadings:
    """The stored readings of one press (`duestroke.counting.record.Readings`)."""

    def __init__(self, conn: psycopg.Connection[DictRow], press_id: int) -> None:
        self._conn, self._press = conn, press_id

    def around(self, identities: Sequence[Identity]) -> Around:
        found: dict[Identity, dict[str, Placed]] = {name: {} for name in identities}
        values = {
            "press": self._press,
            "boots": [boot for boot, _ in identities],
            "seqs": [seq for _, seq in identities],
        }
        for row in self._conn.execute(SQL["around"], values):
            found[row["boot"], row["asked"]][row["side"]] = placed_of(row)
        return {name: (side.get("before"), side.get("after")) for name, side in found.items()}

    def get(self, identities: Iterable[Identity]) -> dict[Identity, Placed]:
        names = list(identities)
        if not names:
            return {}
        values = {
            "presses": [self._press] * len(names),
            "boots": [boot for boot, _ in names],
            "seqs": [seq for _, seq in names],
        }
        rows = self._conn.execute(_STORED, values)
        return {item.identity: item for item in map(placed_of, rows)}

    def stretch(self, boot: str, first_seq: int, last_seq: int, below: int) -> list[Placed]:
        values = {
            "press": self._press,
            "boot": boot,
            "first": first_seq,
            "last": last_seq,
            "below": stamp(below),
        }
        return [placed_of(row) for row in self._conn.execute(SQL["stretch"], values)]

    def everything(self) -> list[Placed]:
        rows = self._conn.execute(SQL["everything"], {"press": self._press})
        return [placed_of(row) for row in rows]


_STORED: Final = named_queries("intake.sql")["stored_readings"]

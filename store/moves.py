"""Figures that moved after they were written down: what they were, what they are, and why."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any, Final, Literal, NamedTuple

import psycopg
from psycopg.rows import DictRow

from store.sql import named_queries
from store.strokes import totals_at

SQL: Final = named_queries("moves.sql")
Connection = psycopg.Connection[DictRow]
Cause = Literal["event", "correction", "settlement", "rule", "report"]
Subject = Literal["fit", "event", "inspection"]
Figure = Literal["strokes", "strokes_before", "press_strokes"]


@dataclass(frozen=True, slots=True)
class Why:
    """What moved a figure. cause_id: the event or the flag.  reason: in words.  by: who."""

    cause: Cause
    cause_id: str | None
    reason: str
    at: datetime | None
    by: str


class Key(NamedTuple):
    """A figure: of which tool, which stretch, event or inspection, and which one."""

    serial: str
    subject: Subject
    subject_id: str
    figure: Figure


@dataclass(frozen=True, slots=True)
class Shown:
    """A figure as it stood. is_running: of a stretch that has no end yet."""

    value: int | None
    is_running: bool


@dataclass(frozen=True, slots=True)
class Move:
    """A figure that moved. was: None where nobody knew; became: also where it was taken back."""

    subject: Subject
    subject_id: str
    figure: Figure
    was: int | None
    became: int | None
    cause: Cause
    cause_id: str | None
    reason: str
    at: datetime
    by: str


Figures = Mapping[Key, Shown]


def of_press(conn: Connection, press_id: int) -> Figures:
    """Every figure that rests on a press's count."""
    return _figures(conn.execute(SQL["of_press"], {"press": press_id}).fetchall())


def of_serials(conn: Connection, serials: Sequence[str], now: datetime) -> Figures:
    """Every figure of some tools that their events can move; running ones up to `now`."""
    rows = conn.execute(SQL["of_serials"], {"serials": list(serials)}).fetchall()
    running = [row for row in rows if row["subject"] == "fit" and row["pull_id"] is None]
    totals = totals_at(conn, [(row["press_id"], now) for row in running])
    for row, total in zip(running, totals, strict=True):
        row["run"] = total - row["fit_strokes"]
    return _figures(rows)


def _figures(rows: Sequence[Mapping[str, Any]]) -> Figures:
    found: dict[Key, Shown] = {}
    for row in rows:
        here = (row["serial"], row["subject"], row["subject_id"])
        if row["subject"] == "fit":
            found[Key(*here, "strokes")] = Shown(row["run"], row["pull_id"] is None)
            found[Key(*here, "strokes_before")] = Shown(row["strokes_before"], is_running=False)
        else:
            found[Key(*here, "press_strokes")] = Shown(row["press_strokes"], is_running=False)
    return found


def keep(
    conn: Connection,
    before: Figures,
    after: Figures,
    why: Callable[[Key, Shown, Shown | None], Why | None],
) -> None:
    """Write down what differs. why: the cause of one move, or None where it is no news."""
    moved = []
    for key, was in before.items():
        now = after.get(key)
        if now is not None and now.value == was.value:
            continue
        cause = why(key, was, now)
        if cause is not None:
            became = None if now is None else now.value
            moved.append(key._asdict() | {"was": was.value, "became": became} | asdict(cause))
    if moved:
        conn.cursor().executemany(SQL["add"], moved)


def keep_reports(conn: Connection, rows: Sequence[tuple[Mapping[str, Any], int]]) -> None:
    """Write down press totals that reports have moved: rows of (what it was, what it is)."""
    values = {
        "serials": [row["serial"] for row, _ in rows],
        "subjects": [row["what"] for row, _ in rows],
        "subject_ids": [row["id"] for row, _ in rows],
        "was": [row["press_strokes"] for row, _ in rows],
        "became": [total for _, total in rows],
    }
    conn.execute(SQL["add_report"], values)


def renamed(figures: Figures, names: Mapping[str, str]) -> Figures:
    """Figures under the ids of what stands for their stretches now."""
    return {
        key._replace(subject_id=names.get(key.subject_id, key.subject_id)): shown
        for key, shown in figures.items()
    }


def of_tool(conn: Connection, serial: str) -> list[Move]:
    """A tool's figures that moved, oldest first."""
    return [Move(**row) for row in conn.execute(SQL["page"], {"serial": serial}).fetchall()]


def said(why: Why, more: str | None) -> Why:
    """The same with what somebody noted beside it."""
    return why if not more else replace(why, reason=f"{why.reason}: {more}")

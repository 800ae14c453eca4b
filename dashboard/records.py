"""Records: what could not be taken in, what waits for somebody's word, and the senders' clocks."""

from __future__ import annotations

import base64
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Final, TypeVar

import msgspec

from dashboard import counter, panels, words
from dashboard import fleet as fleets
from dashboard.client import Press, Time
from dashboard.fleet import Document
from dashboard.pages import Ask, Page
from dashboard.record import Event, Flag, Question
from dashboard.tables import Cell, Column, Row, table

LATE: Final = timedelta(hours=8)
LOOK_BACK: Final = timedelta(days=14)
MOST_SHOWN: Final = 400
"""Characters of a payload shown in place."""

Item = TypeVar("Item")

REASONS: Final = {
    "malformed": "can’t be decoded",
    "topic": "its topic names no press",
    "field": "a field is wrong",
    "conflict": "another report has this number",
    "future": "ahead of our clock; tried again by itself",
    "past": "from before what is kept",
    "unknown-press": "its press is not registered; tried again by itself",
}


class Held(msgspec.Struct, frozen=True):
    """A payload in quarantine."""

    id: int
    received_at: Time
    times: int
    topic: str
    payload_base64: str
    reason: str
    field: str | None
    detail: str
    state: str


class Asked(Question, frozen=True):
    """A question with the press that it is about."""

    press: str | None = None


class PressFlag(Flag, frozen=True, kw_only=True):
    """A flag with its press."""

    press: str


def document(ask: Ask) -> Document:
    """The page: five plain parts, what needs a word first."""
    reads = ask.sources.reads
    fleet = ask.arranged()
    flags = reads.items("/flags", PressFlag, {"open": "true"})
    asked = reads.items("/questions", Asked, {"open": "true"})
    held = reads.items("/quarantine", Held, {"state": "waiting"})
    since = ask.now.replace(minute=0, second=0, microsecond=0) - LOOK_BACK
    events = reads.items("/tool-events", Event, {"from": since.isoformat()}, timedelta(minutes=1))
    senders = table(
        "senders", "Senders and their clocks", _SENDERS, _sender_rows(ask, fleet.presses)
    )
    return {
        **ask.frame("records", "Records", fleet),
        "may": {"settle": ask.who.may("engineer"), "answer": ask.who.may("crew")},
        "panels": [
            panels.panel(
                ask, "flags", "Counts in doubt", flags, _each(ask, _flag),
                say="readings between which strokes may be hidden",
                empty="No flag is open: every count stands.",
            ),
            panels.panel(
                ask, "questions", "Questions that readings ask", asked, _each(ask, _question),
                empty="No reading asks anything.",
            ),
            panels.panel(
                ask, "quarantine", "Not taken in", held, _each(ask, _payload),
                say="kept with their bytes; nothing is erased",
                empty="Nothing waits: every report was taken in.",
            ),
            panels.panel(
                ask, "late", "Late and corrected entries", events, lambda seen: _late(ask, seen),
                say="of the last two weeks",
            ),
            {
                **panels.said("senders", "Senders and their clocks", "shown", "", ""),
                "table": senders,
            },
        ],
    }  # fmt: skip


def _each(ask: Ask, draw: Callable[[Ask, Item], Document]) -> Callable[[Sequence[Item]], Document]:
    return lambda items: {"items": [draw(ask, item) for item in items]}


def _time(ask: Ask, at: datetime) -> str:
    return words.moment(at, ask.zone, ask.now)


# ---- what waits for a word ----


def _flag(ask: Ask, flag: PressFlag) -> Document:
    kinds = " and ".join(flag.kinds)
    return {
        "key": flag.id,
        "id": flag.id,
        "title": f"{words.press_id(flag.press)}, {kinds}",
        "href": f"/press/{flag.press}",
        "when": f"{_time(ask, flag.begins)} to {_time(ask, flag.ends)}",
        "says": f"Counted {flag.counted:,}; at most {flag.hidden_at_most:,} more may be hidden.",
        "rule": counter.rule_words(flag),
        "candidates": [f"{count:,}" for count in flag.candidates],
        "counts": flag.candidates,
    }


def _question(ask: Ask, question: Asked) -> Document:
    place = question.position or ""
    if question.press:
        place = f"{words.press_id(question.press)}, {place}".rstrip(", ")
    return {
        "key": question.id,
        "id": question.id,
        "title": question.serial,
        "href": "" if "/" in question.serial else f"/tool/{question.serial}",
        "when": f"{place}, asked {_time(ask, question.raised_at)}".lstrip(", "),
        "says": words.sentence(question.words, ask.zone, ask.now),
    }


def _payload(ask: Ask, held: Held) -> Document:
    times = "" if held.times == 1 else f", came {held.times} times"
    field = f"{held.field}: " if held.field else ""
    return {
        "key": str(held.id),
        "id": str(held.id),
        "title": REASONS.get(held.reason, held.reason),
        "when": f"{_time(ask, held.received_at)}{times}",
        "says": f"{field}{held.detail}",
        "topic": held.topic,
        "payload": _shown(held.payload_base64),
    }


def _shown(payload: str) -> str:
    """The first characters of a payload, those that can't be shown as dots."""
    text = base64.b64decode(payload).decode("utf-8", "replace")
    plain = "".join(char if char.isprintable() else "·" for char in text)
    rest = len(plain) - MOST_SHOWN
    return plain if rest <= 0 else f"{plain[:MOST_SHOWN]} and {rest:,} characters more"


# ---- entries and senders ----

_LATE: Final = (
    Column("Done", "at"),
    Column("Entered", "entered_at"),
    Column("Late by", "late_hours", right=True),
    Column("What", "what"),
    Column("Serial", "serial"),
    Column("Where", "where"),
    Column("By", "by"),
)


def _late(ask: Ask, events: Sequence[Event]) -> Document:
    odd = [event for event in events if _is_odd(event)]
    if not odd:
        return {"state": "empty", "rest": "No entry of the last two weeks was late or put right."}
    rows = [_entry(ask, event) for event in sorted(odd, key=lambda e: e.entered_at, reverse=True)]
    return {"table": table("late", "Late and corrected entries", _LATE, rows)}


def _is_odd(event: Event) -> bool:
    return event.entered_at - event.at > LATE or event.corrects is not None or not event.stands


def _entry(ask: Ask, event: Event) -> Row:
    late = event.entered_at - event.at
    what = f"{event.type}, corrects an earlier one" if event.corrects else event.type
    if event.void:
        what = f"{event.type} taken back"
    where = " ".join([words.press_id(event.press), event.position or ""]) if event.press else ""
    serial = event.serial if "/" in event.serial else Cell(event.serial, f"/tool/{event.serial}")
    by_how_much = words.lasted(late / timedelta(minutes=1)) if late > LATE else ""
    hours = round(late / timedelta(hours=1), 2)
    cells: list[str | Cell] = [
        *(_time(ask, event.at), _time(ask, event.entered_at), by_how_much, what),
        *(serial, where, event.by or event.entered_by),
    ]
    values: list[str | float | None] = [event.at.isoformat(), event.entered_at.isoformat(), hours]
    values += [what, event.serial, where, event.by or event.entered_by]
    return Row(event.id, cells, values, gone=not event.stands)


_SENDERS: Final = (
    Column("Press", "press"),
    Column("State", "state"),
    Column("Last report", "last_report"),
    Column("Behind us by", "behind_minutes", right=True),
    Column("Missing by number", "missing", right=True),
    Column("Counter turns at", "modulus", right=True),
    Column("What to know", "note"),
)


def _sender_rows(ask: Ask, presses: Sequence[Press]) -> list[Row]:
    return [_sender(ask, press) for press in presses]


def _sender(ask: Ask, press: Press) -> Row:
    report = press.last_report
    behind = None if report is None else (ask.now - report.at) / timedelta(minutes=1)
    note = _note(ask, press, behind)
    said = "never" if report is None else _time(ask, report.at)
    ago = "" if behind is None else words.lasted(behind) if behind >= 1 else "under a minute"
    cells: list[str | Cell] = [
        Cell(words.press_id(press.press), href=f"/press/{press.press}"),
        *(press.state, said, ago, f"{press.missing:,}", f"{press.modulus:,}"),
        Cell(note, tone="doubt" if note else ""),
    ]
    at = None if report is None else report.at.isoformat()
    minutes = None if behind is None else round(behind, 1)
    values = [press.press, press.state, at, minutes, press.missing, press.modulus, note]
    return Row(press.press, cells, values)


def _note(ask: Ask, press: Press, behind: float | None) -> str:
    if press.counter_stands is not None:
        since = _time(ask, press.counter_stands.since)
        return f"The counter stands still while the ram moves, since {since}"
    if fleets.is_silent(press, ask.now):
        return "Silent"
    if behind is not None and behind < -1:
        return f"Its clock is {words.lasted(-behind)} fast"
    return ""


PAGE: Final = Page(
    view="records",
    path="/records",
    title="Records",
    document=document,
    word="Records",
    assets=(
        *("parts.lazy.js", "parts.lazy.css", "forms.lazy.css"),
        *("records.lazy.js", "records.lazy.css"),
    ),
)

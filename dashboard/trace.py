"""Trace: from a can's two stamped numbers and its time to the tools that made it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, Final
from urllib.parse import urlencode

import msgspec

from dashboard import fleet as fleets
from dashboard import panels, section, words
from dashboard.fleet import Document, Fleet
from dashboard.pages import Ask, Page
from dashboard.reads import Told
from dashboard.tables import Cell, Column, Row, table

HOW: Final = (
    "The dome carries two numbers, line and press; with the time they name the tools. The time is "
    "plant time."
)


class Span(msgspec.Struct, frozen=True, rename={"start": "from", "end": "to"}):
    """A stretch of time with the strokes made in it."""

    start: datetime
    end: datetime
    strokes: int


class Check(msgspec.Struct, frozen=True):
    """A look at a tool, or a reading of it."""

    at: datetime
    verdict: str | None = None
    quantity: str | None = None
    value: float | None = None
    unit: str | None = None
    uncertainty: float | None = None


class Doubt(msgspec.Struct, frozen=True):
    """What the record can't vouch for."""

    position: str | None
    words: str


class Then(msgspec.Struct, frozen=True):
    """Strokes that a tool had."""

    since_fit: int
    since_rework: int | None


class Seat(msgspec.Struct, frozen=True):
    """A tool that was in."""

    position: str
    kind: str
    serial: str
    batch: str | None
    strokes: Then
    fitted_at: datetime
    entered_at: datetime
    pulled_at: datetime | None
    since_good: Span
    corrected: bool = False
    check_before: Check | None = None
    check_after: Check | None = None
    doubts: tuple[Doubt, ...] = ()


class Reading(msgspec.Struct, frozen=True):
    """A report of the press."""

    at: datetime
    strokes: int
    peak_speed_mps: float | None
    peak_accel_mps2: float | None


class Readings(msgspec.Struct, frozen=True):
    """The reports next to a time."""

    before: Reading | None
    after: Reading | None


class Hour(msgspec.Struct, frozen=True, rename={"start": "from", "end": "to"}):
    """An hour of the press."""

    start: datetime
    end: datetime
    strokes: int
    mean_speed_mps: float | None
    mean_accel_mps2: float | None
    minutes_running: float


class Trace(msgspec.Struct, frozen=True):
    """What `GET /trace` tells."""

    press: str
    at: datetime
    strokes: int
    tools: tuple[Seat, ...]
    empty: tuple[str, ...]
    readings: Readings
    around: tuple[Hour, ...]
    same_set: Span | None
    since_good: Span | None
    doubts: tuple[Doubt, ...]


def asked_at(text: str, ask: Ask) -> datetime | None:
    """A time as the field gives it, plant time without an offset; None where it is none."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    return at if at.tzinfo is not None else at.replace(tzinfo=ask.zone)


def document(ask: Ask) -> Document:
    """The page: the three fields, and what they lead to."""
    fleet = ask.arranged()
    made: Document = {**ask.frame("trace", "Trace", fleet), "form": _form(ask, fleet)}
    line, number, text = ask.param("line"), ask.param("press"), ask.param("at")
    if not (line and number and text):
        return made | {"panels": []}
    press = f"{_site(fleet)}/{line}/{number}"
    at = asked_at(text, ask)
    if at is None:
        return made | {"panels": [_refused("The time can’t be read. Give day and time.")]}
    if press not in {each.press for each in fleet.presses}:
        words_ = f"No press {line}{words.NARROW}{number} is registered at {_site(fleet)}."
        return made | {"panels": [_refused(words_)]}
    query = {"press": press, "at": at.isoformat()}
    told = ask.sources.reads.one("/trace", Trace, query, timedelta(minutes=1))
    return made | {"panels": _panels(ask, told)}


def _site(fleet: Fleet) -> str:
    """The site that is shown: two stamped numbers name a press within it."""
    return fleets.site_of(fleet.presses[0].press) if fleet.presses else ""


def _refused(words_: str) -> Document:
    return panels.said("set", "The set that made it", "error", words_, "")


def _form(ask: Ask, fleet: Fleet) -> Document:
    given = ask.param("at") or f"{ask.now.astimezone(ask.zone):%Y-%m-%dT%H:%M}"
    lines = sorted({press.press.split("/")[1] for press in fleet.presses})
    numbers = sorted({press.press.split("/")[2] for press in fleet.presses})
    return {
        "site": _site(fleet),
        "says": HOW,
        "lines": lines,
        "numbers": numbers,
        "line": ask.param("line"),
        "press": ask.param("press"),
        "at": given[:16],
        "offset": words.offset(asked_at(given, ask) or ask.now, ask.zone),
    }


def _panels(ask: Ask, told: Told[Trace]) -> list[Document]:
    return [
        panels.panel(ask, "set", "The set that made it", told, lambda t: _set(ask, t)),
        panels.panel(ask, "cans", "Cans that stand or fall with it", told, lambda t: _cans(ask, t)),
        panels.panel(ask, "hours", "The press around that time", told, lambda t: _hours(ask, t)),
    ]


def _set(ask: Ask, trace: Trace) -> Document:
    """Headline, doubts, and a row for each tool with its part of the section."""
    seats = trace.tools
    parts = section.slices([section.Part(seat.kind, known=True) for seat in seats])
    when = words.moment(trace.at, ask.zone, ask.now)
    return {
        "lead": f"{words.press_id(trace.press)}, {when}: {len(seats)} tools.",
        "rest": f"The press had made {trace.strokes:,} strokes since its record began.",
        "rows": [_row(ask, seat) | parts[at] for at, seat in enumerate(seats)],
        "empty": [f"{place}: no tool on record then." for place in trace.empty],
        "doubts": [words.sentence(d.words, ask.zone, ask.now) for d in trace.doubts],
        "table": _table(ask, trace) if "table" in ask.opened else None,
    }


def _row(ask: Ask, seat: Seat) -> Document:
    then = seat.strokes
    age = "age not known" if then.since_rework is None else words.strokes(then.since_rework)
    late = seat.entered_at - seat.fitted_at
    notes = ["entered again, corrected"] if seat.corrected else []
    if late > timedelta(hours=8):
        notes.append(f"entered {words.lasted(late / timedelta(minutes=1))} later")
    return {
        "key": seat.position,
        "position": seat.position,
        "serial": seat.serial,
        "href": f"/tool/{seat.serial}",
        "age": age,
        "fitted": f"in since {words.moment(seat.fitted_at, ask.zone, ask.now)}",
        "out": _out(ask, seat),
        "notes": ", ".join(notes),
        "before": _check(ask, seat.check_before, "no check before it in this fit"),
        "after": _check(ask, seat.check_after, "no check since"),
        "doubts": [words.sentence(d.words, ask.zone, ask.now) for d in seat.doubts],
    }


def _out(ask: Ask, seat: Seat) -> str:
    if seat.pulled_at is None:
        return "still in"
    return f"out {words.moment(seat.pulled_at, ask.zone, ask.now)}"


def _check(ask: Ask, check: Check | None, none: str) -> str:
    if check is None:
        return none
    said = _read(check)
    return f"{words.moment(check.at, ask.zone, ask.now)}: {said}"


def _read(check: Check) -> str:
    if check.value is None:
        return check.verdict or "looked at"
    unsure = f" ±{check.uncertainty:g}" if check.uncertainty else ""
    verdict = f", {check.verdict}" if check.verdict else ""
    return f"{check.quantity} {check.value:g}{unsure}{words.NB}{check.unit}{verdict}"


# ---- cans ----


def _cans(ask: Ask, trace: Trace) -> Document:
    seats = trace.tools
    if trace.since_good is None or not seats:
        return {"state": "empty", "rest": "No tool is on record then, so no cans can be named."}
    whole = trace.since_good
    made: Document = {
        "lead": f"At most {whole.strokes:,} cans.",
        "rest": f"From {_time(ask, whole.start)}, when every tool was last known to be good, to "
        f"{_time(ask, whole.end)}. Fewer where the tool at fault is known:",
        "bars": [_bar(ask, seat, whole, trace.at) for seat in seats],
        "at": _place(trace.at, whole),
        "edges": [_time(ask, whole.start), _time(ask, whole.end)],
        "same": "",
    }
    if trace.same_set is not None:
        span = trace.same_set
        made["same"] = (
            f"Exactly this set ran from {_time(ask, span.start)} to {_time(ask, span.end)}: "
            f"{span.strokes:,} strokes."
        )
    return made


def _time(ask: Ask, at: datetime) -> str:
    return words.moment(at, ask.zone, ask.now)


def _bar(ask: Ask, seat: Seat, whole: Span, at: datetime) -> Document:
    span = seat.since_good
    start, end = _place(span.start, whole), _place(span.end, whole)
    spoken = f"{_time(ask, span.start)} to {_time(ask, span.end)}"
    return {
        "key": seat.position,
        "label": seat.position,
        "left": start,
        "width": max(round(end - start, 2), 0.3),
        "count": f"{span.strokes:,}",
        "span": spoken,
    }


def _place(at: datetime, whole: Span) -> float:
    """Where a time lies on the bar of the whole window, per cent."""
    length = (whole.end - whole.start) / timedelta(microseconds=1)
    if length <= 0:
        return 0.0
    share = (at - whole.start) / timedelta(microseconds=1) / length
    return round(100 * min(max(share, 0.0), 1.0), 2)


_COLUMNS: Final = (
    Column("Position", "position"),
    Column("Serial", "serial"),
    Column("Strokes then", "strokes_since_rework", right=True),
    Column("Fitted", "fitted_at"),
    Column("Check before", "check_before"),
    Column("Check after", "check_after"),
    Column("Cans since good", "strokes_since_good", right=True),
)


def _table(ask: Ask, trace: Trace) -> Document:
    return table("trace", "Tools that made it", _COLUMNS, [_line(ask, s) for s in trace.tools])


def _line(ask: Ask, seat: Seat) -> Row:
    since = seat.strokes.since_rework
    before = _check(ask, seat.check_before, "")
    after = _check(ask, seat.check_after, "")
    cells: list[str | Cell] = [
        seat.position,
        Cell(seat.serial, href=f"/tool/{seat.serial}"),
        "not known" if since is None else f"{since:,}",
        _time(ask, seat.fitted_at),
        before,
        after,
        f"{seat.since_good.strokes:,}",
    ]
    values = [
        *(seat.position, seat.serial, since, seat.fitted_at.isoformat(), before, after),
        seat.since_good.strokes,
    ]
    return Row(seat.position, cells, values)


# ---- the press around it ----

_HOURS: Final = (
    Column("Hour", "from"),
    Column("Strokes", "strokes", right=True),
    Column("Minutes running", "minutes_running", right=True),
    Column("Mean peak speed, m/s", "mean_speed_mps", right=True),
    Column("Mean peak acceleration, m/s²", "mean_accel_mps2", right=True),
)


def _hours(ask: Ask, trace: Trace) -> Document:
    rows = [_hour(ask, hour) for hour in trace.around]
    near = [("before", trace.readings.before), ("after", trace.readings.after)]
    said = [_report(ask, side, reading) for side, reading in near]
    return {
        "lead": "",
        "rest": " ".join(said),
        "table": table("hours", "The press by the hour", _HOURS, rows),
    }


def _report(ask: Ask, side: str, reading: Reading | None) -> str:
    if reading is None:
        return f"No report {side} it."
    speed = "" if reading.peak_speed_mps is None else f", peak {reading.peak_speed_mps:.2f} m/s"
    return f"The report {side} it: {_time(ask, reading.at)}, counter {reading.strokes:,}{speed}."


def _hour(ask: Ask, hour: Hour) -> Row:
    speed = "" if hour.mean_speed_mps is None else f"{hour.mean_speed_mps:.2f}"
    accel = "" if hour.mean_accel_mps2 is None else f"{hour.mean_accel_mps2:.0f}"
    minutes = f"{hour.minutes_running:.0f}"
    key = hour.start.isoformat()
    cells = [_time(ask, hour.start), f"{hour.strokes:,}", minutes, speed, accel]
    values: list[Any] = [key, hour.strokes, round(hour.minutes_running, 2)]
    return Row(key, cells, [*values, hour.mean_speed_mps, hour.mean_accel_mps2])


def link(press: str, at: datetime) -> str:
    """The address at which a can of a press, made at a time, is traced."""
    site, line, number = press.split("/")
    asked = {"site": site, "line": line, "press": number, "at": at.isoformat(timespec="minutes")}
    return "/trace?" + urlencode(asked)


PAGE: Final = Page(
    view="trace",
    path="/trace",
    title="Trace",
    document=document,
    word="Trace",
    assets=("parts.lazy.js", "parts.lazy.css", "forms.lazy.css", "trace.lazy.js", "trace.lazy.css"),
)

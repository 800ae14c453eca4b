"""One tool's whole life: where it sat, its strokes, its readings, its ledger, what moved."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Final

import msgspec

from dashboard import charts, panels, words
from dashboard import fleet as fleets
from dashboard.charts import Point, Scale, Series
from dashboard.client import Forecast, Time
from dashboard.fleet import Document, Fleet
from dashboard.pages import Ask, Page
from dashboard.reads import Told
from dashboard.record import Event, Inspection
from dashboard.tables import Cell, Column, Row, table

STATES: Final = {
    "shelf": "on the shelf",
    "fitted": "fitted",
    "bench": "on the bench",
    "out": "out for rework",
    "scrapped": "scrapped",
}
M: Final = 1e6
Draw = Callable[[Ask, "Tool"], Document]


class Ages(msgspec.Struct, frozen=True):
    """Strokes, None where nobody knows."""

    since_fit: int | None
    since_rework: int | None
    since_new: int | None


class Fit(msgspec.Struct, frozen=True):
    """A stretch in one place."""

    id: str
    press: str
    position: str
    fitted_at: Time
    pulled_at: Time | None
    reason: str | None
    strokes: int
    strokes_before: int | None
    size_mm: float | None = None


class Move(msgspec.Struct, frozen=True):
    """A figure that moved after it was written down."""

    subject: str
    figure: str
    was: int | None
    became: int | None
    cause: str
    reason: str
    at: Time
    by: str


class Past(Event, frozen=True):
    """A line of the tool's ledger, with its size."""

    size_mm: float | None = None
    back_at: Time | None = None


class Seen(Inspection, frozen=True):
    """An inspection with where it was made and the press's total then."""

    press: str | None = None
    press_strokes: int | None = None


class Tool(msgspec.Struct, frozen=True):
    """What `GET /tools/{serial}` tells."""

    serial: str
    kind: str
    batch: str | None
    size_mm: float | None
    registered_size_mm: float | None
    note: str | None
    state: str
    press: str | None
    position: str | None
    reworks: int
    back_at: Time | None
    strokes: Ages
    fits: tuple[Fit, ...]
    history: tuple[Past, ...]
    inspections: tuple[Seen, ...]
    moves: tuple[Move, ...]


def document(ask: Ask) -> Document:
    """The page of the tool that the address names."""
    fleet = ask.arranged()
    serial = ask.param("serial")
    told = ask.sources.reads.one(f"/tools/{serial}", Tool)
    missing = f"No tool has the serial {serial}."
    made: Document = {**ask.frame("tool", serial, fleet), "serial": serial}

    shown = [_panel(ask, told, missing, *_PANELS[0])]
    if told.value is not None:
        shown += [_panel(ask, told, missing, *each) for each in _PANELS[1:]]
    return made | {"top": _top(ask, fleet, told.value), "panels": shown}


def _panel(
    ask: Ask, told: Told[Tool], missing: str, key: str, title: str, draw: Draw, say: str = ""
) -> Document:
    return panels.panel(ask, key, title, told, lambda t: draw(ask, t), say=say, missing=missing)


# ---- title ----


def _top(ask: Ask, fleet: Fleet, tool: Tool | None) -> Document | None:
    if tool is None:
        return None
    forecast = _forecast(fleet, tool)
    state = forecast.state if forecast else None
    return {
        "serial": tool.serial,
        "name": _named(tool),
        "mark": words.STATE_MARKS[state] if state else "",
        "word": words.STATE_WORDS[state] if state else STATES.get(tool.state, tool.state),
        "lead": _place_words(ask, tool),
        "rest": _rest(ask, tool, forecast),
        "figures": _ages(tool),
        "press": f"/press/{tool.press}" if tool.press else "",
        "press_id": words.press_id(tool.press) if tool.press else "",
        "life": f"/life?kind={tool.kind}&position={tool.position}" if tool.position else "",
        "entry": f"/entry?serial={tool.serial}" if ask.who.may("crew") else "",
    }


def _named(tool: Tool) -> str:
    size = "" if tool.size_mm is None else f", {tool.size_mm:g}{words.NB}mm"
    batch = f", batch {tool.batch}" if tool.batch else ""
    return f"{tool.kind}{size}{batch}"


def _forecast(fleet: Fleet, tool: Tool) -> Forecast | None:
    own = fleet.tools.get(tool.press or "", ())
    return next((each for each in own if each.serial == tool.serial), None)


def _place_words(ask: Ask, tool: Tool) -> str:
    if tool.press is None or tool.position is None:
        back = tool.back_at
        when = "" if back is None else f", promised {words.moment(back, ask.zone, ask.now)}"
        return f"{STATES.get(tool.state, tool.state).capitalize()}{when}."
    since = next((fit.fitted_at for fit in reversed(tool.fits) if fit.pulled_at is None), None)
    when = "" if since is None else f" since {words.moment(since, ask.zone, ask.now)}"
    return f"In {words.press_id(tool.press)}, {tool.position}{when}."


def _rest(ask: Ask, tool: Tool, forecast: Forecast | None) -> str:
    number = f"Its {_ordinal(tool.reworks + 1)} life." if tool.reworks else "Never reworked."
    if forecast is None or not fleets.has_range(forecast) or forecast.due is None:
        return number
    low, middle, high = (forecast.due.get(level) for level in ("0.1", "0.5", "0.9"))
    if low is None or middle is None:
        return number
    late = "later" if high is None else words.day(high, ask.zone, ask.now)
    spans = f"{words.day(low, ask.zone, ask.now)} to {late}"
    return f"{number} Due {spans}, half by {words.day(middle, ask.zone, ask.now)}."


def _ordinal(number: int) -> str:
    suffix = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}th" if 10 < number % 100 < 14 else f"{number}{suffix}"


def _ages(tool: Tool) -> list[str]:
    ages = (
        ("since fit", tool.strokes.since_fit),
        ("since rework", tool.strokes.since_rework),
        ("since new", tool.strokes.since_new),
    )
    said = [f"{words.strokes(age)} {word}" for word, age in ages if age is not None]
    if tool.strokes.since_rework is None:
        said.append("strokes since rework not known")
    return said


# ---- where it sat ----

_FITS: Final = (
    Column("Press", "press"),
    Column("Position", "position"),
    Column("Fitted", "fitted_at"),
    Column("Pulled", "pulled_at"),
    Column("Why", "reason"),
    Column("Ran here", "strokes", right=True),
    Column("Before that, since rework", "strokes_before", right=True),
    Column("Size, mm", "size_mm", right=True),
)


def _record(ask: Ask, tool: Tool) -> Document:
    if not tool.fits:
        return {
            "state": "empty",
            "rest": "It was never fitted. A fit is entered on the entry page.",
        }
    rows = [_fit(ask, fit) for fit in reversed(tool.fits)]
    return {
        "line": _run_line(ask, tool),
        "table": table("fits", "Stretches in presses", _FITS, rows),
    }


def _fit(ask: Ask, fit: Fit) -> Row:
    pulled = "still in" if fit.pulled_at is None else _time(ask, fit.pulled_at)
    before = "not known" if fit.strokes_before is None else f"{fit.strokes_before:,}"
    size = "" if fit.size_mm is None else f"{fit.size_mm:g}"
    cells: list[str | Cell] = [
        Cell(words.press_id(fit.press), href=f"/press/{fit.press}"),
        *(fit.position, _time(ask, fit.fitted_at), pulled, fit.reason or ""),
        *(f"{fit.strokes:,}", before, size),
    ]
    out = None if fit.pulled_at is None else fit.pulled_at.isoformat()
    values = [fit.press, fit.position, fit.fitted_at.isoformat(), out, fit.reason]
    return Row(fit.id, cells, [*values, fit.strokes, fit.strokes_before, fit.size_mm])


def _run_line(ask: Ask, tool: Tool) -> Document:
    """One run line over its whole record: stretches as bars, what was done as uprights."""
    first = min(fit.fitted_at for fit in tool.fits)
    length = max((ask.now - first) / timedelta(days=1), 1.0)

    def left(at: datetime) -> float:
        return round(100 * (at - first) / timedelta(days=1) / length, 2)

    bars = [
        {
            "left": left(fit.fitted_at),
            "width": max(round(left(fit.pulled_at or ask.now) - left(fit.fitted_at), 2), 0.2),
            "text": f"{words.press_id(fit.press)} {fit.position}",
            "key": fit.id,
        }
        for fit in tool.fits
    ]
    done = [
        {"left": left(event.at), "key": event.id, "text": event.type}
        for event in tool.history
        if event.stands
        and event.type in ("rework", "send", "shelve", "scrap")
        and event.at >= first
    ]
    spoken = f"{len(bars)} stretches since {words.day(first, ask.zone, ask.now)}"
    ends = [_time(ask, first), _time(ask, ask.now)]
    return {"bars": bars, "events": done, "spoken": spoken, "ends": ends}


def _time(ask: Ask, at: datetime) -> str:
    return words.moment(at, ask.zone, ask.now)


# ---- readings ----

_READINGS: Final = (
    Column("When", "at"),
    Column("Strokes since rework", "strokes", right=True),
    Column("Reading", "value", right=True),
    Column("Unit", "unit"),
    Column("Of its limit", "share", right=True),
    Column("Verdict", "verdict"),
    Column("By", "by"),
)


def age_at(tool: Tool, seen: Seen) -> tuple[str, int] | None:
    """The stretch that an inspection belongs to, and the tool's strokes since rework then."""
    if seen.press_strokes is None:
        return None
    totals = {event.id: event.press_strokes for event in tool.history}
    for fit in reversed(tool.fits):
        at_fit = totals.get(fit.id)
        if fit.press != seen.press or fit.fitted_at > seen.at or at_fit is None:
            continue
        if fit.strokes_before is None:
            return None
        return fit.id, fit.strokes_before + max(seen.press_strokes - at_fit, 0)
    return None


def _wear(ask: Ask, tool: Tool) -> Document:
    seen = [each for each in tool.inspections if each.stands]
    if not seen:
        return {"state": "empty", "rest": "It was never measured or looked at."}
    rows = [_reading(ask, tool, each) for each in sorted(seen, key=lambda s: s.at, reverse=True)]
    made: Document = {"table": table("readings", "Readings and looks", _READINGS, rows)}
    chart = _path(ask, tool, seen)
    return made | {"chart": chart} if chart else made


def _reading(ask: Ask, tool: Tool, seen: Seen) -> Row:
    age = age_at(tool, seen)
    strokes = None if age is None else age[1]
    value = "" if seen.value is None else f"{seen.value:g}"
    unsure = f" ±{seen.uncertainty:g}" if seen.uncertainty and value else ""
    share = "" if seen.share is None else f"{100 * seen.share:.0f}{words.NB}%"
    what = f"{seen.quantity} {value}{unsure}" if seen.quantity else value
    cells = [
        *(_time(ask, seen.at), "" if strokes is None else f"{strokes:,}", what, seen.unit or ""),
        *(share, seen.verdict or "", seen.by or seen.entered_by),
    ]
    values = [seen.at.isoformat(), strokes, seen.value, seen.unit, seen.share, seen.verdict]
    return Row(seen.id, cells, [*values, seen.by or seen.entered_by])


def _path(ask: Ask, tool: Tool, seen: Sequence[Seen]) -> Document | None:
    """Part of the limit used up against strokes, of the life that it is in or was last in."""
    lives = _of_last_life(tool)
    points = [
        (age[1] / M, each.share, each)
        for each in seen
        if each.share is not None and (age := age_at(tool, each)) is not None and age[0] in lives
    ]
    if not points:
        return None
    most = max(max(x for x, _, _ in points), 1.0) * 1.15
    high = max(1.2, 1.1 * max(y for _, y, _ in points))
    low = min(0.0, min(y for _, y, _ in points))
    x = Scale("Strokes since fit or rework, M", 0, most, _ticked(0, most, "{:g}"))
    y = Scale("Part of the limit used up, %", low, high, _ticked(low, high, "{:.0%}"))
    bars = [(px, y0 - w, y0 + w) for px, y0, s in points if (w := _width(s))]
    series = [
        Series("limit", "limit", charts.line(x, y, [(0, 1), (most, 1)])),
        Series("uprights", "95 % range of the reading", charts.uprights(x, y, bars)),
        Series("dots", "readings", charts.dots(x, y, [(px, py) for px, py, _ in points])),
    ]
    return charts.chart(
        "wear",
        "Wear path of this life",
        x,
        y,
        [each for each in series if each.path],
        says=f"{len(points)} readings; the limit is at 100 %.",
        points=[
            Point(
                px, py, f"{_time(ask, s.at)}: {s.value:g}{words.NB}{s.unit} at {px:.3g}{words.NB}M"
            )
            for px, py, s in points
        ],
    )


def _of_last_life(tool: Tool) -> set[str]:
    reworks = [event.at for event in tool.history if event.stands and event.type == "rework"]
    last = max(reworks, default=None)
    return {fit.id for fit in tool.fits if last is None or fit.fitted_at >= last}


def _width(seen: Seen) -> float:
    """Half-width of a reading's range as a part of the limit."""
    if not (seen.uncertainty and seen.value and seen.share):
        return 0.0
    return abs(seen.uncertainty * seen.share / seen.value)


def _ticked(low: float, high: float, form: str) -> list[tuple[float, str]]:
    return [(at, form.format(at).replace("%", f"{words.NB}%")) for at in charts.ticks(low, high)]


# ---- ledger and moves ----

_LEDGER: Final = (
    Column("Done", "at"),
    Column("What", "type"),
    Column("Where", "press"),
    Column("Why, size, note", "note"),
    Column("By", "by"),
    Column("Entered", "entered_at"),
)


def _ledger(ask: Ask, tool: Tool) -> Document:
    rows = [_event(ask, each) for each in sorted(tool.history, key=lambda e: e.at, reverse=True)]
    if not rows:
        return {"state": "empty", "rest": "Nothing was entered of it yet."}
    return {"table": table("ledger", "Events of this tool", _LEDGER, rows)}


def _event(ask: Ask, event: Past) -> Row:
    where = "" if event.press is None else words.press_id(event.press)
    place = " ".join(part for part in (where, event.position or "") if part)
    size = "" if event.size_mm is None else f"{event.size_mm:g}{words.NB}mm"
    back = "" if event.back_at is None else f"back {_time(ask, event.back_at)}"
    about = "; ".join(part for part in (event.reason or "", size, back, event.note or "") if part)
    what = "taken back" if event.void else event.type
    late = event.entered_at - event.at > timedelta(hours=8)
    tone = "doubt" if late else ""
    entered = Cell(f"{_time(ask, event.entered_at)} {event.entered_by}", tone=tone)
    cells: list[str | Cell] = [_time(ask, event.at), what, place, about, event.by or "", entered]
    values = [event.at.isoformat(), what, event.press, about, event.by]
    gone = not event.stands
    return Row(event.id, cells, [*values, event.entered_at.isoformat()], gone=gone)


_MOVES: Final = (
    Column("When", "at"),
    Column("What", "figure"),
    Column("Was", "was", right=True),
    Column("Became", "became", right=True),
    Column("Why", "reason"),
    Column("By", "by"),
)


def _moves(ask: Ask, tool: Tool) -> Document:
    if not tool.moves:
        return {"state": "empty", "rest": "No figure of it was ever put right."}
    rows = [_move(ask, at, move) for at, move in enumerate(tool.moves)]
    return {"table": table("moves", "Figures that moved", _MOVES, rows)}


def _move(ask: Ask, at: int, move: Move) -> Row:
    was = "" if move.was is None else f"{move.was:,}"
    became = "taken back" if move.became is None else f"{move.became:,}"
    figure = f"{move.figure.replace('_', ' ')} of a {move.subject}"
    cells = [_time(ask, move.at), figure, was, became, f"{move.cause}: {move.reason}", move.by]
    values = [move.at.isoformat(), move.figure, move.was, move.became, move.reason, move.by]
    return Row(str(at), cells, values)


_PANELS: Final = (
    ("record", "Where it sat", _record),
    ("wear", "Readings", _wear),
    ("ledger", "Ledger", _ledger, "corrections stay, struck through"),
    ("moves", "Figures that moved", _moves),
)

PAGE: Final = Page(
    view="tool",
    path="/tool/{serial}",
    title="Tool",
    document=document,
    assets=("parts.lazy.js", "parts.lazy.css", "tool.lazy.js", "tool.lazy.css"),
)

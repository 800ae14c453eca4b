"""Where one tool sat, and what was done with it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from dashboard import words
from dashboard.fleet import Document
from dashboard.pages import Ask
from dashboard.record import WholeEvent
from dashboard.tables import Cell, Column, Row, table
from dashboard.tool_facts import Fit, Move, Tool

M: Final = 1e6


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


def where(ask: Ask, tool: Tool) -> Document:
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


_LEDGER: Final = (
    Column("Done", "at"),
    Column("What", "type"),
    Column("Where", "press"),
    Column("Why, size, note", "note"),
    Column("By", "by"),
    Column("Entered", "entered_at"),
)


def ledger(ask: Ask, tool: Tool) -> Document:
    rows = [_event(ask, each) for each in sorted(tool.history, key=lambda e: e.at, reverse=True)]
    if not rows:
        return {"state": "empty", "rest": "Nothing was entered of it yet."}
    return {"table": table("ledger", "Events of this tool", _LEDGER, rows)}


def _event(ask: Ask, event: WholeEvent) -> Row:
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


def moves(ask: Ask, tool: Tool) -> Document:
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

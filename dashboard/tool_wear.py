"""The readings of one tool: a table, and the wear path of its present life."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final

from dashboard import charts, words
from dashboard.charts import Point, Scale, Series
from dashboard.fleet import Document
from dashboard.pages import Ask
from dashboard.record import PlacedInspection
from dashboard.tables import Column, Row, table
from dashboard.tool_facts import Tool

M: Final = 1e6


_READINGS: Final = (
    Column("When", "at"),
    Column("Strokes since rework", "strokes", right=True),
    Column("Reading", "value", right=True),
    Column("Unit", "unit"),
    Column("Of its limit", "share", right=True),
    Column("Verdict", "verdict"),
    Column("By", "by"),
)


def age_at(tool: Tool, seen: PlacedInspection) -> tuple[str, int] | None:
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


def wear(ask: Ask, tool: Tool) -> Document:
    seen = [each for each in tool.inspections if each.stands]
    if not seen:
        return {"state": "empty", "rest": "It was never measured or looked at."}
    rows = [_reading(ask, tool, each) for each in sorted(seen, key=lambda s: s.at, reverse=True)]
    made: Document = {"table": table("readings", "Readings and looks", _READINGS, rows)}
    chart = _path(ask, tool, seen)
    return made | {"chart": chart} if chart else made


def _reading(ask: Ask, tool: Tool, seen: PlacedInspection) -> Row:
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


def _path(ask: Ask, tool: Tool, seen: Sequence[PlacedInspection]) -> Document | None:
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


def _width(seen: PlacedInspection) -> float:
    """Half-width of a reading's range as a part of the limit."""
    if not (seen.uncertainty and seen.value and seen.share):
        return 0.0
    return abs(seen.uncertainty * seen.share / seen.value)


def _ticked(low: float, high: float, form: str) -> list[tuple[float, str]]:
    return [(at, form.format(at).replace("%", f"{words.NB}%")) for at in charts.ticks(low, high)]


def _time(ask: Ask, at: datetime) -> str:
    return words.moment(at, ask.zone, ask.now)

"""The wall's columns: a line each, or those that call someone beside lines that turn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

from dashboard import axis as axes
from dashboard import fleet as fleets
from dashboard import rows, stops, words
from dashboard.client import Forecast, Press, Stop
from dashboard.fleet import Document, Fleet

ROWS: Final = 8
CLOSE_ROWS: Final = 12
"""Rows of a column whose rows stand close: one line of words over a low ramp."""

TIGHT_ROWS: Final = 17
"""Rows of a column whose rows are one line of words each, without the ramp."""

HIGH_PX: Final = 780
"""Height of a column below its head, less where a bar says that the data is old."""

ROW_PX: Final = {"": 97, "close": 64, "tight": 45}


def by_line(fleet: Fleet) -> list[Document]:
    """A column a line with all of its presses in stamped order."""
    return [
        {**_header(fleet, line), "key": line, "set": "", "rows": _rows_of(fleet, line)}
        for line in fleet.lines
    ]


def _rows_of(fleet: Fleet, line: str) -> list[Document]:
    return [_row(fleet, press) for press in fleet.presses if words.line_of(press.press) == line]


def turning(fleet: Fleet, columns: int) -> tuple[list[Document], list[Document]]:
    """Columns that always stand, and those that take turns in what is left of `columns`.

    Those that call someone stand, worst first, in as many columns as they need but one; where
    there are more of them still, every other turn is theirs.
    """
    lines = {line: _rows_of(fleet, line) for line in fleet.lines}
    calls = _worst_first(fleet, [row for made in lines.values() for row in made if row["calls"]])
    is_tight = len(calls) > CLOSE_ROWS * (columns - 1)
    most = TIGHT_ROWS if is_tight else CLOSE_ROWS
    stands = min(math.ceil(len(calls) / most), columns - 1)
    called = [
        _calling(fleet, part, at, len(calls), "tight" if is_tight else "close")
        for at, part in enumerate(_parts(calls, most))
    ]
    calm = [
        {**_header(fleet, line), "key": f"{line}#{at}", "set": "", "rows": part}
        for line, made in lines.items()
        for at, part in enumerate(_parts([row for row in made if not row["calls"]], ROWS))
    ]
    return called[:stands], _between(called[stands:], calm)


def _between(calls: list[Document], calm: list[Document]) -> list[Document]:
    """Every other turn is one of those that call someone, as long as there are any."""
    if not calls or not calm:
        return calls or calm
    turns = max(len(calls), len(calm))
    pairs = ((calls[at % len(calls)], calm[at % len(calm)]) for at in range(turns))
    return [column for pair in pairs for column in pair]


def _parts(made: Sequence[Document], most: int) -> list[list[Document]]:
    return [list(made[at : at + most]) for at in range(0, len(made), most)]


def _worst_first(fleet: Fleet, made: Sequence[Document]) -> list[Document]:
    worst = [tools[0] for tools in fleet.tools.values() if tools]
    order = {tool.press: place for place, tool in enumerate(fleets.by_urgency(worst, fleet.now))}
    return sorted(made, key=lambda row: order[row["key"]])


def _calling(fleet: Fleet, part: list[Document], at: int, count: int, set_: str) -> Document:
    need = f"{count} press{' needs' if count == 1 else 'es need'} someone"
    return {
        "key": f"calls#{at}",
        "line": "",
        "name": "Need someone" if at else need,
        "begins": "too" if at else "",
        "says": "worst first; figure: chance before its own stop",
        "days": [] if set_ == "tight" else axes.day_labels(fleet.axis),
        "set": set_,
        "rows": part,
    }


def _header(fleet: Fleet, line: str) -> Document:
    stop = stops.next_stop(fleet, line)
    return {
        "line": line,
        "name": stops.line_name(line),
        "begins": _begins(fleet, stop),
        "says": _says(fleet, stop, len(stops.wanted(fleet, line))),
        "days": _day_labels(fleet, line, named=stop),
    }


def _begins(fleet: Fleet, stop: Stop | None) -> str:
    if stop is None:
        return "no planned stop entered"
    if stop.begins <= fleet.now:
        return f"stands until {words.since(stop.ends, fleet.zone, fleet.now)}"
    return f"stops {words.moment(stop.begins, fleet.zone, fleet.now)}"


def _says(fleet: Fleet, stop: Stop | None, wanted: int) -> str:
    if stop is None:
        return "figure: chance to end in 7 days"
    room = "" if stop.max_changes is None else f", room for {stop.max_changes}"
    changes = f"{wanted} change{'' if wanted == 1 else 's'} wanted{room}"
    return f"{stops.when(fleet, stop)}: {changes}"


def _day_labels(fleet: Fleet, line: str, *, named: Stop | None) -> list[dict[str, Any]]:
    labels: list[dict[str, Any]] = []
    free_from = 17.0
    for stop in axes.coming(axes.of_line(fleet.stops, line), fleet.now):
        left = fleet.axis.left(stop.begins)
        if stop is not named and free_from <= left <= 88.0:
            labels.append({"left": left, "text": words.weekday(stop.begins, fleet.zone, fleet.now)})
            free_from = left + 24.0
    return labels


def _row(fleet: Fleet, press: Press) -> Document:
    tools = fleet.tools.get(press.press, ())
    tool = tools[0] if tools else None
    return {
        "key": press.press,
        "id": words.press_id(press.press),
        **rows.state(tool),
        **rows.drawn(fleet, press.press, tool, rows.RISE_FLEET),
        "line": words.line_of(press.press),
        "stops": rows.own_stops(fleet, press.press),
        "label": _label(fleet, press, tool),
        "chance": rows.chance_words(fleet, tool),
        "calls": tool is not None and tool.state in rows.NEEDS_SOMEONE,
        "spoken": rows.spoken(fleet, tool),
    }


def _label(fleet: Fleet, press: Press, tool: Forecast | None) -> str:
    if press.last_report is None:
        return "never reported"
    if tool is None:
        return "no range yet"
    if fleets.is_silent(press, fleet.now) and tool.state == "cant-tell":
        return "silent"
    return tool.position

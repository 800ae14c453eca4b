"""The wall: a column for each line, read from three metres, never touched.

What does not fit turns: pages of three columns, eight presses a column. A row that calls someone
stands on every page of its line; what other pages hold of that kind is named in the strip.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from dashboard import axis as axes
from dashboard import desk, rows, stops, words
from dashboard import fleet as fleets
from dashboard.client import Forecast, Press, Stop
from dashboard.fleet import Document, Fleet
from dashboard.pages import Ask, Page

DAYS: Final = 21
COLUMNS: Final = 3
ROWS: Final = 8
TURN_S: Final = 20

EXPLAINED: Final = "Three weeks from now. Thick line: next stop. Figure: chance to end before it."
SAFE: Final = "No screen is proof that a machine is safe."


def document(fleet: Fleet, *, fault: str = "") -> Document:
    """The whole wall. `fault`: why the API gave no answer, empty when it did."""
    columns = [column for line in fleet.lines for column in _columns(fleet, line)]
    return {
        "view": "wall",
        "title": "Wall · Duestroke",
        "head": fleets.head(fleet),
        "bar": fleets.bar(fleet, fault),
        "tally": _tally(fleet),
        "axis": {"span": fleet.axis.span, "weeks": axes.weeks(fleet.axis)},
        "lines": fleets.line_paths(fleet),
        "pages": _pages(columns),
        "turn_s": TURN_S,
        "strip": EXPLAINED,
        "safe": SAFE,
        "empty": "" if fleet.presses else desk.FIRST_DAY,
    }


def _tally(fleet: Fleet) -> list[dict[str, Any]]:
    counts = fleets.tally(fleet)
    return [
        {"word": words.STATE_WORDS[state], "mark": words.STATE_MARKS[state], "count": counts[state]}
        for state in rows.NEEDS_SOMEONE
        if state in counts
    ] or [
        {"word": words.STATE_WORDS[state], "mark": words.STATE_MARKS[state], "count": count}
        for state, count in counts.items()
    ]


def _pages(columns: Sequence[Document]) -> list[Document]:
    cuts = [list(columns[at : at + COLUMNS]) for at in range(0, len(columns), COLUMNS)]
    return [
        {"columns": page, "elsewhere": _elsewhere(page, columns), "count": len(cuts)}
        for page in cuts
    ]


def _elsewhere(page: Sequence[Document], columns: Sequence[Document]) -> str:
    here = {row["key"] for column in page for row in column["rows"]}
    calls = {
        row["key"]: f"{row['id']} {row['word']}"
        for column in columns
        for row in column["calls"]
        if row["key"] not in here
    }
    return f"Also: {words.listed(list(calls.values()), 5)}" if calls else ""


def _columns(fleet: Fleet, line: str) -> list[Document]:
    presses = [press for press in fleet.presses if words.line_of(press.press) == line]
    made = [_row(fleet, press) for press in presses]
    calls = [row for row in made if row["calls"]]
    return [
        {**_header(fleet, line), "key": f"{line}#{at}", "rows": turn, "calls": calls}
        for at, turn in enumerate(turns(made))
    ]


def turns(made: Sequence[Document]) -> list[list[Document]]:
    """A line's rows in turns of eight, in stamped order; rows that call someone are in each.

    Where more than eight call someone, all rows take turns alike.
    """
    if len(made) <= ROWS:
        return [list(made)]
    calls = [row for row in made if row["calls"]]
    others = [row for row in made if not row["calls"]]
    room = ROWS - len(calls)
    if room < 1:
        return [list(made[at : at + ROWS]) for at in range(0, len(made), ROWS)]
    parts = [others[at : at + room] for at in range(0, len(others), room)] or [[]]
    order = {row["key"]: place for place, row in enumerate(made)}
    return [sorted(calls + part, key=lambda row: order[row["key"]]) for part in parts]


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


def _page(ask: Ask) -> Document:
    return document(ask.arranged(DAYS), fault=ask.fault)


PAGE: Final = Page(view="wall", path="/wall", title="Wall", document=_page, word="Wall")

"""The wall: a column for each line, read from three metres, never touched.

Where all lines fit, each has its column. Where they don't (more lines than columns, or a line of
more presses than rows), the presses that call someone stand in columns of their own that never
turn away, and the others turn through the columns that are left.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from dashboard import beside as besides
from dashboard import desk, rows, shifts, words
from dashboard import fleet as fleets
from dashboard import wall_columns as made_of
from dashboard.axis import weeks
from dashboard.beside import Beside
from dashboard.fleet import Document, Fleet
from dashboard.pages import Ask, Page
from dashboard.wall_notes import notes, placed

DAYS: Final = 21
COLUMNS: Final = 3
FEWEST: Final = 2
TURN_S: Final = 20
NAMED: Final = {COLUMNS: 5, FEWEST: 3}
"""Presses on other pages that are named in the strip, by columns."""

EXPLAINED: Final = "Three weeks from now. Thick line: next stop. Figure: chance to end before it."
SAFE: Final = "No screen is proof that a machine is safe."


def document(fleet: Fleet, beside: Beside, *, fault: str = "", columns: int = COLUMNS) -> Document:
    """The whole wall.

    fault: why the API gave no answer, empty when it did.  columns: that the screen has room for.
    """
    return {
        "view": "wall",
        "title": "Wall · Duestroke",
        "head": fleets.head(fleet) | {"shift": shifts.now_words(beside.duty, fleet)},
        "bar": fleets.bar(fleet, fault),
        "tally": _tally(fleet),
        "axis": {"span": fleet.axis.span, "weeks": weeks(fleet.axis)},
        "lines": fleets.line_paths(fleet),
        "pages": _pages(fleet, beside, columns),
        "columns": columns,
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


def _pages(fleet: Fleet, beside: Beside, columns: int) -> list[Document]:
    by_line = made_of.by_line(fleet)
    said = notes(fleet, beside)
    if len(by_line) <= columns and all(len(each["rows"]) <= made_of.ROWS for each in by_line):
        return [_page_of(placed(by_line, said)[0], [], 0)] if by_line else []
    fixed, turning = made_of.turning(fleet, columns)
    fixed, said = placed(fixed, said)
    room = columns - len(fixed)
    cuts = [turning[at : at + room] for at in range(0, len(turning), room)] or [[]]
    calls = [row for column in (*fixed, *turning) for row in column["rows"] if row["calls"]]
    return [_page_of([*fixed, *placed(cut, said)[0]], calls, NAMED[columns]) for cut in cuts]


def _page_of(page: Sequence[Document], calls: Sequence[Document], most: int) -> Document:
    here = {row["key"] for column in page for row in column["rows"]}
    named = {row["key"]: f"{row['id']} {row['word']}" for row in calls}
    away = [said for key, said in named.items() if key not in here]
    return {
        "columns": list(page),
        "elsewhere": f"Also: {words.listed(away, most)}" if away else "",
    }


def _columns_of(ask: Ask) -> int:
    """Columns that the screen says it has room for."""
    given = ask.param("columns")
    return int(given) if given in (str(FEWEST), str(COLUMNS)) else COLUMNS


def _page(ask: Ask) -> Document:
    fleet = ask.arranged(DAYS)
    beside = besides.read(ask, fleet)
    return document(fleet, beside, fault=ask.fault, columns=_columns_of(ask))


PAGE: Final = Page(view="wall", path="/wall", title="Wall", document=_page, word="Wall")

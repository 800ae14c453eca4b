"""What takes the free space under the wall's columns: the last hours, and where no spare is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from dashboard import fleet as fleets
from dashboard import lately, words
from dashboard.beside import Beside
from dashboard.entry_words import REASON_WORDS
from dashboard.fleet import Document, Fleet
from dashboard.wall_columns import HIGH_PX, ROW_PX

TITLE_PX: Final = 46
LINE_PX: Final = 36
MOST_LINES: Final = 4


def notes(fleet: Fleet, beside: Beside) -> list[Document]:
    """Notes that have something to say, `title` and `lines`."""
    return [note for note in (_since(fleet, beside), _missing(fleet, beside)) if note["lines"]]


def placed(
    columns: Sequence[Document], given: Sequence[Document]
) -> tuple[list[Document], list[Document]]:
    """The columns, those with most room under them with a note each; notes without a place."""
    order = sorted(range(len(columns)), key=lambda at: -_free(columns[at]))
    held: dict[int, Document] = {}
    rest = list(given)
    for at in order:
        room = max(0, min(MOST_LINES, (_free(columns[at]) - TITLE_PX) // LINE_PX))
        if room and rest:
            note = rest.pop(0)
            held[at] = note | {"lines": _cut(note["lines"], room)}
    return [column | {"note": held.get(at)} for at, column in enumerate(columns)], rest


def _free(column: Document) -> int:
    """Height below a column's rows, px of a screen 1080 high."""
    return HIGH_PX - ROW_PX[column["set"]] * len(column["rows"])


def _cut(lines: Sequence[str], room: int) -> list[str]:
    if len(lines) <= room:
        return list(lines)
    if room == 1:
        return [f"{lines[0]}, {len(lines) - 1}{words.NB}more"]
    return [*lines[: room - 1], f"and {len(lines) - room + 1} more"]


def _since(fleet: Fleet, beside: Beside) -> Document:
    """Broken tools, can defects and jams since the last shift began, newest first."""
    since = beside.duty.since(fleet.now)
    mine = {press.press for press in fleet.presses}
    told = beside.events.value or ()
    broken = [
        (each.at, each.press, f"{each.position} {REASON_WORDS[each.reason]}")
        for each in lately.changes(told, since)
        if each.reason in lately.SURPRISES
    ]
    jams = [(each.at, each.press, "jam") for each in lately.jams(told, since)]
    found = sorted((each for each in [*broken, *jams] if each[1] in mine), reverse=True)
    lines = [
        f"{words.press_id(press)} {what}, {words.since(at, fleet.zone, fleet.now)}"
        for at, press, what in found
    ]
    return {"title": f"Since {words.since(since, fleet.zone, fleet.now)}", "lines": lines}


def _missing(fleet: Fleet, beside: Beside) -> Document:
    """Tools that are wanted out, worst first, for which the shelf has none."""
    found = [
        tool for tools in fleet.tools.values() for tool in tools if beside.spares.is_missing(tool)
    ]
    lines = [
        f"{words.press_id(tool.press)} {tool.position}"
        for tool in fleets.by_urgency(found, fleet.now)
    ]
    return {"title": "No spare on the shelf", "lines": lines}

"""The stops of each line: what the engine wants changed at the next one, against its room."""

from __future__ import annotations

from typing import Any

from dashboard import axis as axes
from dashboard import fleet as fleets
from dashboard import words
from dashboard.client import Forecast, Stop
from dashboard.fleet import Document, Fleet

NO_STOP = (
    "No planned stop is entered. Until one is, chances are given for seven, fourteen and "
    "twenty-one days from now."
)


def section(fleet: Fleet) -> Document:
    """A row for each line, or the sentence that says why there is none."""
    if fleet.answers.stops is None:
        return {"say": "", "rows": [], "empty": "The planned stops could not be read."}
    if not fleet.presses:
        return {"say": "", "rows": [], "empty": "No press is registered, so no line has stops."}
    if not fleet.stops:
        return {"say": "", "rows": [], "empty": NO_STOP}
    say = "changes wanted at the next stop, against the changes it has room for"
    return {"say": say, "rows": [_row(fleet, line) for line in fleet.lines], "empty": ""}


def next_stop(fleet: Fleet, line: str) -> Stop | None:
    """Where a line's tools can be changed next: the stop under way, or the first ahead."""
    return next(iter(axes.of_line(fleet.stops, line)), None)


def wanted(fleet: Fleet, line: str) -> list[Forecast]:
    """Tools of a line that the engine wants out at its next stop, worst first."""
    found = [
        tool
        for press, tools in fleet.tools.items()
        for tool in tools
        if words.line_of(press) == line and tool.state in ("overdue", "this-stop")
    ]
    return fleets.by_urgency(found, fleet.now)


def when(fleet: Fleet, stop: Stop) -> str:
    """How far off a stop is: `now`, `tomorrow`, `in 3 days`."""
    if stop.begins <= fleet.now:
        return "now"
    return words.days_ahead(stop.begins, fleet.zone, fleet.now)


def _row(fleet: Fleet, line: str) -> Document:
    stop = next_stop(fleet, line)
    tools = wanted(fleet, line)
    base = {"key": line, "line": line, "name": line_name(line), "tools": _tool_names(tools)}
    if stop is None:
        return {**base, "when": "no planned stop entered", "ahead": "", "measure": None, "with": ""}
    return {
        **base,
        "when": _window(fleet, stop),
        "ahead": when(fleet, stop),
        "measure": _measure(fleet, stop, len(tools)),
        "with": _left_over(stop, len(tools)),
    }


def line_name(line: str) -> str:
    """`Line 2` of `site/2`."""
    return f"Line{words.NB}{line.rpartition('/')[2]}"


def _tool_names(tools: list[Forecast]) -> str:
    names = [f"{words.press_id(tool.press)} {_held(tool.position)}" for tool in tools]
    return words.listed(names, 5) if names else "nothing wanted"


def _held(position: str) -> str:
    return position.replace("-", "\u2011")


def _window(fleet: Fleet, stop: Stop) -> str:
    begin = words.moment(stop.begins, fleet.zone, fleet.now)
    same = stop.begins.astimezone(fleet.zone).date() == stop.ends.astimezone(fleet.zone).date()
    if same:
        return f"{begin}–{words.clock(stop.ends, fleet.zone)}"
    return f"{begin} to {words.moment(stop.ends, fleet.zone, fleet.now)}"


def _measure(fleet: Fleet, stop: Stop, count: int) -> dict[str, Any] | None:
    left = max(0.0, fleet.axis.left(stop.begins))
    if stop.max_changes is None or left > axes.LABEL_TO:
        return None
    return {
        "left": left,
        "fill": round(100 * min(1.0, count / stop.max_changes)),
        "count": f"{count}{words.NB}wanted",
        "room": f"room{words.NB}for{words.NB}{stop.max_changes}",
    }


def _left_over(stop: Stop, count: int) -> str:
    if stop.max_changes is None:
        return "no limit on changes entered"
    over = count - stop.max_changes
    if over > 0:
        return f"{over} more wanted than there is room for"
    return "room for all" if count else ""

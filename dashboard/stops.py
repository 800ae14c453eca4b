"""The stops of each line: what is wanted at the next one, what does not fit, and the load to come.

At the next two stops stand the tools that the engine wants out there. A later stop is the last one
before a tool's drawn range has reached 25 %, the contract's rule where no costs are set. Each tool
stands once, at its next change.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, Final

from dashboard import axis as axes
from dashboard import fleet as fleets
from dashboard import ramp, words
from dashboard.client import Forecast, Stop
from dashboard.fleet import Document, Fleet
from dashboard.spares import Spares

NO_STOP = (
    "No planned stop is entered. Until one is, chances are given for seven, fourteen and "
    "twenty-one days from now."
)
RULE: Final = 0.25
ROOM: Final = 12.5
"""Width that the words of a measure take, per cent of the axis."""

MOST_NAMED: Final = 5
MOST_LEFT_OUT: Final = 3


def section(fleet: Fleet, spares: Spares) -> Document:
    """A row for each line, or the sentence that says why there is none."""
    if fleet.answers.stops is None:
        return {"say": "", "rows": [], "empty": "The planned stops could not be read."}
    if not fleet.presses:
        return {"say": "", "rows": [], "empty": "No press is registered, so no line has stops."}
    if not fleet.stops:
        return {"say": "", "rows": [], "empty": NO_STOP}
    say = "changes wanted at each stop against those it has room for, every tool at its next change"
    return {"say": say, "rows": [_row(fleet, spares, line) for line in fleet.lines], "empty": ""}


def next_stop(fleet: Fleet, line: str) -> Stop | None:
    """Where a line's tools can be changed next: the stop under way, or the first ahead."""
    return next(iter(axes.of_line(fleet.stops, line)), None)


def wanted(fleet: Fleet, line: str) -> list[Forecast]:
    """Tools of a line that the engine wants out at its next stop, worst first."""
    return _in_states(fleet, line, ("overdue", "this-stop"))


def _in_states(fleet: Fleet, line: str, states: Sequence[str]) -> list[Forecast]:
    found = [
        tool
        for press, tools in fleet.tools.items()
        for tool in tools
        if words.line_of(press) == line and tool.state in states
    ]
    return fleets.by_urgency(found, fleet.now)


def when(fleet: Fleet, stop: Stop) -> str:
    """How far off a stop is: `now`, `tomorrow`, `in 3 days`."""
    if stop.begins <= fleet.now:
        return "now"
    return words.days_ahead(stop.begins, fleet.zone, fleet.now)


def _row(fleet: Fleet, spares: Spares, line: str) -> Document:
    ahead = axes.of_line(fleet.stops, line)
    base: Document = {"key": line, "line": line, "name": line_name(line)}
    if not ahead:
        none: Document = {"when": "no planned stop entered", "ahead": "", "measures": []}
        return base | none | {"tools": [], "more": "", "with": [], "spoken": ""}
    tools = wanted(fleet, line)
    load = counts(fleet, line, ahead)
    return base | {
        "when": _window(fleet, ahead[0]),
        "ahead": when(fleet, ahead[0]),
        "tools": [_named(tool) for tool in tools[:MOST_NAMED]],
        "more": _more(len(tools)),
        "measures": _measures(fleet, ahead, load),
        "spoken": _spoken(fleet, ahead, load),
        "with": _left_over(fleet, spares, line, ahead[0], tools),
    }


def line_name(line: str) -> str:
    """`Line 2` of `site/2`."""
    return f"Line{words.NB}{line.rpartition('/')[2]}"


def _named(tool: Forecast) -> dict[str, str]:
    place = "the press itself" if tool.position == "press" else _held(tool.position)
    return {
        "key": f"{tool.press}:{tool.position}",
        "id": words.press_id(tool.press),
        "href": f"/press/{tool.press}",
        "text": place,
    }


def _more(count: int) -> str:
    if not count:
        return "nothing wanted"
    return f"and {count - MOST_NAMED}{words.NB}more" if count > MOST_NAMED else ""


def _held(position: str) -> str:
    return position.replace("-", "\u2011")


def _window(fleet: Fleet, stop: Stop) -> str:
    begin = words.moment(stop.begins, fleet.zone, fleet.now)
    same = stop.begins.astimezone(fleet.zone).date() == stop.ends.astimezone(fleet.zone).date()
    if same:
        return f"{begin}–{words.clock(stop.ends, fleet.zone)}"
    return f"{begin} to {words.moment(stop.ends, fleet.zone, fleet.now)}"


# ---- the load of each stop ----


def counts(fleet: Fleet, line: str, ahead: Sequence[Stop]) -> list[int]:
    """Changes wanted at each of a line's stops; the first is the one under way or next."""
    found = [0] * len(ahead)
    found[0] = len(wanted(fleet, line))
    planned = _in_states(fleet, line, ("plan",))
    if len(found) > 1:
        found[1] = len(planned)
    for tool in _in_states(fleet, line, ("fine",)):
        at = _later_stop(fleet, tool, ahead)
        if at is not None:
            found[at] += 1
    return found


def _later_stop(fleet: Fleet, tool: Forecast, ahead: Sequence[Stop]) -> int | None:
    """The last stop before the drawn range reaches 25 %, from the third one on; None past all."""
    scale = ramp.Scale(now=fleet.now, span=fleet.axis.span, rise=1.0)
    chances = [(each.at, each.chance) for each in tool.chance_before]
    points = ramp.curve(fleets.usable_due(tool), chances, scale)
    for at, (_, after) in enumerate(pairwise(ahead)):
        if at >= 2 and _has_reached(points, scale.x(after.begins)):
            return at
    return None


def _has_reached(points: list[ramp.Point], x: float) -> bool:
    level = ramp.height(points, x)
    return level >= RULE if level is not None else bool(points) and points[-1][0] < x


def _measures(fleet: Fleet, ahead: Sequence[Stop], load: Sequence[int]) -> list[Document]:
    """A vessel a stop, filled to the share of its room; words where there is room for them."""
    shown: list[Document] = []
    free_from = -1.0
    for place, (stop, count) in enumerate(zip(ahead, load, strict=True)):
        left = max(0.0, fleet.axis.left(stop.begins))
        if not free_from <= left <= axes.LABEL_TO:
            continue
        worded = left <= 100.0 - ROOM
        shown.append(_measure(stop, count, left, is_next=not place, worded=worded))
        free_from = left + (ROOM if worded else 2.0)
    return shown


def _measure(stop: Stop, count: int, left: float, *, is_next: bool, worded: bool) -> dict[str, Any]:
    room = stop.max_changes
    share = 0.0 if not room else min(1.0, count / room)
    return {
        "key": stop.id,
        "left": left,
        "next": is_next,
        "fill": round(100 * share),
        "over": room is not None and count > room,
        "vessel": room is not None,
        "count": f"{count}{words.NB}wanted" if worded else "",
        "room": _room(room) if worded else "",
    }


def _room(room: int | None) -> str:
    return f"no{words.NB}limit" if room is None else f"room{words.NB}for{words.NB}{room}"


def _spoken(fleet: Fleet, ahead: Sequence[Stop], load: Sequence[int]) -> str:
    said = [
        f"{words.weekday(stop.begins, fleet.zone, fleet.now)}: {count} wanted, "
        f"{_room(stop.max_changes)}"
        for stop, count in zip(ahead, load, strict=True)
        if fleet.axis.left(stop.begins) <= 100.0
    ]
    return "; ".join(said)


# ---- what does not fit ----


def left_out(stop: Stop, tools: Sequence[Forecast]) -> Sequence[Forecast]:
    """Tools that a stop has no room for when the worst are taken first."""
    return () if stop.max_changes is None else tools[stop.max_changes :]


def _left_over(
    fleet: Fleet, spares: Spares, line: str, stop: Stop, tools: Sequence[Forecast]
) -> list[dict[str, str]]:
    out = left_out(stop, tools)
    said: list[dict[str, str]] = []
    if out:
        risks = words.listed([_risk(fleet, stop, tool) for tool in out], MOST_LEFT_OUT)
        said.append(_line("act", f"No room for {len(out)}: {risks}."))
    missing = [_short(tool) for tool in tools if spares.is_missing(tool)]
    if missing:
        said.append(_line("act", f"No spare for {words.listed(missing, MOST_LEFT_OUT)}."))
    doubt = dict.fromkeys(
        words.press_id(tool.press) for tool in _in_states(fleet, line, ("cant-tell",))
    )
    if doubt:
        said.append(_line("doubt", f"{words.listed(list(doubt), 3)} can’t be told."))
    if stop.max_changes is None:
        said.append(_line("", "No limit on changes is entered."))
    elif tools and not out:
        said.append(_line("", "room for all"))
    return said


def _line(tone: str, text: str) -> dict[str, str]:
    return {"tone": tone, "text": text}


def _short(tool: Forecast) -> str:
    return f"{words.press_id(tool.press)}{words.NB}{_held(tool.position)}"


def _risk(fleet: Fleet, stop: Stop, tool: Forecast) -> str:
    """A tool that is left out of a stop, and the chance that it ends before the one after."""
    chances = fleets.ahead(tool, fleet.now)
    after = next((each for each in chances if each.at >= stop.ends), None)
    risk = f" ({words.chance(after.chance)} to end before the stop after)" if after else ""
    return f"{_short(tool)}{risk}"

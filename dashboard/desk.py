"""The Shift page at the desk: what needs someone, the stops of each line, all presses."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Final
from urllib.parse import urlencode

from dashboard import beside as besides
from dashboard import fleet as fleets
from dashboard import lately, rows, shifts, spares, stops, words
from dashboard.beside import Beside
from dashboard.client import Forecast, Press
from dashboard.fleet import Document, Fleet
from dashboard.pages import Ask, Page
from dashboard.spares import Spares
from duestroke.names import PRESS_POSITION

DAYS: Final = 42
MOST_ROWS: Final = 7

KEY: Final = (
    ("fine", "fine", "no change wanted at the next two stops"),
    ("plan", "plan", "wanted at the stop after next"),
    ("stop", "this stop", "change at the line’s next stop"),
    ("over", "overdue", "more likely than not past its end"),
    ("doubt", "can’t tell", "counts don’t carry a range"),
)
FIRST_DAY: Final = (
    "No press is registered. Register the first one with the API: "
    "PUT /api/v1/presses/{site}/{line}/{press}."
)
NO_RANGE: Final = (
    "No range yet: no tool is recorded in a press. Enter the tools that are in with the API: "
    "POST /api/v1/tool-events."
)
HOW_TO_READ: Final = (
    "How to read a range: marks at 10, 50 and 90 %; the height of the ramp is the chance that the "
    "tool has ended by then; what stands coloured before the next stop line is the risk of not "
    "reaching it. One tool in ten lasts past the last mark. Blue bracket: its spare comes "
    "back from rework, in a size that is open until it is ground, from the day promised to the day "
    "by which nine in ten are back."
)


def document(
    fleet: Fleet, beside: Beside, *, fault: str = "", opened: Collection[str] = ()
) -> Document:
    """The whole desk page.

    opened: presses whose tools are all shown, `do` for all that need someone, or the key of a list
    of what happened lately.

    `fault`: why the last question to the API got no answer, empty when it did.
    """
    return {
        "view": "desk",
        "title": "Shift · Duestroke",
        "head": fleets.head(fleet) | {"shift": shifts.now_words(beside.duty, fleet)},
        "bar": fleets.bar(fleet, fault),
        "axis": fleets.axis_head(fleet),
        "lines": fleets.line_paths(fleet),
        "do": _do(fleet, beside, "do" in opened),
        "stops": stops.section(fleet, beside.spares),
        "lately": lately.section(fleet, beside, opened),
        "fleet": _all(fleet, opened),
        "key": KEY,
        "read": HOW_TO_READ,
        "foot": fleets.foot(fleet),
    }


# ---- do this shift ----


def wanted(fleet: Fleet, held: Spares) -> list[Forecast]:
    """Tools that need someone, worst first; a press that can't be told stands once.

    A tool that is wanted at the stop after next is among them where the shelf has no spare for it.
    """
    found = [tool for tools in fleet.tools.values() for tool in tools if _needs(tool, held)]
    kept: list[Forecast] = []
    doubted: set[str] = set()
    for tool in fleets.by_urgency(found, fleet.now):
        if tool.state == "cant-tell" and tool.press in doubted:
            continue
        if tool.state == "cant-tell":
            doubted.add(tool.press)
        kept.append(tool)
    return kept


def _needs(tool: Forecast, held: Spares) -> bool:
    if tool.state == "plan":
        return held.is_missing(tool)
    return tool.state in rows.NEEDS_SOMEONE


def _do(fleet: Fleet, beside: Beside, whole: bool) -> Document:
    found = wanted(fleet, beside.spares)
    shown = found if whole else found[:MOST_ROWS]
    said = _said_by_all(shown)
    return {
        "say": "worst first; the figure at a stop line is the chance that the tool ends before it",
        "more": _more(len(found), whole),
        "whole": whole,
        "rows": [_do_row(fleet, beside, tool, said) for tool in shown]
        or _next_to_come(fleet, beside),
        "note": _note(fleet, said),
        "empty": "" if found else _nothing(fleet),
        "fault": _ranges_fault(fleet),
    }


def _said_by_all(shown: Sequence[Forecast]) -> list[str]:
    """Cautions that every row with a range would repeat: the section says them once."""
    told = [tool.basis.cautions for tool in shown if tool.state != "cant-tell"]
    if len(told) < 2:
        return []
    return [caution for caution in told[0] if all(caution in each for each in told)]


def _note(fleet: Fleet, said: Sequence[str]) -> str:
    told = rows.cautions(fleet, said)
    lower = [caution[0] + sentence[1:] for caution, sentence in zip(said, told, strict=True)]
    return " ".join(["For all of these:", *lower]) if lower else ""


def _more(count: int, whole: bool) -> str:
    if count <= MOST_ROWS:
        return ""
    return f"the worst {MOST_ROWS} only" if whole else f"all {count} that need someone"


def _do_row(fleet: Fleet, beside: Beside, tool: Forecast, said: Collection[str] = ()) -> Document:
    doubt = tool.state == "cant-tell"
    return {
        "key": f"{tool.press}:{tool.position}",
        "press": tool.press,
        "id": words.press_id(tool.press),
        **rows.state(tool),
        **rows.drawn(fleet, tool.press, tool, rows.RISE_DO),
        "line": words.line_of(tool.press),
        "stops": rows.own_stops(fleet, tool.press),
        "label": _subject(fleet, tool),
        **_serial(fleet, tool),
        "why": rows.reason(fleet, tool, said),
        "figures": rows.chance_figures(fleet, tool),
        "cap": rows.as_of(fleet, tool) if doubt and fleets.has_range(tool) else "",
        "range": "" if doubt else rows.due_range(fleet, tool),
        "half": "" if doubt else rows.middle(fleet, tool),
        "basis": rows.basis(tool),
        "basis_at": _basis_at(tool),
        "spare": spares.said(beside.spares, fleet, tool),
        "back": spares.bracket(beside.spares, fleet, tool),
        "enter": _enter(beside, tool) if beside.can_enter else None,
        "spoken": rows.spoken(fleet, tool),
    }


def _basis_at(tool: Forecast) -> str:
    """Where the lives behind a range are shown."""
    if tool.position == PRESS_POSITION:
        return f"/press/{tool.press}"
    return "/life?" + urlencode({"position": tool.position, "serial": tool.serial or ""})


def _enter(beside: Beside, tool: Forecast) -> Document | None:
    """The entry page with what is known of the row already in its form."""
    if tool.state == "cant-tell":
        return {"word": "Records", "href": "/records"}
    if tool.position == PRESS_POSITION:
        asked = {"do": "service", "press": tool.press}
        return {"word": "Enter a service", "href": _entry(asked)}
    spare = beside.spares.of(tool)
    serial = spare.held.serial if spare is not None and spare.held is not None else ""
    asked = {"do": "exchange", "press": tool.press, "position": tool.position}
    return {
        "word": "Enter the change",
        "href": _entry(asked | ({"serial": serial} if serial else {})),
    }


def _entry(asked: dict[str, str]) -> str:
    return "/entry?" + urlencode(asked, safe="/")


def _doubted(fleet: Fleet, press: str) -> int:
    return sum(tool.state == "cant-tell" for tool in fleet.tools.get(press, ()))


def _subject(fleet: Fleet, tool: Forecast) -> str:
    if tool.state == "cant-tell" and _doubted(fleet, tool.press) > 1:
        silent = {press.press for press in fleet.presses if fleets.is_silent(press, fleet.now)}
        return "not reporting" if tool.press in silent else "range not told"
    return "the press itself" if tool.position == PRESS_POSITION else tool.position


def _serial(fleet: Fleet, tool: Forecast) -> Document:
    """Serial, which leads to the tool's page, and strokes; or how many tools are in doubt."""
    count = _doubted(fleet, tool.press)
    if tool.state == "cant-tell" and count > 1:
        of = len(fleet.tools[tool.press])
        said = "all its tools" if count == of else f"{count} of its {of} tools"
        return {"serial": "", "strokes": said}
    serial = "" if tool.position == PRESS_POSITION else tool.serial or ""
    return {"serial": serial, "strokes": words.strokes(tool.strokes)}


def _calm(fleet: Fleet) -> Forecast | None:
    found = [tool for tools in fleet.tools.values() for tool in tools]
    calm = [tool for tool in found if tool.state in rows.QUIET]
    return next(iter(fleets.by_urgency(calm, fleet.now)), None)


def _next_to_come(fleet: Fleet, beside: Beside) -> list[Document]:
    tool = _calm(fleet)
    return [_do_row(fleet, beside, tool)] if tool else []


def _nothing(fleet: Fleet) -> str:
    if fleet.answers.forecasts is None:
        return ""
    if not fleet.presses:
        return "No press is registered, so there is nothing to do yet."
    if _calm(fleet) is None:
        return NO_RANGE
    return "Nothing is wanted this shift. Next to come is the tool below."


def _ranges_fault(fleet: Fleet) -> str:
    if fleet.answers.forecasts is not None:
        return ""
    at = words.clock(fleet.answers.at, fleet.zone)
    why = fleet.answers.faults[0] if fleet.answers.faults else "the API gave no answer"
    return f"At {at} {why}. Presses and their counts are right."


# ---- all presses ----


def _all(fleet: Fleet, opened: Collection[str]) -> Document:
    counts = fleets.tally(fleet)
    said = [f"{count} {words.STATE_WORDS[state]}" for state, count in counts.items()]
    said = [each.replace(" ", words.NB) for each in said]
    return {
        "say": "by the two numbers stamped in the dome, each with the tool that is worst off, its "
        "strokes and its chance of ending before the next stop",
        "tally": ", ".join(said),
        "rows": [row for press in fleet.presses for row in _press_rows(fleet, press, opened)],
        "empty": "" if fleet.presses else FIRST_DAY,
    }


def _press_rows(fleet: Fleet, press: Press, opened: Collection[str]) -> list[Document]:
    tools = fleet.tools.get(press.press, ())
    is_open = press.press in opened and bool(tools)
    row = _press_row(fleet, press, tools[0] if tools else None)
    row |= {"open": is_open, "opens": bool(tools)}
    if not is_open:
        return [row]
    return [row, *(_tool_row(fleet, press, tool) for tool in tools)]


def _press_row(fleet: Fleet, press: Press, tool: Forecast | None) -> Document:
    mates = [p.press for p in fleet.presses if words.line_of(p.press) == words.line_of(press.press)]
    return {
        **_fleet_row(fleet, press, tool),
        "key": press.press,
        "id": words.press_id(press.press),
        "group": mates[0] == press.press and press is not fleet.presses[0],
        "with": rows.pace(fleet, press),
    }


def _tool_row(fleet: Fleet, press: Press, tool: Forecast) -> Document:
    return {
        **_fleet_row(fleet, press, tool),
        "key": f"{press.press}:{tool.position}",
        "id": "",
        "group": False,
        "label": tool.position,
        "with": {"text": rows.due_range(fleet, tool), "tone": ""},
        "open": False,
        "opens": False,
    }


def _fleet_row(fleet: Fleet, press: Press, tool: Forecast | None) -> Document:
    return {
        "press": press.press,
        **rows.state(tool),
        **rows.drawn(fleet, press.press, tool, rows.RISE_FLEET),
        "line": words.line_of(press.press),
        "stops": rows.own_stops(fleet, press.press),
        "label": _label(fleet, press, tool),
        "strokes": words.strokes(tool.strokes) if tool and tool.state != "cant-tell" else "",
        "chance": rows.chance_words(fleet, tool),
        "spoken": rows.spoken(fleet, tool),
    }


def _label(fleet: Fleet, press: Press, tool: Forecast | None) -> str:
    if tool is None:
        return "no range yet" if fleet.answers.forecasts is not None else "range not read"
    if tool.state == "cant-tell" and fleets.is_silent(press, fleet.now) and fleets.has_range(tool):
        return rows.as_of(fleet, tool)
    return tool.position


def _page(ask: Ask) -> Document:
    fleet = ask.arranged(DAYS)
    return document(fleet, besides.read(ask, fleet), fault=ask.fault, opened=ask.opened)


PAGE: Final = Page(view="desk", path="/", title="Shift", document=_page, word="Shift")

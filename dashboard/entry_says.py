"""What is said of a serial as soon as it is scanned, typed or picked: the same as the API would.

The API judges what is entered; this only says early what it is going to say.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from dashboard import entry_tools as tools
from dashboard import words
from dashboard.entry_tools import Place, Tool, ToolWhole
from dashboard.fleet import Document
from dashboard.pages import Ask
from duestroke import names

Tone = Literal["ok", "no", "ask", "quiet"]

STATES: Final = {
    "shelf": "On the shelf",
    "bench": "On the bench",
    "out": "Out for rework",
    "fitted": "In a press",
    "scrapped": "Scrapped",
}


@dataclass(frozen=True, slots=True)
class Says:
    """Words under a field. `no`: it will be refused; `ask`: it is taken, and asked about.

    like: serials that may have been meant.
    """

    tone: Tone
    text: str
    like: tuple[str, ...] = ()

    def document(self) -> Document:
        """As the page draws it."""
        return {"tone": self.tone, "text": self.text, "like": list(self.like)}


def of_serial(
    ask: Ask, serial: str, judge: Callable[[ToolWhole], Says], *, kind: str = ""
) -> tuple[Says, ToolWhole | None]:
    """What is said of a serial, and its tool where there is one. kind: of those it may mean."""
    if not serial:
        return Says("quiet", "Scan it, type it, or pick it."), None
    if not names.is_match(names.SERIAL, serial):
        return Says("no", "A serial has letters, digits, dots, dashes and no blank."), None
    told = tools.tool_of(ask, serial)
    if told.value is not None:
        return judge(told.value), told.value
    if told.missing:
        return _unknown(ask, serial, kind), None
    return Says("ask", f"Not checked: {told.fault}. It is judged when it is entered."), None


def _unknown(ask: Ask, serial: str, kind: str) -> Says:
    known = ask.sources.reads.items("/tools", Tool, {"kind": kind} if kind else {})
    like = tuple(tools.alike(serial, (tool.serial for tool in known.value or ())))
    meant = f" Is {words.listed(like, 3)} meant?" if like else ""
    return Says("no", f"No tool has the serial {serial}.{meant}", like)


def to_fit(tool: ToolWhole, place: Place, press: str, *, is_correction: bool = False) -> Says:
    """Whether a tool can go into a place of a press; of a correction only whether it could."""
    if tool.kind != place.kind:
        return Says("no", f"{tool.serial} is a {tool.kind}; {place.position} takes a {place.kind}.")
    if is_correction:
        return Says("ok", f"{STATES[tool.state]}, {tools.millimetres(tool.size_mm)}.")
    if tool.state == "fitted":
        here = (tool.press, tool.position) == (press, place.position)
        return Says("no", "It sits here already." if here else _elsewhere(tool))
    if tool.state == "out":
        return Says("no", "Out for rework. Enter it back from rework first.")
    if tool.state == "scrapped":
        return Says("no", "Scrapped. Take that entry back first if it is not.")
    return _size(tool, place, press)


def _elsewhere(tool: Tool) -> str:
    where = f"{words.press_id(tool.press)} at {tool.position}" if tool.press else "another press"
    return f"It sits in {where}. Pull it there first, or correct that entry."


def _size(tool: ToolWhole, place: Place, press: str) -> Says:
    lead = f"{STATES[tool.state]}, {tools.millimetres(tool.size_mm)}"
    wanted, tolerance = place.size_in(press)
    suits = place.suits(tool, press)
    if suits:
        starts = words.strokes(tool.strokes.since_rework)
        age = f", starts at {starts}" if tool.strokes.since_rework else ""
        return Says("ok", f"{lead}, suits {place.position} of this press{age}.")
    margin = f" ± {tolerance:g}" if tolerance is not None else ""
    given = f"{wanted:g}{margin}{words.NB}mm"
    return Says("ask", f"{lead}; {place.position} of this press wants {given}. Right tool?")


def to_move(tool: ToolWhole, kind: str, *, is_correction: bool = False) -> Says:
    """Whether a tool can be sent out, taken back, shelved or scrapped from where it is."""
    where = STATES[tool.state]
    if is_correction:
        return Says("ok", f"{where}, {tool.kind}, {tools.millimetres(tool.size_mm)}.")
    if tool.state == "fitted":
        seat = f"{words.press_id(tool.press)} at {tool.position}" if tool.press else "a press"
        return Says("no", f"It sits in {seat}. Pull it first.")
    if tool.state == "scrapped":
        return Says("no", "Scrapped. Take that entry back first if it is not.")
    if kind == "shelve" and tool.state == "shelf":
        return Says("no", "On the shelf already.")
    if kind == "send" and tool.state == "out":
        return Says("no", "Out for rework already.")
    ran = words.strokes(tool.strokes.since_rework)
    age = f", {ran} strokes" if tool.strokes.since_rework else ""
    return Says("ok", f"{where}, {tool.kind}, {tools.millimetres(tool.size_mm)}{age}.")


def to_look(tool: ToolWhole) -> Says:
    """A tool that is looked at."""
    if tool.state != "fitted" or tool.press is None:
        return Says("ok", f"{STATES[tool.state]}, {tool.kind}.")
    return Says("ok", f"In {words.press_id(tool.press)} at {tool.position}.")

"""Forms about a tool by its serial: sent out, back, shelved, scrapped, and registered."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from dashboard import entry_says as say
from dashboard import entry_tools as tools
from dashboard.entry_forms import (
    COMMON,
    Form,
    choice,
    done,
    noted,
    number,
    serial,
    shelf_words,
    text,
)
from dashboard.entry_says import Says
from dashboard.entry_tools import Tool
from dashboard.entry_words import DUST
from dashboard.pages import Ask


def moved(ask: Ask, kind: str) -> Form:
    """Sent out, back from rework, shelved or scrapped."""
    says, tool = say.of_serial(
        ask,
        ask.param("serial"),
        lambda found: say.to_move(found, kind, is_correction=ask.param("event") != ""),
    )
    picks = [(each, _waits(each)) for state in FROM[kind] for each in tools.in_state(ask, state)]
    field_ = serial(ask, "Which tool: scan or type the serial", says, picks, shelf_words(picks))
    template = {"type": kind, "serial": "$serial"}
    form = Form(
        [field_, *noted(ask), *done(ask)],
        template | COMMON,
        [("serial", "Say which tool.")],
        repeat=_moved_words(ask, kind),
    )
    return MORE[kind](ask, form, tool) if kind in MORE else form


FROM: Final = {
    "send": ("bench",),
    "rework": ("out", "bench"),
    "shelve": ("bench",),
    "scrap": ("bench",),
}
"""Where the tools of each kind of entry mostly are: what is offered to pick from."""


def _waits(tool: Tool) -> str:
    where = {"bench": "on the bench", "out": "out", "shelf": "on the shelf"}[tool.state]
    size = tools.millimetres(tool.size_mm) if tool.size_mm is not None else ""
    return ", ".join(part for part in (tool.kind, where, size) if part)


def _moved_words(ask: Ask, kind: str) -> str:
    serial_ = ask.param("serial")
    words_ = {
        "send": "out for rework",
        "rework": "back from rework, a new life at 0",
        "shelve": "on the shelf, with its strokes",
        "scrap": "scrapped",
    }
    return f"{serial_} {words_[kind]}" if serial_ else ""


def _sent(ask: Ask, form: Form, tool: Tool | None) -> Form:
    weeks = [(f"+{7 * n}", f"in {n} week{'s' if n > 1 else ''}", "") for n in (1, 2, 3, 4)]
    back = choice("back", "Promised back", [*weeks, ("", "not said", "")], 5)
    fields = [form.fields[0], back, *form.fields[1:]]
    return replace(form, fields=fields, template={**form.template, "back_at": "$day:back"})


def _reworked(ask: Ask, form: Form, tool: Tool | None) -> Form:
    before = "" if tool is None else f"It was {tools.millimetres(tool.size_mm)}. "
    size = number("size", "Size now, mm", f"{before}Without a size it waits on the bench.")
    fields = [form.fields[0], size, *form.fields[1:]]
    template = {**form.template, "size_mm": "$number:size"}
    return replace(form, fields=fields, template=template, care=DUST)


def _shelved(ask: Ask, form: Form, tool: Tool | None) -> Form:
    if tool is None or tool.size_mm is not None:
        return form
    size = number("size", "Its size, mm", "It has no size on record; without one it is no spare.")
    fields = [form.fields[0], size, *form.fields[1:]]
    return replace(form, fields=fields, template={**form.template, "size_mm": "$number:size"})


MORE: Final = {"send": _sent, "rework": _reworked, "shelve": _shelved}


def register(ask: Ask) -> Form:
    """A tool that was never here before."""
    kinds = sorted({place.kind for place in tools.places(ask)})
    given = ask.param("serial")
    known = tools.tool_of(ask, given) if given else None
    says = Says("quiet", "Its own serial, as it is marked.")
    if known is not None and known.value is not None:
        says = Says("no", f"{given} is registered already, as a {known.value.kind}.")
    return Form(
        [
            serial(ask, "New serial: scan or type it", says, (), ""),
            choice("kind", "What is it?", [(kind, kind, "") for kind in kinds], 4),
            number("size", "Its size, mm", "Where its kind has one; without it it is no spare."),
            text("batch", "Batch"),
        ],
        {"serial": "$serial", "kind": "$kind", "size_mm": "$number:size", "batch": "$batch"},
        [("serial", "Give its serial."), ("kind", "Say what it is.")],
        repeat=" · ".join(part for part in (given, ask.param("kind")) if part),
        call="tools",
    )

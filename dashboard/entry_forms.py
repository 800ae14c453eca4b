"""The forms: for each kind of entry its fields in order, and what is sent when they are filled.

A form is data. Its script keeps what is typed and fills the template by itself, so that an entry
can be sent without another question to the board. In a template `$name` is the text of a field,
`$number:name` its number, `$millions:name` a million times that, `$time:name` its time, `$day:name`
noon of its day, and `$with:name text` a text that goes with it; what is empty is left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from dashboard.entry_says import Says
from dashboard.entry_time import time_field
from dashboard.entry_tools import MOST_PICKED, Tool
from dashboard.entry_words import REASONS
from dashboard.fleet import Document
from dashboard.pages import Ask

Fields = list[Document]

PICK: Final = "pick"


@dataclass(frozen=True, slots=True)
class Form:
    """One form. needs: fields that must be filled, with what is said where one is not.

    repeat: what will be entered, said again on the button.  care: a caution more, above the form.
    """

    fields: Fields
    template: Mapping[str, Any]
    needs: Sequence[tuple[str, str]]
    repeat: str = ""
    call: str = "tool-events"
    title: str = ""
    care: tuple[str, str] | None = None
    lead: str = ""
    fill: Mapping[str, str] = field(default_factory=dict)
    """What the fields begin with, where an entry is corrected."""


# ---- fields ----


def choice(
    name: str, label: str, options: Sequence[tuple[str, str, str]], columns: int = 4
) -> Document:
    """Buttons of which one is chosen. options: value, word, small words."""
    return {
        "kind": "choice",
        "name": name,
        "label": label,
        "columns": columns,
        "options": [{"value": v, "word": word, "small": small} for v, word, small in options],
    }


def number(name: str, label: str, says: str = "", *, signed: bool = False) -> Document:
    """A number, typed. signed: whether a button turns its sign, which a tablet's keys may lack."""
    return {"kind": "number", "name": name, "label": label, "says": says, "signed": signed}


def text(name: str, label: str) -> Document:
    """A few words."""
    return {"kind": "text", "name": name, "label": label}


def person() -> Document:
    """Who did it: the names last used on this tablet, or another one."""
    return {"kind": "person", "name": "by", "label": "Done by"}


def serial(
    ask: Ask, label: str, says: Says, picks: Sequence[tuple[Tool, str]], shelf: str
) -> Document:
    """The serial: scanned, typed, or picked. picks: tools with a small word each.

    shelf: what the button that opens the picks says.
    """
    is_open = ask.param(PICK) == "1"
    return {
        "kind": "serial",
        "name": "serial",
        "label": label,
        "echo": ask.param("serial"),
        "says": says.document(),
        "pick": {"word": shelf, "count": len(picks), "open": is_open},
        "options": [
            {"value": tool.serial, "word": tool.serial, "small": small}
            for tool, small in (picks[:MOST_PICKED] if is_open else ())
        ],
        "more": max(0, len(picks) - MOST_PICKED) if is_open else 0,
    }


def why(label: str) -> Document:
    """Why a tool comes out."""
    return choice("reason", label, REASONS)


def done(ask: Ask) -> Fields:
    """When and by whom it was done."""
    return [time_field(ask), person()]


def noted(ask: Ask) -> Fields:
    """A note, where one is asked for or wanted."""
    label = "Say what" if ask.param("reason") == "other" else "Note"
    is_wanted = ask.param("reason") == "other" or "note" in ask.opened or ask.param("note")
    return [text("note", label)] if is_wanted else []


COMMON: Final[dict[str, Any]] = {"at": "$time:at", "by": "$by", "note": "$note"}


def nothing(lead: str) -> Form:
    """A form that has nothing to enter."""
    return Form([], {}, [], lead=lead)


def shelf_words(picks: Sequence[tuple[Tool, str]]) -> str:
    """What the button that opens the picks says."""
    return f"Pick one of {len(picks)}" if picks else "None here"

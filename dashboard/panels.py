"""A panel of a page and the states that it can be in, each said in words.

`shown`, `empty` (what is true, and what comes next), `error` (never read), `old` (read before, the
last question failed: the figures stay), `cant-tell` (the answer carries no figure), `loading`
(asked for by a form, not yet answered).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from dashboard import words
from dashboard.fleet import Document
from dashboard.pages import Ask
from dashboard.reads import Told

Read = TypeVar("Read")


def panel(
    ask: Ask,
    key: str,
    title: str,
    told: Told[Read],
    body: Callable[[Read], Document],
    *,
    say: str = "",
    empty: str = "",
    missing: str = "",
    cant_tell: Callable[[Read], str] = lambda _: "",
) -> Document:
    """One panel of what the API told.

    body: fields that the page's script draws.  say: a quiet sentence beside the title.
    empty: what is said where the value is an empty list.  missing: where nothing has that name.
    cant_tell: why the value carries no figure, empty where it does.
    """
    made = {"key": key, "title": title, "say": say, "state": "shown", "lead": "", "rest": ""}
    if told.value is None:
        return made | (_missing(missing) if told.missing else _error(ask, told.fault))
    why = cant_tell(told.value)
    if why:
        return made | {"state": "cant-tell", "lead": "Can’t tell.", "rest": why}
    if empty and _is_empty(told.value):
        return made | {"state": "empty", "rest": empty}
    old = _old(ask, told) if told.is_old else {}
    return made | old | body(told.value)


def _is_empty(value: object) -> bool:
    return isinstance(value, tuple | list | dict) and not value


def _missing(words_: str) -> Document:
    return {"state": "empty", "rest": words_ or "The API knows nothing of this name."}


def _error(ask: Ask, fault: str) -> Document:
    at = words.clock(ask.now, ask.zone)
    rest = f"Asked at {at}: {fault}. The board asks again by itself."
    return {"state": "error", "lead": "This could not be read.", "rest": rest}


def _old(ask: Ask, told: Told[Read]) -> Document:
    at = words.since(told.at, ask.zone, ask.now)
    return {"state": "old", "lead": f"As of {at}.", "rest": f"Since then {told.fault}."}


def said(key: str, title: str, state: str, lead: str, rest: str, *, say: str = "") -> Document:
    """A panel of words alone. state: `empty`, `cant-tell`, `loading` or `error`."""
    return {"key": key, "title": title, "say": say, "state": state, "lead": lead, "rest": rest}

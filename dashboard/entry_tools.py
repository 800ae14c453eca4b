"""What the entry page reads: tools, places with their sizes, and who sits where."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

import msgspec

from dashboard import words
from dashboard.client import Time
from dashboard.pages import Ask
from dashboard.reads import Told
from duestroke import names

FRESH: Final = timedelta(seconds=2)
MOST_PICKED: Final = 12
LIKE: Final = 0.72
"""How alike a serial must be to be offered in place of an unknown one, 0..1."""


class Tool(msgspec.Struct, frozen=True):
    """A tool as its events have left it."""

    serial: str
    kind: str
    state: str
    batch: str | None = None
    size_mm: float | None = None
    press: str | None = None
    position: str | None = None
    back_at: Time | None = None


class Ages(msgspec.Struct, frozen=True):
    """Strokes of a tool; None where nobody knows."""

    since_fit: int | None = None
    since_rework: int | None = None


class ToolWhole(Tool, frozen=True, kw_only=True):
    """One tool with its strokes."""

    strokes: Ages


class Size(msgspec.Struct, frozen=True):
    """Size of a position in one site, line or press."""

    scope: str
    size_mm: float | None = None
    size_tolerance_mm: float | None = None


class Place(msgspec.Struct, frozen=True):
    """A position: what sits there, in which size, and what its wear is measured in."""

    position: str
    kind: str
    order: int
    quantity: str | None = None
    unit: str | None = None
    limit: float | None = None
    size_mm: float | None = None
    size_tolerance_mm: float | None = None
    sizes: list[Size] = []

    def size_in(self, press: str) -> tuple[float | None, float | None]:
        """Size in mm and its tolerance in one press: the narrowest scope that says one counts.

        Without a size any tool of the kind serves, without a tolerance any size.
        """
        inside = [each for each in self.sizes if names.in_scope(press, each.scope)]
        own = max(inside, key=lambda each: len(each.scope), default=None)
        if own is not None:
            return own.size_mm, own.size_tolerance_mm
        return self.size_mm, self.size_tolerance_mm

    def suits(self, tool: Tool, press: str) -> bool | None:
        """Whether a tool of its kind has the size wanted in a press; None where none is known."""
        size, tolerance = self.size_in(press)
        if size is None:
            return True
        if tool.size_mm is None:
            return None
        if tolerance is None:
            return True
        return abs(tool.size_mm - size) <= tolerance + 1e-9


@dataclass(frozen=True, slots=True)
class Seat:
    """A place in a press with the tool that sits there, if any, and its strokes since rework."""

    place: Place
    tool: Tool | None
    strokes: float | None


def places(ask: Ask) -> Sequence[Place]:
    """All positions but the press itself, in the order in which the cup meets them, punch last."""
    told = ask.sources.reads.items("/positions", Place)
    found = [each for each in told.value or () if each.position != names.PRESS_POSITION]
    return sorted(found, key=_from_cup)


def _from_cup(place: Place) -> tuple[bool, bool, int]:
    # The sleeve sits in the cup, so that the cup meets it before the die.
    return place.kind == "punch", place.kind != "redraw-sleeve", place.order


def seats(ask: Ask, press: str) -> list[Seat]:
    """The places of a press and what sits there."""
    told = ask.sources.reads.items("/tools", Tool, {"press": press}, fresh_for=FRESH)
    there = {tool.position: tool for tool in told.value or () if tool.state == "fitted"}
    known = {}
    if ask.sources.fleet.read().answers is not None:
        known = {each.serial: each.strokes for each in ask.arranged().tools.get(press, ())}
    return [
        Seat(place, tool, known.get(tool.serial) if tool else None)
        for place in places(ask)
        for tool in [there.get(place.position)]
    ]


def tool_of(ask: Ask, serial: str) -> Told[ToolWhole]:
    """One tool by its serial."""
    return ask.sources.reads.one(f"/tools/{serial}", ToolWhole, fresh_for=FRESH)


def in_state(ask: Ask, state: str, kind: str = "") -> list[Tool]:
    """Tools in a state, of a kind where one is given."""
    asked = {"state": state} | ({"kind": kind} if kind else {})
    told = ask.sources.reads.items("/tools", Tool, asked, fresh_for=FRESH)
    return list(told.value or ())


def alike(serial: str, known: Iterable[str]) -> list[str]:
    """Up to three known serials that are spelt almost the same."""
    by_plain = {each.casefold(): each for each in known}
    found = difflib.get_close_matches(serial.casefold(), by_plain, n=3, cutoff=LIKE)
    return [by_plain[each] for each in found]


def millimetres(size: float | None) -> str:
    """A size with its unit, to the micrometre."""
    return "no size on record" if size is None else f"{size:.3f}{words.NB}mm"

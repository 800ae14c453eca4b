"""Entries on their way into the ledger: when they come in, and what stands between two of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from duestroke.ledger import ToolEvent
from simulators.plant import DAY, HOUR, SECOND
from simulators.played import Entry

Fate = Literal["right", "corrected", "wrong"]
Wrong = Literal["serial", "step", "exchanged"]


@dataclass
class Draft:
    """An entry on its way into the ledger. `said`: the event as it will be entered."""

    entry: Entry
    said: ToolEvent
    entered: int
    late: bool = False
    fate: Fate = "right"
    wrong: Wrong | None = None
    found: int | None = None
    is_left_out: bool = False
    correction: ToolEvent | None = None

    @property
    def keys(self) -> list[object]:
        """The tool and the place that this touches."""
        entry = self.entry
        return [id(entry.tool)] + ([entry.position] if entry.position is not None else [])


def keep_order(drafts: list[Draft], last: int) -> None:
    """Nothing about a tool or a place is entered before what came earlier there.

    last: when the last record is entered at the latest.
    """
    at_least: dict[object, int] = {}
    for draft in drafts:
        for key in draft.keys:
            draft.entered = max(draft.entered, at_least.get(key, 0) + SECOND)
        draft.entered = min(draft.entered, last)
        known = draft.entered if draft.found is None else max(draft.entered, draft.found)
        for key in draft.keys:
            at_least[key] = known
    drafts.sort(key=lambda draft: (draft.entry.at, draft.entered))


def next_touch(drafts: Sequence[Draft], index: int, last: int) -> int:
    """When the next entry about the same tool or place comes in; beyond `last` where none does."""
    keys = set(drafts[index].keys)
    later = (draft for draft in drafts[index + 1 :] if keys & set(draft.keys))
    return next((draft.entered for draft in later), last + DAY)


def serial_of(entry: Entry) -> str:
    return "" if entry.tool is None else entry.tool.serial


def in_store(drafts: list[Draft], fit: datetime, entered: int, found: int) -> dict[int, bool]:
    """Tools that lie on the shelf when a fit is keyed and stay there until a mistake is found.

    Others are False; a tool that nothing is ever entered about is left out.
    """
    lies: dict[int, bool] = {}
    for draft in drafts:
        tool = id(draft.entry.tool)
        if draft.entered > found:
            lies.setdefault(tool, True)
        elif draft.entered < entered and draft.said.at < fit:
            lies[tool] = draft.entry.type == "rework"
        else:
            lies[tool] = False
    return lies


def is_quiet(drafts: list[Draft], fit: Draft, pull: Draft, other: str, found: int) -> bool:
    """Whether nothing else is entered about the two rings and the other place until then."""
    keys = {other, id(fit.entry.tool)}
    return not any(
        keys & set(draft.keys)
        and draft is not fit
        and draft.entry.at >= pull.entry.at - HOUR
        and draft.entered <= found + HOUR
        for draft in drafts
    )

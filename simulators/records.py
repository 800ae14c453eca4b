"""What the crews entered, and when: mostly right, now and then late, wrong, and corrected later.

A record is entered some minutes after the work. One change in twenty is keyed hours late; one in
a hundred under another tool's serial; one in two hundred at another ring step. What contradicts
the ledger cannot be entered, so all that touches a tool or a place comes after what came before
it there, and a wrong entry is put right at the latest when the next change finds it out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from duestroke.ledger import ToolEvent
from duestroke.times import format_time, from_micros
from simulators import noise, paperwork, scripted
from simulators.drafts import Draft, Fate, Wrong, keep_order, serial_of
from simulators.mistakes import Mistakes, correction
from simulators.plant import DAY, HOUR, MINUTE
from simulators.played import Played
from simulators.stories import Demo
from store.inspections import Inspection

LATE: Final = 0.05
LATE_MEDIAN_HOURS: Final = 9.0
STORY_LATE: Final = ("2/03", 72)
"""The last ring change at this press that stories leave alone is entered so many hours late."""


@dataclass(frozen=True)
class Record:
    """One record as entered, with the truth about it. Times in microseconds since 1970.

    fate: right, wrong and corrected before the first day, or still wrong then.  wrong: what about
    it.  truth: the fields that should have been entered.  apart: entered by itself, when what
    went before was long on record: a correction, a change that came days late.
    """

    what: ToolEvent | Inspection
    entered_at: int
    entered_by: str
    fate: Fate = "right"
    wrong: Wrong | None = None
    late: bool = False
    apart: bool = False
    truth: Mapping[str, str] = field(default_factory=dict)

    @property
    def id(self) -> str:
        """The id under which it is on record."""
        return str(self.what.id)


class Books:
    """The records of presses that are entered together."""

    def __init__(self, demo: Demo, plant: Sequence[Played]) -> None:
        self.demo, self.plant = demo, plant
        self.last = demo.d0 - 2 * HOUR
        self._drafts = {played.press.name: self._drafted(played) for played in plant}
        self._exchange()
        for played in plant:
            keep_order(self._drafts[played.press.name], self.last)

    def records(self, press: str) -> list[Record]:
        """The press's records in order of entry, inspections last among equals."""
        (played,) = (one for one in self.plant if one.press.name == press)
        found = [record for draft in self._drafts[press] for record in self._records(draft)]
        found += self._looks(played)
        return sorted(found, key=lambda record: (record.entered_at, record.what.at))

    def _drafted(self, played: Played) -> list[Draft]:
        said = paperwork.events(self.demo, played)
        stream = noise.key(self.demo.seed, played.press.name, "entered-after")
        soon = noise.uniform(stream, range(len(said)))
        drafts = [
            Draft(entry, event, entry.at + int((3 + 37 * share) * MINUTE))
            for entry, event, share in zip(played.entries, said, soon, strict=True)
        ]
        mistakes = Mistakes(self.demo, self.last)
        self._be_late(played, drafts)
        keep_order(drafts, self.last)
        mistakes.in_serials(played, drafts)
        keep_order(drafts, self.last)
        mistakes.in_steps(played, drafts)
        return drafts

    def _be_late(self, played: Played, drafts: list[Draft]) -> None:
        name, seed = played.press.name, self.demo.seed
        numbers = range(1 + max((d.entry.change or 0 for d in drafts), default=0))
        odds = noise.uniform(noise.key(seed, name, "late-entry"), numbers)
        spread = noise.normal(noise.key(seed, name, "late-entry-by"), numbers)
        story = self._story_change(played, drafts)
        for draft in drafts:
            change = draft.entry.change
            if change is None:
                continue
            if change == story:
                draft.late, draft.entered = True, draft.entry.at + STORY_LATE[1] * HOUR
            elif odds[change] < LATE:
                hours = max(2.0, LATE_MEDIAN_HOURS * math.exp(0.6 * float(spread[change])))
                draft.late, draft.entered = True, draft.entry.at + int(hours * 60) * MINUTE

    def _story_change(self, played: Played, drafts: list[Draft]) -> int | None:
        """The ring change on 2/03 that is entered three days late."""
        if not self.demo.is_at(played.press, STORY_LATE[0]):
            return None
        before = scripted.swap_found(self.demo, played.press) - 14 * DAY
        scripts = {id(life.tool) for life in played.lives if life.script is not None}
        changes = [
            draft.entry.change
            for draft in drafts
            if draft.entry.type == "fit"
            and (draft.entry.position or "").startswith("ring")
            and draft.entry.at < before
            and draft.entry.change is not None
            and id(draft.entry.tool) not in scripts
        ]
        return changes[-1]

    def _exchange(self) -> None:
        """Ring 3 of 2/03 and ring 2 of 2/04, changed at one stop, were keyed each as the other."""
        pair = [
            (played, draft)
            for played in self.plant
            for place, position in scripted.SWAPPED
            if self.demo.is_at(played.press, place)
            for draft in self._drafts[played.press.name]
            if draft.entry.type == "fit" and draft.entry.position == position
            and any(
                life.tool is draft.entry.tool and life.script is not None
                for life in played.lives
            )
        ]  # fmt: skip
        if len(pair) < len(scripted.SWAPPED):
            return
        serials = [serial_of(draft.entry) for _, draft in pair]
        entered = max(draft.entered for _, draft in pair)
        for (played, draft), wrong in zip(pair, reversed(serials), strict=True):
            right = draft.said
            found = scripted.swap_found(self.demo, played.press) + 75 * MINUTE
            draft.entered = entered
            draft.found, draft.wrong, draft.fate = found, "exchanged", "corrected"
            draft.said = replace(right, serial=wrong)
            draft.correction = correction(draft, right)

    def _records(self, draft: Draft) -> Iterable[Record]:
        if draft.is_left_out:
            return
        truth: dict[str, str] = {}
        if draft.wrong in ("serial", "exchanged"):
            truth = {"serial": serial_of(draft.entry)}
        elif draft.wrong == "step":
            truth = {"position": draft.entry.position or ""}
        entered_by = paperwork.crew_at(draft.entered)
        yield Record(
            draft.said,
            draft.entered,
            entered_by,
            draft.fate,
            draft.wrong,
            draft.late,
            draft.entered - draft.entry.at > 2 * DAY and draft.late,
            truth,
        )
        if draft.correction is not None and draft.found is not None:
            by = paperwork.crew_at(draft.found)
            yield Record(draft.correction, draft.found, by, apart=True)

    def _looks(self, played: Played) -> Iterable[Record]:
        stream = noise.key(self.demo.seed, played.press.name, "look-entered-after")
        looks = paperwork.inspections(self.demo, played)
        soon = noise.uniform(stream, range(len(looks)))
        for look, given, share in zip(played.looks, looks, soon, strict=True):
            entered = min(look.at + int((2 + 28 * share) * MINUTE), self.last)
            yield Record(given, entered, paperwork.crew_at(entered))


def books(demo: Demo, plant: Sequence[Played]) -> list[Books]:
    """The plant's presses in the groups that must be entered together: 2/03 goes with 2/04."""
    pair = [
        played
        for played in plant
        if any(demo.is_at(played.press, place) for place, _ in scripted.SWAPPED)
    ]
    alone = [played for played in plant if played not in pair]
    return [Books(demo, [played]) for played in alone] + ([Books(demo, pair)] if pair else [])


def all_records(demo: Demo, plant: Sequence[Played]) -> dict[str, list[Record]]:
    """Every press's records in order of entry."""
    return {
        played.press.name: book.records(played.press.name)
        for book in books(demo, plant)
        for played in book.plant
    }


def export(record: Record) -> dict[str, Any]:
    """One record's truth as JSON: right, corrected or still wrong, and what was wrong."""
    kind = "inspection" if isinstance(record.what, Inspection) else "event"
    said: dict[str, Any] = {
        "id": record.id,
        "what": kind,
        "at": format_time(record.what.at),
        "entered_at": format_time(from_micros(record.entered_at)),
        "record": record.fate,
    }
    if record.late:
        said["late"] = True
    if record.wrong is not None:
        said |= {"wrong": record.wrong, "truth": dict(record.truth)}
    return said

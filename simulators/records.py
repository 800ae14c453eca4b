"""What the crews entered, and when: mostly right, now and then late, wrong, and corrected later.

A record is entered some minutes after the work. One change in twenty is keyed hours late; one in
a hundred under another tool's serial; one in two hundred at another ring step. What contradicts
the ledger cannot be entered, so all that touches a tool or a place comes after what came before
it there, and a wrong entry is put right at the latest when the next change finds it out.
"""

from __future__ import annotations

import math
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Final, Literal

from duestroke.ledger import ToolEvent
from duestroke.times import format_time, from_micros
from simulators import noise, paperwork, scripted
from simulators.crew import Entry, Played
from simulators.plant import DAY, HOUR, MINUTE
from simulators.stories import Demo
from simulators.tooling import Tool
from store.inspections import Inspection

LATE, WRONG_SERIAL, WRONG_STEP = 0.05, 0.01, 0.005
LATE_MEDIAN_HOURS: Final = 9.0
STORY_LATE: Final = ("2/03", 72)
"""The last ring change at this press that stories leave alone is entered so many hours late."""
_RING_SHARE: Final = 0.25
"""Share of changes that are of ring 2 or ring 3, the steps that get exchanged."""
_SPARE_SHARE: Final = 0.45
"""How often another tool of the kind lies on the shelf, whose serial could be keyed."""
STILL_WRONG: Final = ("3/05", "stripper")
_SOON: Final = 0.3
"""Chance that a wrong serial is noticed within three weeks, not only at the next change."""
_STEPS: Final = {"ring-2": "ring-3", "ring-3": "ring-2"}

Fate = Literal["right", "corrected", "wrong"]
Wrong = Literal["serial", "step", "exchanged"]


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


@dataclass
class _Draft:
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


class Books:
    """The records of presses that are entered together."""

    def __init__(self, demo: Demo, plant: Sequence[Played]) -> None:
        self.demo, self.plant = demo, plant
        self.last = demo.d0 - 2 * HOUR
        self._drafts = {played.press.name: self._drafted(played) for played in plant}
        self._exchange()
        for played in plant:
            self._keep_order(self._drafts[played.press.name])

    def records(self, press: str) -> list[Record]:
        """The press's records in order of entry, inspections last among equals."""
        (played,) = (one for one in self.plant if one.press.name == press)
        found = [record for draft in self._drafts[press] for record in self._records(draft)]
        found += self._looks(played)
        return sorted(found, key=lambda record: (record.entered_at, record.what.at))

    def _drafted(self, played: Played) -> list[_Draft]:
        said = paperwork.events(self.demo, played)
        stream = noise.key(self.demo.seed, played.press.name, "entered-after")
        soon = noise.uniform(stream, range(len(said)))
        drafts = [
            _Draft(entry, event, entry.at + int((3 + 37 * share) * MINUTE))
            for entry, event, share in zip(played.entries, said, soon, strict=True)
        ]
        self._be_late(played, drafts)
        self._keep_order(drafts)
        self._err_in_serials(played, drafts)
        self._keep_order(drafts)
        self._err_in_steps(played, drafts)
        return drafts

    def _be_late(self, played: Played, drafts: list[_Draft]) -> None:
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

    def _story_change(self, played: Played, drafts: list[_Draft]) -> int | None:
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

    def _keep_order(self, drafts: list[_Draft]) -> None:
        """Nothing about a tool or a place is entered before what came earlier there."""
        at_least: dict[object, int] = {}
        for draft in drafts:
            for key in draft.keys:
                draft.entered = max(draft.entered, at_least.get(key, 0) + MINUTE // 60)
            draft.entered = min(draft.entered, self.last)
            known = draft.entered if draft.found is None else max(draft.entered, draft.found)
            for key in draft.keys:
                at_least[key] = known
        drafts.sort(key=lambda draft: (draft.entry.at, draft.entered))

    def _err_in_serials(self, played: Played, drafts: list[_Draft]) -> None:
        """A fit keyed under the serial of a tool that lies on the shelf."""
        seed, name = self.demo.seed, played.press.name
        odds = noise.uniform(noise.key(seed, name, "wrong-serial"), range(len(drafts)))
        chance = noise.uniform(noise.key(seed, name, "noticed"), range(len(drafts)))
        busy: set[int] = set()
        forced = self._never_noticed(played, drafts)
        for index, draft in enumerate(drafts):
            is_forced = index == forced
            errs = is_forced or odds[index] < WRONG_SERIAL / _SPARE_SHARE
            if not errs or not self._may_err(played, draft):
                continue
            found = self._next_touch(drafts, index)
            if chance[index] < _SOON and not is_forced:
                found = min(found, draft.entered + int((1 + 60 * chance[index]) * DAY))
            other = self._other_tool(played, drafts, draft, found, busy)
            if other is None:
                continue
            busy.add(id(other))
            draft.said = replace(draft.said, serial=other.serial)
            self._goes_wrong(draft, "serial", found, serial=_serial(draft.entry))

    def _never_noticed(self, played: Played, drafts: list[_Draft]) -> int | None:
        """The last stripper fitted at 3/05 sits there under another one's serial to this day."""
        place, position = STILL_WRONG
        if not self.demo.is_at(played.press, place):
            return None
        fits = [
            index
            for index, draft in enumerate(drafts)
            if draft.entry.type == "fit" and draft.entry.position == position
        ]
        return fits[-1]

    def _may_err(self, played: Played, draft: _Draft) -> bool:
        """Fits of ordinary changes; those that stories tell of are right or wrong by themselves."""
        if draft.entry.type != "fit" or draft.entry.change is None or draft.late:
            return False
        lives = (life for life in played.lives if life.tool is draft.entry.tool)
        return all(life.script is None for life in lives)

    def _next_touch(self, drafts: list[_Draft], index: int) -> int:
        """When the next entry about the same tool or place comes in; beyond the end where none."""
        keys = set(drafts[index].keys)
        later = (d for d in drafts[index + 1 :] if keys & set(d.keys))
        return next((draft.entered for draft in later), self.last + DAY)

    def _other_tool(
        self,
        played: Played,
        drafts: list[_Draft],
        draft: _Draft,
        found: int,
        busy: set[int],
    ) -> Tool | None:
        """A tool of the kind that is in store, and is not touched before the mistake is found."""
        lies = _in_store(drafts, draft.said.at, draft.entered, found)
        wanted = draft.entry.tool
        free = [
            tool
            for tool in played.tools
            if wanted is not None
            and tool.kind == wanted.kind
            and tool.bought < draft.entry.at
            and lies.get(id(tool), True)
            and id(tool) not in busy
        ]
        return min(free, key=lambda tool: tool.serial) if free else None

    def _err_in_steps(self, played: Played, drafts: list[_Draft]) -> None:
        """A change of ring 2 keyed as one of ring 3, or the other way, until a bore is read."""
        odds = noise.uniform(
            noise.key(self.demo.seed, played.press.name, "wrong-step"), range(len(drafts))
        )
        for index, draft in enumerate(drafts):
            other = _STEPS.get(draft.entry.position or "")
            if odds[index] >= WRONG_STEP / _RING_SHARE or other is None or draft.wrong:
                continue
            if not self._may_err(played, draft):
                continue
            pull = next(d for d in drafts if d.entry.change == draft.entry.change)
            found = draft.entered + (2 + index % 6) * DAY
            if pull.wrong or found > self.last or not _is_quiet(drafts, draft, pull, other, found):
                continue
            pull.is_left_out = True
            reason = pull.said.reason
            # One line for the whole change, at the time when the old ring came out.
            right = replace(draft.said, replaces=True, reason=reason, at=pull.said.at)
            draft.said = replace(right, position=other)
            draft.found, draft.wrong, draft.fate = found, "step", "corrected"
            draft.correction = self._correction(draft, right)
            for later in drafts:
                if later.entry.tool is pull.entry.tool and later.entry.at > pull.entry.at:
                    later.entered = max(later.entered, found + MINUTE)

    def _goes_wrong(self, draft: _Draft, wrong: Wrong, found: int, serial: str) -> None:
        draft.wrong, draft.fate = wrong, "wrong"
        if found <= self.last:
            draft.fate, draft.found = "corrected", found
            draft.correction = self._correction(draft, replace(draft.said, serial=serial))

    def _correction(self, draft: _Draft, right: ToolEvent) -> ToolEvent:
        """What stands for a wrong entry from then on; it says by its note why."""
        by = paperwork.crew_at(draft.found or draft.entered)
        words = {"serial": "keyed under another serial", "step": "keyed at the other ring step"}
        note = words.get(draft.wrong or "", "rings exchanged on entry; found by a bore reading")
        new_id = uuid.uuid5(draft.said.id, "correction")
        return replace(right, id=new_id, corrects=draft.said.id, by=by, note=note)

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
        serials = [_serial(draft.entry) for _, draft in pair]
        entered = max(draft.entered for _, draft in pair)
        for (played, draft), wrong in zip(pair, reversed(serials), strict=True):
            right = draft.said
            found = scripted.swap_found(self.demo, played.press) + 75 * MINUTE
            draft.entered = entered
            draft.found, draft.wrong, draft.fate = found, "exchanged", "corrected"
            draft.said = replace(right, serial=wrong)
            draft.correction = self._correction(draft, right)

    def _records(self, draft: _Draft) -> Iterable[Record]:
        if draft.is_left_out:
            return
        truth: dict[str, str] = {}
        if draft.wrong in ("serial", "exchanged"):
            truth = {"serial": _serial(draft.entry)}
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


def _serial(entry: Entry) -> str:
    return "" if entry.tool is None else entry.tool.serial


def _in_store(drafts: list[_Draft], fit: datetime, entered: int, found: int) -> dict[int, bool]:
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


def _is_quiet(drafts: list[_Draft], fit: _Draft, pull: _Draft, other: str, found: int) -> bool:
    """Whether nothing else is entered about the two rings and the other place until then."""
    keys = {other, id(fit.entry.tool)}
    return not any(
        keys & set(draft.keys)
        and draft is not fit
        and draft.entry.at >= pull.entry.at - HOUR
        and draft.entered <= found + HOUR
        for draft in drafts
    )


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

"""Entries that go wrong: under another serial, at another step; and what puts them right."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, replace
from typing import Final

from duestroke.ledger import ToolEvent
from simulators import noise, paperwork
from simulators.drafts import Draft, Wrong, in_store, is_quiet, next_touch, serial_of
from simulators.plant import DAY, MINUTE
from simulators.played import Played
from simulators.stories import Demo
from simulators.tooling import Tool

WRONG_SERIAL, WRONG_STEP = 0.01, 0.005
_RING_SHARE: Final = 0.25
"""Share of changes that are of ring 2 or ring 3, the steps that get exchanged."""
_SPARE_SHARE: Final = 0.45
"""How often another tool of the kind lies on the shelf, whose serial could be keyed."""
STILL_WRONG: Final = ("3/05", "stripper")
_SOON: Final = 0.3
"""Chance that a wrong serial is noticed within three weeks, not only at the next change."""
_STEPS: Final = {"ring-2": "ring-3", "ring-3": "ring-2"}


@dataclass(frozen=True)
class Mistakes:
    """What goes wrong at one plant. last: when the last record is entered at the latest."""

    demo: Demo
    last: int

    def in_serials(self, played: Played, drafts: list[Draft]) -> None:
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
            found = next_touch(drafts, index, self.last)
            if chance[index] < _SOON and not is_forced:
                found = min(found, draft.entered + int((1 + 60 * chance[index]) * DAY))
            other = self._other_tool(played, drafts, draft, found, busy)
            if other is None:
                continue
            busy.add(id(other))
            draft.said = replace(draft.said, serial=other.serial)
            self._goes_wrong(draft, "serial", found, serial=serial_of(draft.entry))

    def _never_noticed(self, played: Played, drafts: list[Draft]) -> int | None:
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

    def _may_err(self, played: Played, draft: Draft) -> bool:
        """Fits of ordinary changes; those that stories tell of are right or wrong by themselves."""
        if draft.entry.type != "fit" or draft.entry.change is None or draft.late:
            return False
        lives = (life for life in played.lives if life.tool is draft.entry.tool)
        return all(life.script is None for life in lives)

    def _other_tool(
        self,
        played: Played,
        drafts: list[Draft],
        draft: Draft,
        found: int,
        busy: set[int],
    ) -> Tool | None:
        """A tool of the kind that is in store, and is not touched before the mistake is found."""
        lies = in_store(drafts, draft.said.at, draft.entered, found)
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

    def in_steps(self, played: Played, drafts: list[Draft]) -> None:
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
            if pull.wrong or found > self.last or not is_quiet(drafts, draft, pull, other, found):
                continue
            pull.is_left_out = True
            reason = pull.said.reason
            # One line for the whole change, at the time when the old ring came out.
            right = replace(draft.said, replaces=True, reason=reason, at=pull.said.at)
            draft.said = replace(right, position=other)
            draft.found, draft.wrong, draft.fate = found, "step", "corrected"
            draft.correction = correction(draft, right)
            for later in drafts:
                if later.entry.tool is pull.entry.tool and later.entry.at > pull.entry.at:
                    later.entered = max(later.entered, found + MINUTE)

    def _goes_wrong(self, draft: Draft, wrong: Wrong, found: int, serial: str) -> None:
        draft.wrong, draft.fate = wrong, "wrong"
        if found <= self.last:
            draft.fate, draft.found = "corrected", found
            draft.correction = correction(draft, replace(draft.said, serial=serial))


def correction(draft: Draft, right: ToolEvent) -> ToolEvent:
    """What stands for a wrong entry from then on; it says by its note why."""
    by = paperwork.crew_at(draft.found or draft.entered)
    words = {"serial": "keyed under another serial", "step": "keyed at the other ring step"}
    note = words.get(draft.wrong or "", "rings exchanged on entry; found by a bore reading")
    new_id = uuid.uuid5(draft.said.id, "correction")
    return replace(right, id=new_id, corrects=draft.said.id, by=by, note=note)

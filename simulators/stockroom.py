"""The plant's store on the demo's first day: what lies on the shelf and what is out for rework.

Each press's crew buys and sends out what it needs; what is then left over is brought to the
figures that the plant has on its first day, by what a tool room does: scrap what it does not want
to regrind, buy what it lacks, and send on what waits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import time
from typing import Final

from simulators import noise, scripted
from simulators.plant import BY_POSITION, DAY, HOUR, SECOND
from simulators.played import Entry, Played
from simulators.stories import Demo
from simulators.tooling import Rework, Tool, bought_tool

SHELF: Final = {
    "punch": 3,
    "redraw-die": 0,
    "redraw-sleeve": 4,
    "ring-1": 2,
    "ring-2": 3,
    "ring-3": 4,
    "stripper": 12,
    "dome-die": 2,
    "hold-ring": 2,
}
"""Tools on the shelf on the first day, by the position whose size they have; 9 rings."""

OUT: Final = {
    "punch": 2,
    "redraw-die": 1,
    "redraw-sleeve": 3,
    "ring-1": 3,
    "ring-2": 3,
    "dome-die": 0,
    "hold-ring": 0,
}
"""Tools out for rework on the first day, by the position that they come back for; 6 rings."""

_NEW_AT_LEAST: Final = {"punch": 1}
"""Story 2: one punch of the weak batch lies on the shelf and was never fitted."""

DIE_PROMISED_DAYS: Final = 18
"""Story 6: the one redraw die that is out is promised for D+18."""


@dataclass(frozen=True)
class _Held:
    """A tool that is out or back at the end, with the press whose it was."""

    played: Played
    rework: Rework


def settle(demo: Demo, plant: Sequence[Played], until: int) -> None:
    """Bring the whole plant's shelf and its reworks to the figures of the first day."""
    held = [_Held(played, rework) for played in plant for rework in played.back]
    for goal in OUT:
        here = sorted(
            (one for one in held if one.rework.goal == goal), key=lambda one: one.rework.sent
        )
        out = [one for one in here if one.rework.ready >= until]
        back = [one for one in here if one.rework.ready < until]
        _settle_out(demo, plant, goal, out, back, until)
        kept = min(len(back), SHELF[goal] - _NEW_AT_LEAST.get(goal, 0))
        for one in back[: len(back) - kept]:
            _scrap_instead(one)
        _buy(demo, plant, goal, SHELF[goal] - kept, until)
    _buy(demo, plant, "ring-3", SHELF["ring-3"], until)
    _buy(demo, plant, "stripper", SHELF["stripper"], until)
    for played in plant:
        played.entries.sort(key=lambda entry: entry.at)
    _promise_the_die(demo, plant)


def _settle_out(
    demo: Demo, plant: Sequence[Played], goal: str, out: list[_Held], back: list[_Held], until: int
) -> None:
    """As many out as the figure says: the shop is late with the youngest of what came back."""
    for one in out[: max(0, len(out) - OUT[goal])]:
        _scrap_instead(one)
    for number in range(OUT[goal] - len(out)):
        if back and back[-1].rework.sent > until - 30 * DAY:
            _drop_return(back.pop())
        else:
            tool = _new(demo, plant, goal, until, number)
            sent = until - (3 + 2 * number) * DAY - number * HOUR
            promised = sent + int(BY_POSITION[goal].rework_days[0] + 2) * DAY
            note = "had a finish that no press wants"
            _owner(plant, tool).entries.append(
                Entry(sent, "send", tool, back_at=promised, note=note)
            )


def _buy(demo: Demo, plant: Sequence[Played], goal: str, many: int, until: int) -> None:
    """New tools for the shelf; one of the punches is of the weak batch."""
    for number in range(max(0, many)):
        tool = _new(demo, plant, goal, until, number)
        if goal == "punch" and number == 0 and demo.plant.has_stories:
            tool.batch, tool.bought = scripted.weak_batch(demo), scripted.weak_bought(demo, 9)


def _new(demo: Demo, plant: Sequence[Played], goal: str, until: int, number: int) -> Tool:
    position = BY_POSITION[goal]
    stream = noise.key(demo.seed, "stockroom", goal)
    chance = noise.uniform(stream, [2 * number, 2 * number + 1])
    size = position.size_mm and round(position.size_mm + 0.0005 * float(2 * chance[1] - 1), 4)
    bought = (until - int((35 + 60 * chance[0]) * DAY)) // SECOND * SECOND
    owner = plant[(5 * number + 18) % len(plant)]
    tool = bought_tool(demo, owner.press.name, len(owner.tools), position, bought, size)
    owner.tools.append(tool)
    return tool


def _owner(plant: Sequence[Played], tool: Tool) -> Played:
    return next(played for played in plant if played.press.name == tool.press)


def _sent_entry(one: _Held) -> int:
    entries = one.played.entries
    return max(
        index
        for index, entry in enumerate(entries)
        if entry.tool is one.rework.tool and entry.type == "send"
    )


def _drop_return(one: _Held) -> None:
    kept = [
        entry
        for entry in one.played.entries
        if not (
            entry.tool is one.rework.tool
            and entry.type == "rework"
            and entry.at == one.rework.ready
        )
    ]
    one.played.entries[:] = kept


def _scrap_instead(one: _Held) -> None:
    """The tool was not worth a rework after all: it was scrapped when it would have gone out."""
    _drop_return(one)
    index = _sent_entry(one)
    sent = one.played.entries[index]
    one.played.entries[index] = Entry(sent.at, "scrap", sent.tool, note="not worth regrinding")
    one.played.back.remove(one.rework)


def _promise_the_die(demo: Demo, plant: Sequence[Played]) -> None:
    """Story 6: the redraw die in rework is promised for D+18."""
    if not demo.plant.has_stories:
        return
    for played in plant:
        last = {id(entry.tool): index for index, entry in enumerate(played.entries)}
        for index in last.values():
            entry = played.entries[index]
            if entry.type == "send" and entry.tool is not None and entry.tool.kind == "redraw-die":
                played.entries[index] = replace(entry, back_at=_noon(demo, DIE_PROMISED_DAYS))


def _noon(demo: Demo, offset: int) -> int:
    return demo.on_day(offset, time(12))

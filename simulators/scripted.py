"""Tools whose lives the stories fix: where, from when, of which batch, and how they end.

Times are the demo's own offsets from its first day; one that must fall into a planned stop moves
to the nearest of its line.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import time, timedelta
from typing import Final, Literal

from duestroke.times import from_micros
from simulators import stories
from simulators.plant import Press
from simulators.stories import Demo

WEAK_FACTOR: Final = 1.6
WEAK_BOUGHT: Final = -300
WEAK_CAME_OUT: Final = {"1/04": (36.0, -120), "3/01": (41.0, -70), "1/06": (44.0, -25)}
"""Press: age (millions) at which a punch of the weak batch came out worn, and the day."""
WEAK_STILL_IN: Final = {"2/01": -45, "2/06": -32, "2/07": -24, "3/04": -38, "3/07": -17}
BROKEN_RING_AGE: Final = 12.4
"""Millions of strokes at which ring 3 of 2/05 chips."""
DIE_DUE: Final = 14
"""1/03: the redraw die is at its limit on D+14."""
SWAPPED: Final = (("2/03", "ring-3"), ("2/04", "ring-2"))
JAM: Final = ("1/05", -45, ("punch", "ring-2", "ring-3"))

Start = Literal["stop", "run"]


@dataclass(frozen=True)
class Scripted:
    """One life that a story fixes.

    start: when its tool goes in: a stop's start, or a time in the run at which the one before it
    breaks.  growth_factor: on the wear that chance gives it.  worn_at: the age (millions of
    strokes) at which it is at its limit; None leaves that to chance.  worn_on: the time at which
    it is.  out_at, end: the stop or time in the run at which it comes out, and why.  age_then: its
    age then, millions; None: it went in new.  look_at: a stop at which it is gauged in any case.
    """

    position: str
    start: int
    how: Start
    note: str | None = None
    batch: str | None = None
    growth_factor: float = 1.0
    worn_on: int | None = None
    out_at: int | None = None
    end: Literal["worn", "broken"] | None = None
    age_then: float | None = None
    look_at: int | None = None


def weak_batch(demo: Demo) -> str:
    """The name of the weak batch of punches: that of the quarter in which D-300 lies."""
    day = from_micros(demo.on_day(WEAK_BOUGHT, time(12)))
    return f"PB-{day:%y}{(day.month + 2) // 3:02d}"


def weak_bought(demo: Demo, number: int) -> int:
    """When a punch of the weak batch was bought: within its quarter."""
    day = from_micros(demo.on_day(WEAK_BOUGHT, time(12)))
    first = day.replace(month=day.month - (day.month - 1) % 3, day=1)
    return int((first + timedelta(days=5 + 3 * number)).timestamp()) * 1_000_000


def scripted(demo: Demo, press: Press) -> list[Scripted]:
    """What the stories fix at one press, in order of time."""
    if not demo.plant.has_stories:
        return []
    found = [*_weak(demo, press), *_one_story(demo, press)]
    return sorted(found, key=lambda one: one.start)


def _weak(demo: Demo, press: Press) -> Iterator[Scripted]:
    """Story 2: three punches came out worn since D-150, five are in."""
    place, batch = press.name.split("/", 1)[1], weak_batch(demo)
    if place in WEAK_CAME_OUT:
        age, offset = WEAK_CAME_OUT[place]
        out = stories.stop_near(demo, press, offset).start
        yield Scripted("punch", 0, "run", None, batch, WEAK_FACTOR, out, out, "worn", age)
    if place in WEAK_STILL_IN:
        stop = stories.stop_near(demo, press, WEAK_STILL_IN[place])
        yield Scripted("punch", stop.start, "stop", None, batch, WEAK_FACTOR)


def _one_story(demo: Demo, press: Press) -> Iterator[Scripted]:
    if demo.is_at(press, "2/05"):
        stop, breaks = stories.stop_near(demo, press, -28), demo.on_day(-9, time(13, 40))
        note = "a sound ring that had run before"
        yield Scripted(
            "ring-3", stop.start, "stop", note, out_at=breaks, end="broken",
            age_then=BROKEN_RING_AGE,
        )  # fmt: skip
    if demo.is_at(press, "1/03"):
        start = demo.on_day(-146, time(15, 20))
        yield Scripted("redraw-die", start, "run", worn_on=demo.on_day(DIE_DUE, time(14)))
    for place, position in SWAPPED:
        if demo.is_at(press, place):
            start = stories.stop_near(demo, press, -27).start
            yield Scripted(position, start, "stop", look_at=swap_found(demo, press))


def swap_found(demo: Demo, press: Press) -> int:
    """D-20: the stop at which a bore reading shows that two rings were exchanged on entry."""
    return stories.stop_near(demo, press, -20).start


def jam(demo: Demo, press: Press) -> tuple[int, tuple[str, ...]] | None:
    """A jam at 1/05 that hurts three tools: its time, and the positions."""
    place, offset, positions = JAM
    return (demo.on_day(offset, time(13, 20)), positions) if demo.is_at(press, place) else None

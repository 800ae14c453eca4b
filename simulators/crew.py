"""What the crew of a press does in two years: looks at each stop, changes worn and broken tools.

The rule is that of running to the limit: a tool stays until it is found `worn` at a look or fails
by itself; a jam now and then hurts sound tools. All of it is a pure function of the demo.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from simulators import noise, stories, wear
from simulators.plant import HOUR, MINUTE, POSITIONS, SECOND, Position, Press
from simulators.running import chance_timeline
from simulators.serials import serial
from simulators.stops import QUARTER_WEEKS, Stop, planned_stops
from simulators.stories import Demo
from simulators.timeline import WORK_A_STROKE, Timeline
from simulators.tooling import MILLION, Life, LifeMaker, Store, Tool

JAM_EVERY: Final = 6.0
"""Millions of strokes between jams; most of them hurt nothing and are short stops like others."""
JAM_HURTS: Final = 0.04
JAM_MINUTES: Final = 90
JAM_POSITIONS: Final = ("redraw-sleeve", "ring-1", "ring-2", "ring-3", "punch", "stripper")
KNOWN_AGE: Final = 0.7
_AT_A_LOOK: Final = 40 * MINUTE
_TO_THE_BENCH: Final = 20 * MINUTE


@dataclass(frozen=True)
class Entry:
    """One line for the ledger, before tools have serials. `at` in microseconds since 1970."""

    at: int
    type: str
    tool: Tool | None
    position: str | None = None
    reason: str | None = None
    strokes_before: int | None = None
    before_unknown: bool = False
    size_mm: float | None = None
    back_at: int | None = None
    note: str | None = None


@dataclass(frozen=True)
class Look:
    """An inspection at a stop: `good` or `worn`, as the gauge read it."""

    at: int
    tool: Tool
    verdict: str


@dataclass
class Played:
    """Two years of one press: entries and looks in order of time, lives, and stands it cost."""

    press: Press
    entries: list[Entry] = field(default_factory=list)
    looks: list[Look] = field(default_factory=list)
    lives: list[Life] = field(default_factory=list)
    stands: list[tuple[int, int]] = field(default_factory=list)
    tools: list[Tool] = field(default_factory=list)


def play(demo: Demo, press: Press, until: int) -> Played:
    """Run a press and its crew from D-730 to `until`."""
    return _Crew(demo, press, until).played


class _Crew:
    """The walk from event to event: next stop, next break, next jam, whichever comes first."""

    def __init__(self, demo: Demo, press: Press, until: int) -> None:
        self.demo, self.press, self.until = demo, press, until
        self.base: Timeline = chance_timeline(demo, press, until + stories.LONG_GAP)
        self.lost = 0
        self.rng = noise.generator(demo.seed, press.name, "crew")
        self.played = Played(press)
        self.store = Store(demo, press.name, self.rng, self.played.tools)
        self.maker = LifeMaker(demo, press.name, self._duties(), self.rng)
        self.sitting: dict[str, Life] = {}
        self.next_jam = self._jam_after(0.0)
        self._walk()

    def _duties(self) -> dict[str, wear.Duty]:
        rates = [
            (int(self.base.strokes(at)) / MILLION, spm)
            for at, spm in stories.rates(self.demo, self.press)
        ]
        return {position.name: wear.duty(self.press, position, rates) for position in POSITIONS}

    def _walk(self) -> None:
        self._take_stock()
        stops = planned_stops(self.press.line, self.demo.first_day, self.demo.begin, self.until)
        for stop in stops:
            self._run_to(stop.start)
            self._look(stop)
            self._service(stop)
        self._run_to(self.until)
        self.played.entries.sort(key=lambda entry: entry.at)

    def _take_stock(self) -> None:
        """At D-730 each position holds a tool; for three in ten nobody knows its age."""
        for position in POSITIONS:
            life = self.maker.found(self.store, position, self.demo.begin)
            life.age_known = bool(self.rng.random() < KNOWN_AGE)
            self._seat(life, "in place when the record began")

    def _run_to(self, at: int) -> None:
        """All breaks and jams before a time."""
        while True:
            position = min(self.sitting, key=lambda name: self.sitting[name].sudden_at)
            strokes = min(self.sitting[position].sudden_at, self.next_jam)
            moment = self._time_of(strokes)
            if moment >= at:
                return
            if strokes == self.next_jam:
                self._jam(moment)
            else:
                self._break(self.sitting[position], moment)

    def _time_of(self, strokes: float) -> int:
        """When the press reaches a stroke count, put off past what a story holds fixed."""
        work = math.ceil(strokes * MILLION) * WORK_A_STROKE + self.lost
        if work > int(self.base.work_at(self.until)):
            return self.until
        moment = self.base.time_of_work(work)
        for low, high in stories.protected(self.demo, self.press):
            if low - JAM_MINUTES * MINUTE < moment < high:
                return high
        return moment

    def _strokes(self, at: int) -> int:
        """Whole strokes of the press at a time, all stands so far taken out."""
        return int((int(self.base.work_at(at)) - self.lost) // WORK_A_STROKE)

    def _stand(self, frm: int, minutes: int) -> int:
        """Stop the press for a change that was not planned; the end of it."""
        end = frm + minutes * MINUTE
        self.lost += int(self.base.work_at(end) - self.base.work_at(frm))
        self.played.stands.append((frm, end))
        return end

    def _break(self, life: Life, moment: int) -> None:
        end = self._stand(moment, life.position.minutes)
        strokes = self._strokes(end)
        reason = "can-defect" if self.rng.random() < 0.1 else "broken"
        self._pull(life, _second(moment + (end - moment) // 3), strokes, reason)
        self._seat_next(life.position, _second(end), strokes)

    def _jam(self, moment: int) -> None:
        """One jam hurts one to three tools at once: one event, not independent lives."""
        end = self._stand(moment, JAM_MINUTES)
        strokes = self._strokes(end)
        hurt = self.rng.permutation(len(JAM_POSITIONS))[: 1 + int(self.rng.integers(3))]
        for number, place in enumerate(sorted(int(index) for index in hurt)):
            life = self.sitting[JAM_POSITIONS[place]]
            pulled = _second(moment + (20 + number) * MINUTE)
            self._pull(life, pulled, strokes, "collateral", "hurt in a jam")
            self._seat_next(life.position, _second(end - (3 - number) * MINUTE), strokes)
        self.next_jam = self._jam_after(self.next_jam)

    def _jam_after(self, strokes: float) -> float:
        return strokes + JAM_EVERY / JAM_HURTS * float(self.rng.exponential())

    def _look(self, stop: Stop) -> None:
        """Every position that is due at this stop is gauged; what reads at its limit comes out."""
        strokes = self._strokes(stop.start + _AT_A_LOOK)
        at = _second(max(stop.start, self._last_fit()) + _AT_A_LOOK)
        for position in POSITIONS:
            life = self.sitting[position.name]
            if (stop.week + position.order) % position.weeks:
                continue
            at += 2 * MINUTE
            is_worn = self._reads_worn(life, strokes)
            self.played.looks.append(Look(at, life.tool, "worn" if is_worn else "good"))
            if is_worn:
                self._pull(life, at + 5 * MINUTE, strokes, "worn")
                self._seat_next(position, at + (5 + position.minutes) * MINUTE, strokes)

    def _service(self, stop: Stop) -> None:
        """Each press gets its service at every second quarterly stop: every 182 days."""
        turn = stop.week // QUARTER_WEEKS + self.press.number
        if stop.end - stop.start == 24 * HOUR and turn % 2 == 0:
            self._enter(Entry(stop.start + 17 * HOUR, "service", None, reason="planned"))

    def _last_fit(self) -> int:
        return max(life.fitted_at for life in self.sitting.values())

    def _reads_worn(self, life: Life, strokes: int) -> bool:
        position = life.position
        if position.limit_um is None:
            return False
        duty = self.maker.duties[position.name].until(strokes / MILLION)
        reading = life.change_um(duty) + position.noise_um * float(self.rng.standard_normal())
        return reading >= abs(position.limit_um)

    def _pull(
        self, life: Life, at: int, strokes: int, reason: str, note: str | None = None
    ) -> None:
        life.pulled_at, life.pulled_strokes, life.end = at, strokes, reason
        self._enter(Entry(at, "pull", life.tool, life.position.name, reason, note=note))
        self._to_the_bench(life, at + _TO_THE_BENCH, reason)

    def _to_the_bench(self, life: Life, at: int, reason: str) -> None:
        """Worn tools go out for rework while they have lives left; all others are scrapped."""
        ready = self.store.rework(life.tool, life.position, at) if reason == "worn" else None
        if ready is None:
            self._enter(Entry(at, "scrap", life.tool))
            return
        self._enter(Entry(at, "send", life.tool, back_at=ready))
        if ready < self.until:
            size = life.tool.size_mm
            self._enter(Entry(ready, "rework", life.tool, size_mm=size, note="reground"))

    def _seat_next(self, position: Position, at: int, strokes: int) -> None:
        tool = self.store.take(position, at)
        self._seat(self.maker.start(tool, position, at, strokes), None)

    def _seat(self, life: Life, note: str | None) -> None:
        self.sitting[life.position.name] = life
        self.played.lives.append(life)
        before = round(life.age * MILLION) if life.age else None
        self._enter(
            Entry(
                life.fitted_at,
                "fit",
                life.tool,
                life.position.name,
                strokes_before=before if life.age_known else None,
                before_unknown=not life.age_known,
                note=note,
            )
        )

    def _enter(self, entry: Entry) -> None:
        self.played.entries.append(entry)


def _second(at: int) -> int:
    return at // SECOND * SECOND


def name_tools(tools: Sequence[Tool], years: Sequence[int]) -> None:
    """Serials for a whole plant's tools, by kind and year, in the order in which they were bought.

    years: calendar year in which each was bought, as the tools.
    """
    numbers: dict[tuple[str, int], int] = {}
    order = np.lexsort(([tool.number for tool in tools], [tool.bought for tool in tools]))
    for index in order:
        tool, year = tools[int(index)], years[int(index)]
        numbers[tool.kind, year] = number = numbers.get((tool.kind, year), 0) + 1
        tool.serial = serial(tool.kind, year, number)

"""What the crew of a press does in two years: looks at each stop, changes worn and broken tools.

When a tool comes out follows from its line's policy (`simulators.policy`), from sudden failures,
from jams, which hurt sound tools, and from the stories. A pure function of the demo.
"""

from __future__ import annotations

import math
from typing import Final

from simulators import noise, policy, scripted, stories, wear
from simulators.looks import Looks
from simulators.plant import HOUR, MINUTE, POSITIONS, SECOND, Position, Press
from simulators.played import Entry, Played
from simulators.running import chance_timeline
from simulators.scripted import Scripted
from simulators.stops import QUARTER_WEEKS, Stop, planned_stops
from simulators.stories import Demo
from simulators.timeline import WORK_A_STROKE, Timeline
from simulators.tooling import MILLION, Fixed, Life, LifeMaker, Store

JAM_EVERY: Final = 6.0
"""Millions of strokes between jams; most of them hurt nothing and are short stops like others."""
JAM_HURTS: Final = 0.04
JAM_MINUTES: Final = 90
JAM_POSITIONS: Final = ("redraw-sleeve", "ring-1", "ring-2", "ring-3", "punch", "stripper")
_AT_A_LOOK: Final = 40 * MINUTE
_TO_THE_BENCH: Final = 20 * MINUTE
_FOUND_LATE: Final = 0.6
"""Millions of strokes by which a story's worn tool is past its limit when it comes out."""


def play(demo: Demo, press: Press, until: int) -> Played:
    """Run a press and its crew from D-730 to `until`."""
    return _Crew(demo, press, until).played


class _Crew:
    """The walk from event to event: next stop, next break, next jam, whichever comes first."""

    def __init__(self, demo: Demo, press: Press, until: int) -> None:
        self.demo, self.press, self.until = demo, press, until
        self.base: Timeline = chance_timeline(demo, press, until + stories.LONG_GAP)
        self.lost = 0
        self.changes = 0
        self.rng = noise.generator(demo.seed, press.name, "crew")
        self.played = Played(press)
        self.store = Store(demo, press.name, self.rng, self.played.tools, self.played.back)
        self.maker = LifeMaker(demo, press.name, self._duties(), self.rng, self._roughness())
        self.looks = Looks(demo, press, self.maker.duties, self.played.looks)
        self.sitting: dict[str, Life] = {}
        self.due_next: set[str] = set()
        self.next_jam = self._jam_after(0.0)
        self.script = scripted.scripted(demo, press)
        self.forced_jam = scripted.jam(demo, press)
        self._walk()

    def _duties(self) -> dict[str, wear.Duty]:
        rates = [
            (int(self.base.strokes(at)) / MILLION, spm)
            for at, spm in stories.rates(self.demo, self.press)
        ]
        return {position.name: wear.duty(self.press, position, rates) for position in POSITIONS}

    def _roughness(self) -> wear.Roughness | None:
        ramp = stories.roughness(self.demo, self.press)
        if ramp is None:
            return None
        strokes = tuple((self.base.strokes(ramp[0]) / MILLION).tolist())
        return wear.Roughness(strokes, tuple(ramp[1]))

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
            if self.demo.plant.new_at_start:
                tool = self.store.buy(position, self.demo.begin)
                life = self.maker.start(tool, position, self.demo.begin, 0)
            else:
                life = self.maker.found(self.store, position, self.demo.begin)
            life.age_known = bool(self.rng.random() < self.demo.plant.known_age)
            self._seat(life, "in place when the record began")

    def _run_to(self, at: int) -> None:
        """All breaks and jams before a time."""
        while True:
            position = min(self.sitting, key=lambda name: self.sitting[name].sudden_at)
            strokes = min(self.sitting[position].sudden_at, self.next_jam)
            moment = self._time_of(strokes)
            if self._story_before(min(moment, at)):
                continue
            if moment >= at:
                return
            if strokes == self.next_jam:
                self._jam(moment, None)
                self.next_jam = self._jam_after(self.next_jam)
            else:
                self._break(self.sitting[position], moment)

    def _story_before(self, at: int) -> bool:
        """Let happen what a story puts into the run before a time; whether anything did."""
        if self.forced_jam is not None and self.forced_jam[0] < at:
            (moment, positions), self.forced_jam = self.forced_jam, None
            self._jam(moment, positions)
            return True
        for script in self.script:
            if script.how == "run" and (start := self._start_of(script)) < at:
                self.script.remove(script)
                self._break_for(script, start)
                return True
        return False

    def _start_of(self, script: Scripted) -> int:
        """When a tool goes in that is to have an age at a time: so many strokes before."""
        if script.out_at is None or script.age_then is None:
            return script.start
        strokes = self._foreseen(script.out_at) - script.age_then
        return self.base.time_of_work(int(strokes * MILLION) * WORK_A_STROKE + self.lost)

    def _break_for(self, script: Scripted, moment: int) -> None:
        life = self.sitting[script.position]
        life.sudden_at = self._strokes(moment) / MILLION
        end = self._stand(moment, life.position.minutes)
        strokes = self._strokes(end)
        self._pull(life, _second(moment + (end - moment) // 3), strokes, "broken")
        self._seat_scripted(script, life.position, _second(end), strokes)

    def _time_of(self, strokes: float) -> int:
        """When the press reaches a stroke count, put off past what a story holds fixed."""
        if not strokes < math.inf:
            return self.until
        work = math.ceil(strokes * MILLION) * WORK_A_STROKE + self.lost
        if work > int(self.base.work_at(self.until)):
            return self.until
        moment = self.base.time_of_work(work)
        for low, high in stories.protected(self.demo, self.press):
            if low - JAM_MINUTES * MINUTE < moment < high:
                return high
        return moment

    def _foreseen(self, at: int) -> float:
        """Strokes of the press (millions) at a time to come, if no tool breaks until then."""
        known = min(at, self.until)
        rate = self.press.line.strokes_a_minute * 0.89 / MINUTE
        return (int(self.base.work_at(known)) - self.lost) / WORK_A_STROKE / MILLION + (
            at - known
        ) * rate / MILLION

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
        found_on_cans = self.rng.random() < 0.1 and life.script is None
        reason = "can-defect" if found_on_cans else "broken"
        self._pull(life, _second(moment + (end - moment) // 3), strokes, reason)
        self._seat_next(life.position, _second(end), strokes)

    def _jam(self, moment: int, positions: tuple[str, ...] | None) -> None:
        """One jam hurts one to three tools at once: one event, not independent lives."""
        end = self._stand(moment, JAM_MINUTES)
        strokes = self._strokes(end)
        hurt = self.rng.permutation(len(JAM_POSITIONS))[: 1 + int(self.rng.integers(3))]
        names = positions or [JAM_POSITIONS[place] for place in sorted(int(at) for at in hurt)]
        lives = [self.sitting[name] for name in names]
        for number, life in enumerate(life for life in lives if life.script is None):
            pulled = _second(moment + (20 + number) * MINUTE)
            self._pull(life, pulled, strokes, "collateral", "hurt in a jam")
            self._seat_next(life.position, _second(end - (3 - number) * MINUTE), strokes)

    def _jam_after(self, strokes: float) -> float:
        return strokes + JAM_EVERY / JAM_HURTS * float(self.rng.exponential())

    def _look(self, stop: Stop) -> None:
        """Every position that is due at this stop is gauged, and the line's policy decides."""
        strokes = self._strokes(stop.start + _AT_A_LOOK)
        at = _second(max(stop.start, self._last_fit()) + _AT_A_LOOK)
        for position in POSITIONS:
            if not self._has_work(stop, position):
                continue
            at += 2 * MINUTE
            reason = self._gauge(position, at, strokes, stop)
            start = self._script_at(stop, position)
            if start is not None:
                reason = "planned"
            if reason is None:
                continue
            self._pull(self.sitting[position.name], at + 5 * MINUTE, strokes, reason)
            fitted = at + (5 + position.minutes) * MINUTE
            if start is None:
                self._seat_next(position, fitted, strokes)
            else:
                self._seat_scripted(start, position, fitted, strokes)

    def _has_work(self, stop: Stop, position: Position) -> bool:
        script = self.sitting[position.name].script
        return (
            (stop.week + position.order) % position.weeks == 0
            or position.name in self.due_next
            or any(one.position == position.name and one.start == stop.start for one in self.script)
            or (script is not None and stop.start in (script.look_at, script.out_at))
        )

    def _script_at(self, stop: Stop, position: Position) -> Scripted | None:
        for script in self.script:
            if script.position == position.name and script.start == stop.start:
                self.script.remove(script)
                return script
        return None

    def _gauge(self, position: Position, at: int, strokes: int, stop: Stop) -> str | None:
        """Read one tool and enter it; the reason for which it comes out now, or None."""
        life = self.sitting[position.name]
        reading = self.looks.read(life, at, strokes)
        word = self._judge(life, reading, strokes)
        if life.script is not None:
            goes = life.script.out_at == stop.start
            reading, word = self.looks.held(life, reading, goes), "worn" if goes else "stays"
        self.looks.enter(life, at, strokes, reading, self.sitting["punch"])
        if position.name in self.due_next or word == "planned":
            return "planned"
        if word == "next-stop":
            self.due_next.add(position.name)
        return "worn" if word == "worn" else None

    def _judge(self, life: Life, reading: float | None, strokes: int) -> policy.Word:
        age = (strokes - life.fitted_strokes) / MILLION + (life.age if life.age_known else 0.0)
        return policy.judge(self.press.line.policy, life.position, reading, age)

    def _service(self, stop: Stop) -> None:
        """Each press gets its service at every second quarterly stop: every 182 days."""
        turn = stop.week // QUARTER_WEEKS + self.press.number
        if stop.end - stop.start == 24 * HOUR and turn % 2 == 0:
            self._enter(Entry(stop.start + 17 * HOUR, "service", None, reason="planned"))

    def _last_fit(self) -> int:
        return max(life.fitted_at for life in self.sitting.values())

    def _pull(
        self, life: Life, at: int, strokes: int, reason: str, note: str | None = None
    ) -> None:
        life.pulled_at, life.pulled_strokes, life.end = at, strokes, reason
        self.changes += 1
        self._enter(
            Entry(at, "pull", life.tool, life.position.name, reason, note=note, change=self.changes)
        )
        self._to_the_bench(life, at + _TO_THE_BENCH, reason)

    def _to_the_bench(self, life: Life, at: int, reason: str) -> None:
        """Worn tools go out for rework while they have lives left; all others are scrapped."""
        if life.script is not None and life.script.batch is not None:
            self._enter(Entry(at, "scrap", life.tool, note="kept to be looked into with its batch"))
            return
        is_worn = reason in ("worn", "planned")
        rework = self.store.rework(life.tool, life.position, at) if is_worn else None
        if rework is None:
            self._enter(Entry(at, "scrap", life.tool))
            return
        self._enter(Entry(at, "send", life.tool, back_at=rework.promised))
        if rework.ready < self.until:
            size = life.tool.size_mm
            self._enter(Entry(rework.ready, "rework", life.tool, size_mm=size, note=rework.note))

    def _seat_next(self, position: Position, at: int, strokes: int) -> None:
        tool = self.store.take(position, at)
        self._seat(self.maker.start(tool, position, at, strokes), None)

    def _seat_scripted(self, script: Scripted, position: Position, at: int, strokes: int) -> None:
        fixed = self._fixed(script, strokes / MILLION)
        tool = self.store.buy_scripted(position, script, at)
        self._seat(
            self.maker.start_scripted(tool, position, at, strokes, script, fixed), script.note
        )

    def _fixed(self, script: Scripted, now: float) -> Fixed:
        if script.worn_on is not None and script.end is None:
            return Fixed(worn_at=self._foreseen(script.worn_on))
        if script.out_at is None or script.age_then is None:
            return Fixed()
        if script.end == "worn":
            return Fixed(worn_at=now + script.age_then - _FOUND_LATE)
        age = round(max(0.0, script.age_then - (self._foreseen(script.out_at) - now)), 2)
        return Fixed(age=age, broken_at=now + script.age_then - age)

    def _seat(self, life: Life, note: str | None) -> None:
        self.sitting[life.position.name] = life
        self.due_next.discard(life.position.name)
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
                change=self.changes or None,
            )
        )

    def _enter(self, entry: Entry) -> None:
        self.played.entries.append(entry)


def _second(at: int) -> int:
    return at // SECOND * SECOND

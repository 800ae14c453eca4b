"""Tools of one press: what is bought, sits, waits or is out for rework, and the life each has."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from duestroke.times import from_micros
from simulators import noise, scripted, wear
from simulators.plant import BY_POSITION, DAY, RING_STEPS, SECOND, Position
from simulators.scripted import Scripted
from simulators.stories import Demo

MILLION = 1e6
_DELIVERY_DAYS = 120
_STROKES_A_DAY = 0.5
_SMALLEST_SIZE_ERROR_MM = 0.0005
_RING = "ironing-ring"
_REWORK_NOTES = {
    "punch": "recoated to size",
    "redraw-die": "radius polished",
    "redraw-sleeve": "face ground back",
    _RING: "reground to the next step",
    "dome-die": "profile polished",
    "hold-ring": "face ground back",
}
_BATCH_LETTERS = {
    "punch": "PB",
    "redraw-die": "RDB",
    "redraw-sleeve": "RSB",
    "ironing-ring": "RB",
    "stripper": "SB",
    "dome-die": "DB",
    "hold-ring": "HB",
}


@dataclass
class Tool:
    """One piece of steel or carbide with what chance gave it. `serial` comes later, plant-wide.

    size_mm, new_mm: size now, and when new, where its kind has one.
    reworks: lives that it had before this one.  number: its place among the tools of its press.
    """

    press: str
    number: int
    kind: str
    bought: int
    batch: str
    batch_factor: float
    size_mm: float | None
    new_mm: float | None
    reworks: int = 0
    serial: str = ""


@dataclass
class Life:
    """One life of one tool in one position, with the truth about its end.

    age: strokes since rework when it was fitted, millions.  worn_at, sudden_at: the press's stroke
    count (millions) at which the limit is reached and at which it fails by itself.
    fitted_strokes: the press's whole strokes at the fit.  number: lives of this tool before, plus
    one.  script: the story that fixes this life, if one does.
    """

    tool: Tool
    position: Position
    age: float
    worn_at: float
    sudden_at: float
    fitted_at: int
    fitted_strokes: int
    growth_um: float
    duty_fitted: float
    duty_before: float
    number: int
    age_known: bool = True
    script: Scripted | None = None
    pulled_at: int | None = None
    pulled_strokes: int | None = None
    end: str = "running"

    def change_um(self, duty_now: float) -> float:
        """True size change, um, absolute, once the press has done so much duty in all."""
        return self.growth_um * (self.duty_before + duty_now - self.duty_fitted)


@dataclass(frozen=True)
class Rework:
    """A tool sent out: when, for when it is promised, when it really comes back, for where."""

    sent: int
    promised: int
    ready: int
    goal: str
    tool: Tool
    note: str


@dataclass
class Store:
    """Buys tools for a press, and holds those that are out for rework or came back from it."""

    demo: Demo
    press: str
    rng: np.random.Generator
    tools: list[Tool] = field(default_factory=list)
    back: list[Rework] = field(default_factory=list)

    def take(self, position: Position, at: int) -> Tool:
        """A tool for a position at a time: one that came back from rework, else a new one."""
        ready = [entry for entry in self.back if entry.ready <= at and entry.goal == position.name]
        if ready:
            oldest = min(ready, key=lambda entry: entry.ready)
            self.back.remove(oldest)
            return oldest.tool
        return self.buy(position, at)

    def buy(self, position: Position, before: int) -> Tool:
        """A new tool, delivered up to four months before it is wanted."""
        bought = before - int(self.rng.uniform(1, _DELIVERY_DAYS)) * DAY
        size = _sized(position, self.rng)
        tool = bought_tool(self.demo, self.press, len(self.tools), position, bought, size)
        self.tools.append(tool)
        return tool

    def buy_scripted(self, position: Position, script: Scripted, before: int) -> Tool:
        """The tool of a story: of the batch that it names, else bought like any other."""
        tool = self.buy(position, before)
        if script.batch is not None:
            tool.bought = scripted.weak_bought(self.demo, int(self.press[-2:]))
            tool.batch = script.batch
        return tool

    def rework(self, tool: Tool, position: Position, at: int) -> Rework | None:
        """Send a worn tool out; what becomes of it, or None where it is at its end."""
        goal = RING_STEPS.get(position.name) if tool.kind == _RING else position.name
        if goal is None or (tool.kind != _RING and tool.reworks >= position.reworks):
            return None
        median, sigma = position.rework_days
        days = median * math.exp(sigma * float(self.rng.standard_normal()))
        ready = at + int(days * DAY) // SECOND * SECOND
        tool.reworks += 1
        tool.size_mm = _sized(BY_POSITION[goal], self.rng)
        sent = Rework(at, at + int(median) * DAY, ready, goal, tool, _REWORK_NOTES[tool.kind])
        self.back.append(sent)
        return sent


def bought_tool(
    demo: Demo, press: str, number: int, position: Position, bought: int, size_mm: float | None
) -> Tool:
    """A new tool, in the batch of the quarter in which it came."""
    name, factor = batch_of(demo, position.kind, bought)
    if demo.plant.has_stories and name == scripted.weak_batch(demo):
        # That batch is the story's own, to the last punch: this one came a quarter before.
        bought -= 92 * DAY
        name, factor = batch_of(demo, position.kind, bought)
    return Tool(press, number, position.kind, bought, name, factor, size_mm, size_mm)


def batch_of(demo: Demo, kind: str, bought: int) -> tuple[str, float]:
    """Name of the batch in which a kind came in a quarter, and how fast that batch wears."""
    day = from_micros(bought)
    name = f"{_BATCH_LETTERS[kind]}-{day:%y}{(day.month + 2) // 3:02d}"
    stream = noise.key(demo.seed, "batch", name)
    return name, math.exp(wear.BATCH_SIGMA * float(noise.normal(stream, 0)))


def _sized(position: Position, rng: np.random.Generator) -> float | None:
    if position.size_mm is None:
        return None
    return round(position.size_mm + _SMALLEST_SIZE_ERROR_MM * float(rng.standard_normal()), 4)


@dataclass(frozen=True)
class Fixed:
    """What a story fixes of a life, in millions of strokes: age at the fit, press strokes at ends.

    worn_at: the press's strokes when it is at its limit.  broken_at: when it fails by itself.
    """

    age: float = 0.0
    worn_at: float | None = None
    broken_at: float | None = None


@dataclass
class LifeMaker:
    """Starts lives of tools in one press: factors of press, batch and life number, then chance."""

    demo: Demo
    press: str
    duties: dict[str, wear.Duty]
    rng: np.random.Generator
    rough: wear.Roughness | None = None

    def __post_init__(self) -> None:
        self.press_factor = wear.spread_factor(
            wear.PRESS_SIGMA, noise.generator(self.demo.seed, self.press, "press-factor")
        )

    def start(self, tool: Tool, position: Position, at: int, strokes: int) -> Life:
        """A tool at the start of a life, fitted at a time and stroke count of the press."""
        drawn = wear.draw(position, self.rng, 1)
        growth = float(drawn.growth[0]) * self.press_factor * tool.batch_factor
        growth *= wear.life_factor(tool.reworks)
        return self._begun(tool, position, at, strokes, growth, float(drawn.sudden[0]), 0.0)

    def start_scripted(
        self, tool: Tool, position: Position, at: int, strokes: int, script: Scripted, fixed: Fixed
    ) -> Life:
        """The life that a story fixes; what the story leaves open is chance's."""
        drawn = wear.draw(position, self.rng, 1)
        growth = float(drawn.growth[0]) * self.press_factor * script.growth_factor
        duty, now = self.duties[position.name], strokes / MILLION
        if fixed.worn_at is not None and position.limit_um is not None:
            done = duty.until(fixed.worn_at) - duty.until(now) + fixed.age * duty.weights[0]
            growth = abs(position.limit_um) / done
        life = self._begun(tool, position, at, strokes, growth, math.inf, fixed.age)
        life.sudden_at = math.inf if fixed.broken_at is None else fixed.broken_at
        life.script = script
        return life

    def found(self, store: Store, position: Position, at: int) -> Life:
        """The tool that sits in a position when the record begins, at a random point of its life.

        One life after another runs until far beyond the longest; the one that is alive then, with
        the age that it has, is what an observer meets.
        """
        duty = self.duties[position.name]
        ahead = 10.0 * (position.handbook_life / MILLION) * (1.0 + self.rng.random())
        while True:
            tool = store.buy(position, at)
            life = self.start(tool, position, at, 0)
            length = min(_worn_age(life, duty), life.sudden_at)
            if ahead < length:
                return self._aged(life, ahead)
            ahead -= length
            store.tools.pop()

    def _aged(self, life: Life, age: float) -> Life:
        tool, position = life.tool, life.position
        tool.bought -= int(age / _STROKES_A_DAY * DAY)
        tool.batch, _ = batch_of(self.demo, tool.kind, tool.bought)
        rounded = round(age, 2)
        begun = self._begun(
            tool, position, life.fitted_at, 0, life.growth_um, life.sudden_at, rounded
        )
        begun.sudden_at = max(begun.sudden_at, 0.01)
        return begun

    def _begun(
        self,
        tool: Tool,
        position: Position,
        at: int,
        strokes: int,
        growth: float,
        sudden_age: float,
        age: float,
    ) -> Life:
        duty, now = self.duties[position.name], strokes / MILLION
        before = age * duty.weights[0]
        done = duty.until(now)
        worn = math.inf
        if position.limit_um is not None:
            worn = duty.strokes_at(done + abs(position.limit_um) / growth - before)
        sudden = now + wear.hastened(position, age, sudden_age, now, self.rough) - age
        number = tool.reworks + 1
        return Life(tool, position, age, worn, sudden, at, strokes, growth, done, before, number)


def _worn_age(life: Life, duty: wear.Duty) -> float:
    if life.position.limit_um is None:
        return math.inf
    return abs(life.position.limit_um) / life.growth_um / duty.weights[0]

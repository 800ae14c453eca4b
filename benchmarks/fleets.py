"""Invented fleets with a known truth, on which forecasts of life are scored.

24 presses; planned stops every 8 M strokes, each press at its own phase. Half of the lives above
8 M end unseen and are found at the next stop, the others are seen when they end. Crews pull
healthy tools at the first stop after U(0.6, 1.5) handbook lives. Presses ran for 150 to 200 M
strokes before the record begins, so tools are in at its start, at a known age, some of them worn
and not yet found. A batch is bought every 20 M strokes, and 35 % of the tools come from the one
before. The record ends when the r-th failure becomes known, or, for none, on a fixed day on which
none is known; the tools that are in then are the ones to forecast.

Where sudden failures are a mode of their own they are seen at once and labelled `broken`; worn
ends are then labelled `worn` whether they are seen or found.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from benchmarks.cases import Case, M, RunningTool, quantiles_of
from benchmarks.laws import LifeLaw, Scaled, draw
from duestroke.inference.tool import ToolRecord
from duestroke.lives import EndReason, Life

Array = NDArray[np.float64]

HANDBOOK_LIFE = 50 * M
PRESSES = 24
BETWEEN_STOPS = 8 * M
STOPS_AHEAD = 4
PULL = (0.6, 1.5)
EARLIER = (150 * M, 200 * M)
HIDDEN_SHARE = 0.5
BETWEEN_BATCHES = 20 * M
OLD_BATCH_SHARE = 0.35
FIXED_DAY = 2 * M
USUAL_SPEED = 11.0
RATE_EXPONENT = 2.0
_AHEAD = np.concatenate([[0.0], np.geomspace(1e-4 * M, 3000 * M, 6000)])


@dataclass(frozen=True)
class World:
    """What rules a fleet's lives.

    wear: law at the usual speed in a usual press and batch.  sudden: a second way to end.
    batch_sd, press_sd: of the log of lives.  speed_spread: presses run at (1 -+ it) of the usual
    speed, and a life takes (speed / usual)^-2 of its strokes.
    """

    wear: LifeLaw
    sudden: LifeLaw | None = None
    batch_sd: float = 0.0
    press_sd: float = 0.0
    speed_spread: float = 0.0


Scenario = Callable[[np.random.Generator], World]


@dataclass(frozen=True)
class _Stay:
    """One tool in one press, from `fitted` to `ended`, on the press's stroke clock.

    worn_at, broken_at: ages at its end by either mode.  factor: of its wear life.
    """

    fitted: float
    ended: float
    worn_at: float
    broken_at: float
    end: EndReason
    is_hidden: bool
    batch: str
    factor: float

    @property
    def is_failure(self) -> bool:
        return self.end in ("worn", "broken")


@dataclass
class _Batches:
    """Batches of a fleet: the shift of log life that all tools of one share."""

    sd: float
    rng: np.random.Generator
    shifts: dict[int, float] = field(default_factory=dict)

    def pick(self, at: float, rng: np.random.Generator) -> tuple[str, float]:
        number = math.floor(at / BETWEEN_BATCHES) - int(rng.random() < OLD_BATCH_SHARE)
        if number not in self.shifts:
            self.shifts[number] = self.sd * float(self.rng.standard_normal())
        return f"B{number + 100}", self.shifts[number]


@dataclass
class _Press:
    """One press, run on as far as is asked."""

    name: str
    world: World
    batches: _Batches
    rng: np.random.Generator
    stays: list[_Stay] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.phase = self.rng.uniform(0, BETWEEN_STOPS)
        self.at = -self.rng.uniform(*EARLIER)
        self.shift = self.world.press_sd * float(self.rng.standard_normal())
        spread = self.world.speed_spread
        self.speed = USUAL_SPEED * self.rng.uniform(1 - spread, 1 + spread)

    def run_to(self, horizon: float) -> None:
        while self.at <= horizon:
            stay = self._stay()
            self.stays.append(stay)
            self.at = stay.ended

    def _stay(self) -> _Stay:
        batch, shift = self.batches.pick(self.at, self.rng)
        duty = (self.speed / USUAL_SPEED) ** RATE_EXPONENT
        factor = math.exp(shift + self.shift) / duty
        worn_at = factor * draw(self.world.wear, self.rng)
        sudden = self.world.sudden
        broken_at = math.inf if sudden is None else draw(sudden, self.rng)
        pulled = self.next_stop(self.at + self.rng.uniform(*PULL) * HANDBOOK_LIFE)
        is_hidden = worn_at > BETWEEN_STOPS and self.rng.random() < HIDDEN_SHARE
        known = self.next_stop(self.at + worn_at) if is_hidden else self.at + worn_at
        ended = min(known, self.at + broken_at, pulled)
        end = self._end(ended, known, pulled, is_hidden)
        return _Stay(self.at, ended, worn_at, broken_at, end, is_hidden, batch, factor)

    def _end(self, ended: float, known: float, pulled: float, is_hidden: bool) -> EndReason:
        if ended == known:
            # Without modes of their own the label says only how the end came to be known.
            return "worn" if is_hidden or self.world.sudden is not None else "broken"
        return "planned" if ended == pulled else "broken"

    def next_stop(self, at: float) -> float:
        return self.phase + BETWEEN_STOPS * math.ceil((at - self.phase) / BETWEEN_STOPS)

    def last_stop(self, at: float) -> float:
        return self.phase + BETWEEN_STOPS * math.floor((at - self.phase) / BETWEEN_STOPS)


def draw_fleet(scenario: Scenario, failures: int, rng: np.random.Generator) -> Case:
    """A fleet whose record ends when that many failures are known; 0: on a day without any."""
    while True:
        world = scenario(rng)
        presses = _presses(world, rng)
        if failures:
            return _cut(world, presses, _time_of(presses, failures))
        if not _known(presses, FIXED_DAY):
            return _cut(world, presses, FIXED_DAY)


def _presses(world: World, rng: np.random.Generator) -> list[_Press]:
    batches = _Batches(world.batch_sd, rng.spawn(1)[0])
    own = rng.spawn(PRESSES)
    return [_Press(f"plant/1/{k + 1:02d}", world, batches, own[k]) for k in range(PRESSES)]


def _time_of(presses: list[_Press], failures: int) -> float:
    horizon = 60 * M
    while len(known := _known(presses, horizon)) < failures:
        horizon += 60 * M
    return known[failures - 1]


def _known(presses: list[_Press], horizon: float) -> list[float]:
    """When failures within the record became known, up to a time."""
    for press in presses:
        press.run_to(horizon)
    stays = (stay for press in presses for stay in press.stays)
    return sorted(s.ended for s in stays if s.is_failure and 0 < s.ended <= horizon)


def _cut(world: World, presses: list[_Press], end: float) -> Case:
    lives, running = [], []
    for press in presses:
        for count, stay in enumerate(press.stays):
            if stay.ended <= 0 or stay.fitted > end:
                continue
            lives.append(_as_life(press, stay, end, f"{press.name[-2:]}-{count}"))
            if stay.ended > end:
                running.append(_as_tool(world, press, stay, end))
    return Case(HANDBOOK_LIFE, tuple(lives), tuple(running))


def _as_tool(world: World, press: _Press, stay: _Stay, end: float) -> RunningTool:
    age = end - stay.fitted
    good_at = max(press.last_stop(end) - stay.fitted, 0.0)
    first = press.next_stop(end) - end
    return RunningTool(
        record=ToolRecord(
            age, good_at, press=press.name, batch=stay.batch, speed_so_far=press.speed
        ),
        remaining=max(min(stay.worn_at, stay.broken_at) - age, 0.0),
        stops=tuple(first + BETWEEN_STOPS * k for k in range(STOPS_AHEAD)),
        known=known_remaining(world, stay.factor, age, good_at),
    )


def known_remaining(world: World, factor: float, age: float, good_at: float) -> Array:
    """Strokes left at LEVELS for one who knows the laws, the factor, and how ends are seen.

    A life up to 8 M is always seen when it ends; above, half of them end unseen. A sudden end is
    always seen.
    """
    wear: LifeLaw = Scaled(world.wear, factor)
    since = min(max(good_at, BETWEEN_STOPS), age)
    at_since, at_age = wear.survival(np.array([since, age])).tolist()
    unseen = HIDDEN_SHARE * (at_since - at_age)
    lasting = wear.survival(age + _AHEAD) / at_age
    if world.sudden is not None:
        lasting = lasting * world.sudden.survival(age + _AHEAD)
        lasting = lasting / world.sudden.survival(np.array(age))
    return quantiles_of(unseen / (unseen + at_age), lasting, _AHEAD)


def _as_life(press: _Press, stay: _Stay, end: float, name: str) -> Life:
    is_running = stay.ended > end
    entry = max(-stay.fitted, 0.0)
    return Life(
        id=name,
        serial=f"T-{name}",
        kind="punch",
        position="punch",
        press=press.name,
        batch=stay.batch,
        entry_strokes=entry,
        entry_low=max(press.last_stop(0.0) - stay.fitted, 0.0) if entry > 0 else None,
        strokes=min(stay.ended, end) - stay.fitted,
        strokes_low=_last_good(press, stay, end),
        end="running" if is_running else stay.end,
        ended_at=None,
        mean_speed_mps=press.speed,
        source="imported",
    )


def _last_good(press: _Press, stay: _Stay, end: float) -> float | None:
    if stay.ended > end:
        return max(press.last_stop(end) - stay.fitted, 0.0)
    # At the stop that finds a tool worn, it was last good at the stop before.
    is_found = stay.end == "worn" and stay.is_hidden
    return max(stay.ended - BETWEEN_STOPS - stay.fitted, 0.0) if is_found else None

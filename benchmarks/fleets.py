"""Invented fleets with a known truth, on which forecasts of life are scored.

24 presses; planned stops every 8 M strokes, each press at its own phase. Half of the lives above
8 M end unseen and are found at the next stop, the others are seen when they end. Crews pull
healthy tools at the first stop after U(0.6, 1.5) handbook lives. Presses ran for 150 to 200 M
strokes before the record begins, so tools are in at its start, at a known age, some of them worn
and not yet found. The record ends when the r-th failure becomes known; the tools that are in then
are the ones to forecast.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.law import Law
from duestroke.lives import EndReason, Life

Array = NDArray[np.float64]

M = 1e6
HANDBOOK_LIFE = 50 * M
PRESSES = 24
BETWEEN_STOPS = 8 * M
PULL = (0.6, 1.5)
EARLIER = (150 * M, 200 * M)
HIDDEN_SHARE = 0.5
_TABLE = 6000


@dataclass(frozen=True)
class TrueLaw:
    """The law by which a fleet's tools end: a mixture of laws, told apart by nobody."""

    parts: tuple[tuple[float, Law], ...]

    def draw(self, rng: np.random.Generator) -> float:
        """One life, strokes."""
        weights = [weight for weight, _ in self.parts]
        law = self.parts[int(rng.choice(len(weights), p=weights))][1]
        return float(law.quantile(rng.uniform(1e-12, 1.0)))

    def survival(self, ages: Array) -> Array:
        """Chance to last beyond each age, strokes."""
        return np.asarray(sum(weight * law.survival(ages) for weight, law in self.parts))

    def remaining_quantiles(self, age: float, good_at: float, levels: Array) -> Array:
        """Remaining strokes at each level for one who knows the law and how failures are seen.

        A life up to 8 M is always seen when it ends; above, half of them end unseen.
        """
        beyond = np.concatenate([[0.0], np.geomspace(1e-4 * M, 3000 * M, _TABLE)])
        at_age = float(self.survival(np.array([age]))[0])
        since = min(max(good_at, BETWEEN_STOPS), age)
        unseen = HIDDEN_SHARE * (float(self.survival(np.array([since]))[0]) - at_age)
        gone = unseen / (unseen + at_age)
        reached = gone + (1 - gone) * (1 - self.survival(age + beyond) / at_age)
        return np.interp(levels, reached, beyond)


Scenario = Callable[[np.random.Generator], TrueLaw]


def weibull(shape: float, median: float = HANDBOOK_LIFE) -> Law:
    """The Weibull law of a shape and a median in strokes."""
    return Law.weibull(shape=shape, scale=median / math.log(2) ** (1 / shape))


def lognormal(spread: float, median: float = HANDBOOK_LIFE) -> Law:
    """The lognormal law of a spread and a median in strokes."""
    return Law.lognormal(mu=math.log(median), sigma=spread)


def _a(rng: np.random.Generator) -> TrueLaw:
    return TrueLaw(((1.0, weibull(2.5)),))


def _b(rng: np.random.Generator) -> TrueLaw:
    return TrueLaw(((1.0, lognormal(0.45)),))


def _c(rng: np.random.Generator) -> TrueLaw:
    early = Law.weibull(shape=0.9, scale=0.1 * HANDBOOK_LIFE)
    return TrueLaw(((0.12, early), (0.88, weibull(3.5))))


def _e(rng: np.random.Generator) -> TrueLaw:
    factor = 1.6 if rng.random() < 0.5 else 1 / 1.6
    return TrueLaw(((1.0, weibull(2.5, HANDBOOK_LIFE * factor)),))


def _f(rng: np.random.Generator) -> TrueLaw:
    median = HANDBOOK_LIFE * math.exp(0.35 * rng.standard_normal())
    change = math.exp(0.35 * rng.standard_normal())
    law = weibull(2.5 * change, median) if rng.random() < 0.5 else lognormal(0.5 * change, median)
    return TrueLaw(((1.0, law),))


SCENARIOS: dict[str, tuple[str, Scenario]] = {
    "A": ("Weibull, shape 2.5, median as the handbook says", _a),
    "B": ("lognormal, spread 0.45", _b),
    "C": ("12 % early failures and Weibull 3.5, told apart by nobody", _c),
    "E": ("Weibull 2.5, handbook wrong by a factor of 1.6", _e),
    "F": ("random family, spread and median", _f),
}


@dataclass(frozen=True)
class RunningTool:
    """A tool in a press when the record ends: what is known of it, and when it truly ends.

    age, good_at, remaining: strokes; remaining is 0 when it is worn already and nobody knows.
    """

    age: float
    good_at: float
    remaining: float


@dataclass(frozen=True)
class Fleet:
    """What the record holds, and the truth behind the tools that are in."""

    truth: TrueLaw
    lives: tuple[Life, ...]
    running: tuple[RunningTool, ...]


@dataclass(frozen=True)
class _Stay:
    """One tool in one press, from `fitted` to `ended`, on the press's stroke clock."""

    fitted: float
    ended: float
    life: float
    end: EndReason


@dataclass(frozen=True)
class _Press:
    phase: float
    stays: tuple[_Stay, ...]

    def last_stop(self, at: float) -> float:
        return self.phase + BETWEEN_STOPS * math.floor((at - self.phase) / BETWEEN_STOPS)


def draw_fleet(scenario: Scenario, failures: int, rng: np.random.Generator) -> Fleet:
    """A fleet whose record ends when the given number of failures (>= 1) is known."""
    truth = scenario(rng)
    horizon = 100 * M
    while True:
        presses = [_run_press(truth, horizon, rng) for _ in range(PRESSES)]
        known = sorted(
            stay.ended
            for press in presses
            for stay in press.stays
            if stay.end in ("broken", "worn") and 0 < stay.ended <= horizon
        )
        if len(known) >= failures:
            return _cut(truth, presses, known[failures - 1])
        horizon *= 2


def _run_press(truth: TrueLaw, horizon: float, rng: np.random.Generator) -> _Press:
    phase = rng.uniform(0, BETWEEN_STOPS)
    at, stays = -rng.uniform(*EARLIER), []
    while at <= horizon:
        stay = _stay(truth, at, phase, rng)
        stays.append(stay)
        at = stay.ended
    return _Press(phase, tuple(stays))


def _stay(truth: TrueLaw, fitted: float, phase: float, rng: np.random.Generator) -> _Stay:
    life = truth.draw(rng)
    pulled = _next_stop(fitted + rng.uniform(*PULL) * HANDBOOK_LIFE, phase)
    is_hidden = life > BETWEEN_STOPS and rng.random() < HIDDEN_SHARE
    known = _next_stop(fitted + life, phase) if is_hidden else fitted + life
    if known <= pulled:
        return _Stay(fitted, known, life, "worn" if is_hidden else "broken")
    return _Stay(fitted, pulled, life, "planned")


def _next_stop(at: float, phase: float) -> float:
    return phase + BETWEEN_STOPS * math.ceil((at - phase) / BETWEEN_STOPS)


def _cut(truth: TrueLaw, presses: list[_Press], end: float) -> Fleet:
    lives, running = [], []
    for number, press in enumerate(presses):
        for count, stay in enumerate(press.stays):
            if stay.ended <= 0 or stay.fitted > end:
                continue
            lives.append(_as_life(press, stay, end, f"{number}-{count}"))
            if stay.ended > end:
                age = end - stay.fitted
                good_at = max(press.last_stop(end) - stay.fitted, 0.0)
                running.append(RunningTool(age, good_at, max(stay.life - age, 0.0)))
    return Fleet(truth, tuple(lives), tuple(running))


def _as_life(press: _Press, stay: _Stay, end: float, name: str) -> Life:
    is_running = stay.ended > end
    at = end if is_running else stay.ended
    # At the stop that finds a tool worn, it was last good at the stop before.
    last_good = press.last_stop(end) if is_running else stay.ended - BETWEEN_STOPS
    low = max(last_good - stay.fitted, 0.0) if is_running or stay.end == "worn" else None
    entry = max(-stay.fitted, 0.0)
    entry_low = max(press.last_stop(0.0) - stay.fitted, 0.0) if entry > 0 else None
    return Life(
        id=name,
        serial=f"T-{name}",
        kind="punch",
        position="punch",
        press=None,
        batch=None,
        entry_strokes=entry,
        entry_low=entry_low,
        strokes=at - stay.fitted,
        strokes_low=low,
        end="running" if is_running else stay.end,
        ended_at=None,
        mean_speed_mps=None,
        source="imported",
    )

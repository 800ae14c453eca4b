"""Wear with a known truth: straight, rough and curved paths, and how well their ends are foreseen.

Limit 20 um, gauge noise 1.5 um, a reading every 8 M strokes, median life 60 M, slopes lognormal
with sd 0.35. Each fleet has some finished tools, read until a reading is at the limit, and running
ones, whose wear life is forecast from the law of lives and the likelihood of their readings.

    python -m tests.support.wear_truths 500      # the table of docs/methods-wear.md
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.wear import WearPaths, own_trend, passage_quantiles
from duestroke.lives import Life, WearReading
from tests.support.lives import life

Floats = NDArray[np.float64]

LIMIT_UM, NOISE_UM, EVERY, MEDIAN, SLOPES = 20.0, 1.5, 8e6, 60e6, 0.35
ROUGH_UM = 0.5
"""um a square root of a million strokes."""
POWER = 1.35
FLEET = 20
"""Running tools of one fleet, which share what was learned."""
_STEP, _LONGEST = 1e5, 480e6
KINDS = ("straight", "rough", "curved")
LOG_LIVES = np.log(MEDIAN) + np.linspace(-2.4, 2.4, 481)


@dataclass(frozen=True)
class Wear:
    """The path of one tool. end: true wear life, strokes.  ages, shares: the path itself."""

    end: float
    ages: Floats
    shares: Floats

    def readings(self, ages: Floats, rng: np.random.Generator) -> list[WearReading]:
        sd = NOISE_UM / LIMIT_UM
        seen = np.interp(ages, self.ages, self.shares) + sd * rng.standard_normal(ages.size)
        return [WearReading(float(x), float(y), sd) for x, y in zip(ages, seen, strict=True)]

    def until(self, age: float, rng: np.random.Generator) -> tuple[WearReading, ...]:
        return tuple(self.readings(np.arange(EVERY, age, EVERY), rng))

    def to_the_limit(self, rng: np.random.Generator) -> tuple[WearReading, ...]:
        """Read until a reading is at the limit."""
        readings = self.readings(np.arange(EVERY, _LONGEST, EVERY), rng)
        last = next(i for i, one in enumerate(readings) if one.share >= 1)
        return tuple(readings[: last + 1])


def wear(kind: str, rng: np.random.Generator) -> Wear:
    """One tool of a kind of truth."""
    ages = np.arange(0.0, _LONGEST, _STEP)
    typical = MEDIAN * np.exp(SLOPES * rng.standard_normal())
    shares = (ages / typical) ** (POWER if kind == "curved" else 1.0)
    if kind == "rough":
        step = ROUGH_UM / LIMIT_UM * np.sqrt(_STEP / 1e6)
        noise = step * rng.standard_normal(ages.size - 1)
        shares = shares + np.concatenate([[0.0], np.cumsum(noise)])
    return Wear(float(ages[np.argmax(shares >= 1)]), ages, shares)


@cache
def law(kind: str) -> Floats:
    """Log density of the truth's lognormal life law on LOG_LIVES, up to a constant."""
    rng = np.random.default_rng(77)
    logs = np.log([wear(kind, rng).end for _ in range(1000)])
    return np.asarray(-0.5 * ((LOG_LIVES - logs.mean()) / logs.std()) ** 2)


def finished(kind: str, tools: int, rng: np.random.Generator) -> list[Life]:
    """Lives that ended when a reading was at the limit."""
    lives = []
    for _ in range(tools):
        readings = wear(kind, rng).to_the_limit(rng)
        low = readings[-2].strokes if len(readings) > 1 else 0.0
        ended = life(readings[-1].strokes, "worn", low=low)
        lives.append(replace(ended, readings=readings))
    return lives


@dataclass(frozen=True)
class Running:
    """A tool in use: its true wear life, its age, its readings."""

    end: float
    age: float
    readings: tuple[WearReading, ...]


def running(kind: str, window: tuple[float, float, str], rng: np.random.Generator) -> Running:
    """A tool seen within a window: shares `of life`, or `of median` and not worn by then."""
    low, high, of = window
    while True:
        path = wear(kind, rng)
        age = rng.uniform(low, high) * (path.end if of == "life" else MEDIAN)
        if age < path.end:
            return Running(path.end, age, path.until(age, rng))


@dataclass(frozen=True)
class Score:
    """How the forecasts of n tools did. low, high: true life below P10, above P90, a share each.

    crps: M strokes.  odd: share of latest readings told not to fit.
    """

    tools: int
    low: float
    high: float
    crps: float
    odd: float

    @property
    def c80(self) -> float:
        return 1 - self.low - self.high


def score(
    kind: str,
    *,
    known: int,
    window: tuple[float, float, str],
    tools: int,
    seed: int,
    above: bool = False,
) -> tuple[Score, Score, float]:
    """Of the readings with the law, of the law alone, and c80 of the readings alone.

    known: finished tools a fleet.  above: only lives beyond the present age are held possible, as
    if each tool had just been found good.
    """
    rng = np.random.default_rng(seed)
    joint, prior, alone = [], [], []
    for _ in range(0, tools, FLEET):
        paths = WearPaths.learn(finished(kind, known, rng), typical_life=MEDIAN, typical_spread=0.4)
        fleet = [running(kind, window, rng) for _ in range(FLEET)]
        likelihood = paths.log_likelihood([tool.readings for tool in fleet], LOG_LIVES)
        odd = paths.misfits([tool.readings for tool in fleet], LOG_LIVES, law(kind)) < 0.01
        for tool, row, is_odd in zip(fleet, likelihood, odd, strict=True):
            joint.append((*_one(law(kind) + row, tool, above), is_odd))
            prior.append((*_one(law(kind), tool, True), False))
            alone.append(_alone(paths, tool))
    told = [one for one in alone if one is not None]
    return _total(joint), _total(prior), float(np.mean(told)) if told else float("nan")


def _one(log_mass: Floats, tool: Running, above: bool) -> tuple[float, float]:
    """Posterior chance of an end before the true one, and CRPS, M strokes."""
    lives = np.exp(LOG_LIVES)
    mass = np.exp(log_mass - log_mass.max())
    if above:
        mass = np.where(lives > tool.age, mass, 0.0)
    mass = mass / mass.sum()
    before = np.cumsum(mass) - mass / 2
    reached = float(np.interp(np.log(tool.end), LOG_LIVES, before))
    # What is said to have ended already ends now.
    seen = np.where(lives < tool.age, 0.0, before)
    crps = np.trapezoid((seen - (lives >= tool.end)) ** 2, lives) / 1e6
    return reached, float(crps)


def _alone(paths: WearPaths, tool: Running) -> bool | None:
    trend = own_trend(tool.readings)
    if trend is None:
        return None
    low, high = passage_quantiles(trend, paths.roughness, np.array([0.1, 0.9]))
    return bool(low <= tool.end - trend.last <= high)


def _total(rows: list[tuple[float, float, bool]]) -> Score:
    reached, crps, odd = (np.array(column) for column in zip(*rows, strict=True))
    low, high = float((reached < 0.1).mean()), float((reached > 0.9).mean())
    return Score(len(rows), low, high, float(crps.mean()), float(odd.mean()))


WINDOWS = (
    (30, (0.5, 0.9, "life")),
    (6, (0.2, 0.5, "life")),
    (30, (0.5, 0.9, "median")),
    (6, (0.2, 0.5, "median")),
)


def main(tools: int) -> None:
    """Print the rows of the table."""
    for known, window in WINDOWS:
        for kind in KINDS:
            joint, prior, alone = score(
                kind, known=known, window=window, tools=tools, seed=11, above=True
            )
            print(
                f"| {known} | {window[0]} to {window[1]} of {window[2]} | {kind} "
                f"| {joint.c80:.3f} | {joint.low:.3f} / {joint.high:.3f} | {joint.crps:.1f} "
                f"| {joint.crps / prior.crps:.2f} | {joint.odd:.3f} "
                f"| {prior.c80:.3f} | {alone:.2f} |",
                flush=True,
            )


if __name__ == "__main__":
    main(int(sys.argv[1]))

"""How a tool's life ends: size change that reaches its limit, or a sudden failure before that.

Two independent modes; ages in millions of strokes since fit or rework. All figures are the demo's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from duestroke.stroke import peak_speed
from simulators.plant import Position, Press

Floats = NDArray[np.float64]

REFERENCE_SPEED: float = 11.0
"""m/s: the speed for which lives are given."""

_STEPS = 2_000
PRESS_SIGMA, BATCH_SIGMA, LIFE_STEP = 0.08, 0.06, 0.04


@dataclass(frozen=True)
class Draws:
    """What chance gives to tools. growth: um (absolute) a million strokes; sudden: age, millions.

    Both of shape (n,). growth is 0 where a position knows no wear.
    """

    growth: Floats
    sudden: Floats

    def lives(self, position: Position) -> Floats:
        """Ages at which these tools end at 11 m/s, K as new and all factors 1; shape (n,)."""
        return np.minimum(wear_ages(position, self.growth), self.sudden)


def draw(position: Position, rng: np.random.Generator, n: int) -> Draws:
    """n tools of a position: a lognormal wear rate and a Weibull age of sudden failure each."""
    growth = position.growth * np.exp(position.growth_sigma * rng.standard_normal(n))
    sudden = position.scale * rng.weibull(position.shape, n)
    return Draws(growth, sudden)


def wear_ages(position: Position, growth: Floats) -> Floats:
    """Age (millions of strokes at 11 m/s) at which the limit is reached; inf without one."""
    if position.limit_um is None:
        return np.full_like(growth, np.inf)
    return abs(position.limit_um) / growth


@dataclass(frozen=True)
class Roughness:
    """K over K as new of a press, straight between nodes. strokes: in millions, growing."""

    strokes: tuple[float, ...]
    ratio: tuple[float, ...]


def hastened(
    position: Position, age: float, sudden_age: float, strokes: float, rough: Roughness | None
) -> float:
    """The age of sudden failure (millions) of a tool fitted at `age` when the press had `strokes`.

    sudden_age: that age at K as new. The hazard goes with (K/K0)^power, stroke by stroke.
    """
    if rough is None or not age < sudden_age < np.inf:
        return sudden_age
    ages = np.linspace(age, sudden_age, _STEPS + 1)
    spent = np.diff((ages / position.scale) ** position.shape)
    middle = (ages[1:] + ages[:-1]) / 2.0 - age + strokes
    factor = np.interp(middle, rough.strokes, rough.ratio) ** position.roughness_power
    used = np.concatenate([[0.0], np.cumsum(spent * factor)])
    return float(np.interp(spent.sum(), used, ages))


def life_factor(lives_before: int) -> float:
    """Wear of the first, second, third ... life of a tool: 1.00, 1.04, 1.08 ..."""
    return 1.0 + LIFE_STEP * lives_before


def spread_factor(sigma: float, rng: np.random.Generator) -> float:
    """A lognormal factor with median 1, for a press or a batch."""
    return float(np.exp(sigma * rng.standard_normal()))


@dataclass(frozen=True)
class Duty:
    """How much a stroke of a press counts for wear: (speed / 11)^power, by stretches of one rate.

    strokes: the press's strokes (millions) from which each weight holds, growing, first 0.
    """

    strokes: tuple[float, ...]
    weights: tuple[float, ...]

    def until(self, strokes: float) -> float:
        """Duty done in the press's first `strokes` millions."""
        total = 0.0
        for start, end, weight in zip(
            self.strokes, (*self.strokes[1:], np.inf), self.weights, strict=True
        ):
            total += weight * max(0.0, min(strokes, end) - start)
        return total

    def strokes_at(self, duty: float) -> float:
        """Strokes of the press (millions) at which so much duty is done: the inverse of `until`."""
        last = 0
        while last + 1 < len(self.strokes) and self.until(self.strokes[last + 1]) < duty:
            last += 1
        start = self.strokes[last]
        return start + (duty - self.until(start)) / self.weights[last]


def duty(press: Press, position: Position, rates: list[tuple[float, int]]) -> Duty:
    """Duty of a position in a press. rates: (from stroke, millions; strokes a minute)."""
    weights = tuple(
        (peak_speed(press.line.drive, spm) / REFERENCE_SPEED) ** position.speed_power
        for _, spm in rates
    )
    return Duty(tuple(strokes for strokes, _ in rates), weights)

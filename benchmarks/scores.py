"""What is counted of forecasts whose outcome is known, and how such counts are added up."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

from benchmarks.cases import MIDDLES, RANGES

Array = NDArray[np.float64]

CELLS = 10
_SLACK = 1e-5
"""A mass at "due now" counts as covered: both ends of a range belong to it. A second is no miss."""


@dataclass(frozen=True)
class Outcome:
    """Sums over forecasts of one kind.

    in80, in90: outcomes inside the ranges.  low, high: below and above the 80 % range.
    fair: inside the 80 % range where the rank of an outcome at a mass is drawn within that mass.
    score, width: ranked probability score and width of the 80 % range, in the outcome's unit.
    brier, stops: squared errors of the chance to end before a stop, and how many stops.
    cells: of those chances in ten cells: stops, sum of chances, ends; shape (10, 3).
    squares: of a fleet's tools: inside squared, inside times tools, tools squared; shape (3,).
    """

    n: int = 0
    in80: int = 0
    in90: int = 0
    low: int = 0
    high: int = 0
    fair: int = 0
    score: float = 0.0
    width: float = 0.0
    brier: float = 0.0
    stops: int = 0
    cells: Array = field(default_factory=lambda: np.zeros((CELLS, 3)))
    squares: Array = field(default_factory=lambda: np.zeros(3))

    def __add__(self, other: Outcome) -> Outcome:
        return Outcome(*(getattr(self, f.name) + getattr(other, f.name) for f in fields(self)))

    @property
    def c80(self) -> float:
        """Share inside the 80 % range."""
        return self.in80 / max(self.n, 1)

    @property
    def c90(self) -> float:
        """Share inside the 90 % range."""
        return self.in90 / max(self.n, 1)

    @property
    def low_share(self) -> float:
        """Share below the 80 % range."""
        return self.low / max(self.n, 1)

    @property
    def high_share(self) -> float:
        """Share above the 80 % range."""
        return self.high / max(self.n, 1)

    @property
    def fair80(self) -> float:
        """Share inside the 80 % range, masses not counted as covered."""
        return self.fair / max(self.n, 1)

    @property
    def mean_brier(self) -> float:
        """Mean squared error of the chance to end before a stop."""
        return self.brier / max(self.stops, 1)

    @property
    def error(self) -> float:
        """Standard error of c80, clustered by fleet: tools of one fleet share its lives."""
        hits, mixed, tools = self.squares
        return math.sqrt(max(hits - 2 * self.c80 * mixed + self.c80**2 * tools, 0)) / max(self.n, 1)

    @property
    def worst_cell(self) -> float:
        """Largest gap between chances told and ends seen, in cells of 300 stops or more."""
        full = self.cells[self.cells[:, 0] >= 300]
        gaps = np.abs(full[:, 1] - full[:, 2]) / full[:, 0]
        return float(gaps.max(initial=0.0))

    def with_score(self, score: float) -> Outcome:
        """The same and a ranked probability score."""
        return self + Outcome(score=score)


def together(outcomes: Iterable[Outcome]) -> Outcome:
    """The sum."""
    return sum(outcomes, Outcome())


def of_one_fleet(outcome: Outcome) -> Outcome:
    """The same, with the squares that stand for a fleet's own sum."""
    hits, tools = outcome.in80, outcome.n
    sums = {f.name: getattr(outcome, f.name) for f in fields(outcome)}
    return Outcome(**sums | {"squares": np.array([hits**2, hits * tools, tools**2], dtype=float)})


def judge(
    quantiles: Array, remaining: float, stops: tuple[float, ...], rng: np.random.Generator
) -> Outcome:
    """One forecast, given by its quantiles at LEVELS, growing, against what came."""
    middles = quantiles[RANGES.size :]
    told = inside(quantiles[: RANGES.size], remaining)
    due_now = float(np.count_nonzero(middles <= _SLACK)) / middles.size
    is_mass = remaining <= _SLACK and due_now > 0
    rank = due_now * rng.random()
    fair = 0.1 <= rank <= 0.9 if is_mass else bool(told.in80)
    chances = np.array([chance_within(middles, stop) for stop in stops])
    return told + Outcome(
        fair=int(fair),
        score=score(middles, remaining),
        width=float(quantiles[2] - quantiles[1]),
        **_of_chances(chances, remaining <= np.array(stops)),
    )


def judge_chances(chances: Array, ended: NDArray[np.bool_]) -> Outcome:
    """Only the chances before stops: for a rule that tells no range."""
    return Outcome(**_of_chances(chances, ended))


def _of_chances(chances: Array, ended: NDArray[np.bool_]) -> dict[str, object]:
    place = np.minimum((chances * CELLS).astype(int), CELLS - 1)
    cells = np.zeros((CELLS, 3))
    np.add.at(cells, place, np.stack([np.ones(chances.size), chances, ended], axis=1))
    return {
        "brier": float(np.sum((chances - ended) ** 2)),
        "stops": chances.size,
        "cells": cells,
    }


def inside(ranges: Array, outcome: float) -> Outcome:
    """Whether an outcome lies within the ranges, given at RANGES."""
    p05, p10, p90, p95 = ranges
    low, high = outcome < p10 - _SLACK, outcome > p90 + _SLACK
    within = p05 - _SLACK <= outcome <= p95 + _SLACK
    return Outcome(1, int(not (low or high)), int(within), int(low), int(high))


def chance_within(middles: Array, ahead: float) -> float:
    """Chance of the end within `ahead`, read off equal-weight quantiles."""
    later = middles > _SLACK
    if not later.any():
        return 1.0
    due_now = 1 - later.mean()
    knots = np.concatenate([[0.0], middles[later]])
    levels = np.concatenate([[due_now], MIDDLES[later]])
    return float(np.interp(ahead, knots, levels, right=1.0))


_RANKS = (2 * np.arange(MIDDLES.size) - (MIDDLES.size - 1)) / MIDDLES.size**2


def score(middles: Array, outcome: float) -> float:
    """Ranked probability score of growing equal-weight quantiles (`duestroke.score`, quicker)."""
    return float(np.abs(middles - outcome).mean() - middles @ _RANKS)

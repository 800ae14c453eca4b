"""Every scenario that forecasts are scored on, by name."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np

from benchmarks import policies, wearing
from benchmarks.cases import Case, M
from benchmarks.fleets import HANDBOOK_LIFE, PRESSES, Scenario, World, draw_fleet
from benchmarks.laws import Gamma, LogLogistic, Mixture, Threshold, lognormal, weibull
from duestroke.inference.law import Law

Group = Literal["fleet", "policy", "wear"]
FAILURES = (0, 2, 5, 10, 30)
HANDBOOK_ERROR = 0.25
"""Sd of the log of the true median over the handbook's, where a law is outside the families."""


@dataclass(frozen=True)
class Row:
    """One line of the table: cases of one kind, each with so many tools to forecast.

    failures: how many the record holds; None: as many as the calendar brings.
    """

    scenario: str
    failures: int | None
    group: Group
    draw: Callable[[np.random.Generator], Case]
    tools: int

    @property
    def name(self) -> str:
        """`A/30`, `rough-late`."""
        return self.scenario if self.failures is None else f"{self.scenario}/{self.failures}"


def _weibull(rng: np.random.Generator) -> World:
    return World(weibull(2.5, HANDBOOK_LIFE))


def _lognormal(rng: np.random.Generator) -> World:
    return World(lognormal(0.45, HANDBOOK_LIFE))


def _early(rng: np.random.Generator) -> World:
    early = Law.weibull(shape=0.9, scale=0.1 * HANDBOOK_LIFE)
    return World(Mixture(((0.12, early), (0.88, weibull(3.5, HANDBOOK_LIFE)))))


def _batches(rng: np.random.Generator) -> World:
    return World(weibull(3.0, HANDBOOK_LIFE), batch_sd=0.25, press_sd=0.12)


def _wrong_handbook(rng: np.random.Generator) -> World:
    factor = 1.6 if rng.random() < 0.5 else 1 / 1.6
    return World(weibull(2.5, HANDBOOK_LIFE * factor))


def _random(rng: np.random.Generator) -> World:
    median = HANDBOOK_LIFE * math.exp(0.35 * rng.standard_normal())
    change = math.exp(0.35 * rng.standard_normal())
    is_weibull = rng.random() < 0.5
    return World(weibull(2.5 * change, median) if is_weibull else lognormal(0.5 * change, median))


def _duty(rng: np.random.Generator) -> World:
    return World(weibull(2.5, HANDBOOK_LIFE), speed_spread=0.35)


def _modes(rng: np.random.Generator) -> World:
    wear = lognormal(0.30, 55 * M * math.exp(HANDBOOK_ERROR * rng.standard_normal()))
    return World(wear, sudden=Law.weibull(shape=1.2, scale=150 * M))


def _median(rng: np.random.Generator) -> float:
    return HANDBOOK_LIFE * math.exp(HANDBOOK_ERROR * rng.standard_normal())


def _gamma(rng: np.random.Generator) -> World:
    return World(Gamma(4.0, _median(rng)))


def _log_logistic(rng: np.random.Generator) -> World:
    return World(LogLogistic(3.5, _median(rng)))


def _threshold(rng: np.random.Generator) -> World:
    median = _median(rng)
    # Half of the scale is free of failures: (0.5 + log(2)^(1/1.5)) scales to the median.
    scale = median / (0.5 + math.log(2) ** (1 / 1.5))
    return World(Threshold(0.5 * scale, Law.weibull(shape=1.5, scale=scale)))


FLEETS: dict[str, tuple[str, Scenario]] = {
    "A": ("Weibull, shape 2.5, median as the handbook says", _weibull),
    "B": ("lognormal, spread 0.45", _lognormal),
    "C": ("12 % early failures and Weibull 3.5, told apart by nobody", _early),
    "D": ("Weibull 3, batches (sd 0.25) and presses (sd 0.12)", _batches),
    "E": ("Weibull 2.5, handbook wrong by a factor of 1.6", _wrong_handbook),
    "F": ("random family, spread and median", _random),
    "duty": ("Weibull 2.5, press speeds 0.65 to 1.35, lives by the square", _duty),
    "modes": ("lognormal wear and sudden Weibull 1.2, labelled", _modes),
    "gamma": ("gamma, shape 4: outside the families", _gamma),
    "log-logistic": ("log-logistic, shape 3.5: outside the families", _log_logistic),
    "threshold": ("no end before half a scale, then Weibull 1.5: outside", _threshold),
}
SINGLE_LAW = ("A", "B", "C", "E", "F")
WORDS: dict[str, str] = {
    **{name: words for name, (words, _) in FLEETS.items()},
    "to-limit": "ring 3, runs until a reading is at the limit",
    "at-85-percent": "ring 3, pulled `planned` at the stop after a reading above 85 %",
    "fixed-age": "ring 3, pulled `planned` at a fixed age",
    **{
        f"{path}-{when}": f"{words}, seen at {ages}, {seen.finished} finished tools"
        for path, words in (
            ("straight", "straight wear paths"),
            ("rough", "rough wear paths"),
            ("curved", "curved wear paths"),
            ("none", "straight wear, verdicts without readings"),
        )
        for when, seen, ages in (
            ("late", wearing.LATE, "50 to 90 % of the median"),
            ("early", wearing.EARLY, "20 to 50 %"),
        )
    },
}


def _rows() -> dict[str, Row]:
    rows = [
        Row(name, failures, "fleet", partial(draw_fleet, world, failures), PRESSES)
        for name, (_, world) in FLEETS.items()
        for failures in FAILURES
    ]
    lines: tuple[policies.Policy, ...] = ("to-limit", "at-85-percent", "fixed-age")
    rows += [
        Row(line, None, "policy", partial(policies.draw_place, line), policies.PRESSES)
        for line in lines
    ]
    paths: tuple[wearing.Path, ...] = ("straight", "rough", "curved", "none")
    rows += [
        Row(f"{path}-{when}", None, "wear", partial(wearing.draw_place, path, seen), 24)
        for path in paths
        for when, seen in (("late", wearing.LATE), ("early", wearing.EARLY))
    ]
    return {row.name: row for row in rows}


ROWS: dict[str, Row] = _rows()

"""How often the ranges hold: forecasts of life and of dates on fleets nobody has seen before.

    python -m benchmarks.coverage [--tools 2400] [--seed N] [--processes 2]

For each scenario of `benchmarks.fleets` and records that end at 2, 10 and 30 failures it draws
fresh fleets, fits them as the engine does, forecasts every tool that is in, and prints the share of
true ends inside the 80 and 90 % ranges, below and above the 80 % range, and the ranked probability
score; the same for one who knows the true law, by the same code. Tools that are worn already and
not yet found count: their remaining strokes are 0. Every press also gets a daily record of its own
(AR(1) rates with breakdowns), and the due dates made from it are scored.

Exit code 1 when a bar is broken, each named in one line. Figures move from seed to seed by about
0.01 in a cell of 2,400 tools: tools of one fleet share its lives.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from benchmarks.fleets import HANDBOOK_LIFE, PRESSES, SCENARIOS, Fleet, RunningTool, draw_fleet
from benchmarks.production import daily_strokes, days_taken
from duestroke.calendar import Calendar
from duestroke.forecast import (
    DayStrokes,
    LifeBasis,
    PressFacts,
    ToolFacts,
    due_at,
    forecast_press,
    rate_of,
    remaining_at,
)
from duestroke.inference import Posterior, fit
from duestroke.inference.place import PlacePosterior
from duestroke.score import crps_from_draws

Array = NDArray[np.float64]

FAILURES = (2, 10, 30)
RANGES = np.array([0.05, 0.10, 0.90, 0.95])
MIDDLES = (np.arange(400) + 0.5) / 400
"""Levels at which a forecast stands for equal-weight draws in its score."""
NOW = datetime(2026, 6, 1, 6, tzinfo=UTC)
HANDBOOK_RANGE = 0.20
"""The rule of thumb beside ours: 80 % of lives within 20 % of the handbook life."""
FLEETS_AT_ONCE = 10
DAYS_TO_COME = 4000


@dataclass(frozen=True)
class Outcome:
    """Sums over forecasts: how many, inside 80 and 90 %, below and above 80 %, score (strokes)."""

    n: int = 0
    in80: int = 0
    in90: int = 0
    low: int = 0
    high: int = 0
    score: float = 0.0

    def __add__(self, other: Outcome) -> Outcome:
        mine, theirs = vars(self).values(), vars(other).values()
        return Outcome(*(a + b for a, b in zip(mine, theirs, strict=True)))

    @property
    def c80(self) -> float:
        return self.in80 / self.n

    @property
    def c90(self) -> float:
        return self.in90 / self.n

    @property
    def low_share(self) -> float:
        return self.low / self.n

    @property
    def high_share(self) -> float:
        return self.high / self.n

    @property
    def mean_score(self) -> float:
        return self.score / self.n


@dataclass(frozen=True)
class Cell:
    """What came out in one scenario at one number of failures."""

    ours: Outcome = Outcome()
    truth: Outcome = Outcome()
    dates: Outcome = Outcome()
    handbook: float = 0.0

    def __add__(self, other: Cell) -> Cell:
        return Cell(
            self.ours + other.ours,
            self.truth + other.truth,
            self.dates + other.dates,
            self.handbook + other.handbook,
        )

    @property
    def over_truth(self) -> float:
        return self.ours.score / self.truth.score

    @property
    def over_handbook(self) -> float:
        return self.ours.score / self.handbook


def score_fleets(scenario: str, failures: int, seed: int, numbers: Sequence[int]) -> Cell:
    """Draw the fleets of these numbers, forecast and score them; the same seed, the same fleets."""
    total = Cell()
    for number in numbers:
        rng = np.random.default_rng([seed, ord(scenario), failures, number])
        fleet = draw_fleet(SCENARIOS[scenario][1], failures, rng)
        model = fit(fleet.lives, handbook_life=HANDBOOK_LIFE)
        for tool in fleet.running:
            total += _score_tool(fleet, model, tool, rng)
    return total


def _score_tool(
    fleet: Fleet, model: Posterior, tool: RunningTool, rng: np.random.Generator
) -> Cell:
    seen = int(rng.integers(60, 181))
    path = daily_strokes(rng, seen + DAYS_TO_COME)
    made = _forecast(model, tool, path[:seen])
    ours = np.array(remaining_at(made, [*RANGES, *MIDDLES]), dtype=np.float64)
    levels = np.concatenate([RANGES, MIDDLES])
    known = fleet.truth.remaining_quantiles(tool.age, tool.good_at, levels)
    took = days_taken(tool.remaining, path[seen:])
    due = np.array([_days(at) for at in due_at(made, RANGES.tolist())])
    return Cell(
        _judge(ours, tool.remaining),
        _judge(known, tool.remaining),
        _inside(due, took, score=0.0),
        float(crps_from_draws(_by_handbook(tool.age), tool.remaining)),
    )


def _forecast(model: Posterior, tool: RunningTool, path: Array):
    """The product's own forecast of a tool on a press with this daily record."""
    first = NOW - timedelta(days=path.size)
    days = [
        DayStrokes(first + timedelta(days=k), first + timedelta(days=k + 1), round(strokes))
        for k, strokes in enumerate(path)
    ]
    press = PressFacts("plant/1/01", NOW, 480, rate_of(days, Calendar()), Calendar(), first)
    facts = ToolFacts("punch", "punch", "T-1", tool.age, tool.age, first, tool.good_at)
    basis = LifeBasis(
        "punch",
        "punch",
        PlacePosterior(model, model.failures, 0),
        "benchmark",
        model.lives,
        model.failures,
    )
    return forecast_press(press, [(facts, basis)], NOW)[0]


def _days(at: datetime | None) -> float:
    return math.inf if at is None else (at - NOW) / timedelta(days=1)


def _by_handbook(age: float) -> Array:
    spread = HANDBOOK_RANGE / ndtri(0.9)
    return np.maximum(HANDBOOK_LIFE * (1 + spread * ndtri(MIDDLES)) - age, 0.0)


def _judge(quantiles: Array, remaining: float) -> Outcome:
    ranges, middles = quantiles[: RANGES.size], quantiles[RANGES.size :]
    return _inside(ranges, remaining, score=float(crps_from_draws(middles, remaining)))


def _inside(ranges: Array, outcome: float, *, score: float) -> Outcome:
    # A mass at "due now" counts as covered: both ends of a range belong to it. A second is no miss.
    slack = 1e-5
    p05, p10, p90, p95 = ranges
    low, high = outcome < p10 - slack, outcome > p90 + slack
    within = p05 - slack <= outcome <= p95 + slack
    return Outcome(1, int(not (low or high)), int(within), int(low), int(high), score)


Cells = dict[tuple[str, int], Cell]


def score_all(tools: int, seed: int, processes: int) -> Cells:
    """All scenarios and numbers of failures, with at least so many tools in each."""
    fleets = math.ceil(tools / PRESSES)
    jobs = [
        (name, failures, seed, range(start, min(start + FLEETS_AT_ONCE, fleets)))
        for name in SCENARIOS
        for failures in FAILURES
        for start in range(0, fleets, FLEETS_AT_ONCE)
    ]
    cells: Cells = {}
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        for job, cell in zip(jobs, pool.map(score_fleets, *zip(*jobs, strict=True)), strict=True):
            place = (job[0], job[1])
            cells[place] = cells.get(place, Cell()) + cell
    return cells


def pooled(cells: Iterable[Cell]) -> Cell:
    """The sum of cells."""
    return sum(cells, Cell())


@dataclass(frozen=True)
class Bar:
    """A figure, the least and the most it may be."""

    name: str
    value: float
    least: float
    most: float

    @property
    def holds(self) -> bool:
        return self.least <= self.value <= self.most


def bars(cells: Cells) -> list[Bar]:
    """What has to hold; the true law first, since nothing counts when the generator is wrong."""
    by_name = {name: pooled(cells[name, r] for r in FAILURES) for name in SCENARIOS}
    by_failures = {r: pooled(cells[name, r] for name in SCENARIOS) for r in FAILURES}
    every = pooled(cells.values())
    most_over_truth = {2: 1.40, 10: 1.20, 30: 1.12}
    return [
        *(Bar(f"{n}: c80 of the true law", c.truth.c80, 0.78, 0.83) for n, c in by_name.items()),
        *(Bar(f"{n}: c80", c.ours.c80, 0.77, 0.92) for n, c in by_name.items()),
        Bar("pooled: c80", every.ours.c80, 0.78, 0.88),
        Bar("pooled: c90", every.ours.c90, 0.90, 0.96),
        Bar("pooled: ends below the 80 % range", every.ours.low_share, 0.07, 0.13),
        Bar("pooled: ends above the 80 % range", every.ours.high_share, 0.0, 0.13),
        Bar("30 failures: c80", by_failures[30].ours.c80, 0.79, 0.87),
        *(
            Bar(f"{r} failures: CRPS over the true law's", c.over_truth, 0.0, most_over_truth[r])
            for r, c in by_failures.items()
        ),
        *(
            Bar(f"{n}, 30 failures: CRPS over the true law's", cells[n, 30].over_truth, 0.0, 1.08)
            for n in SCENARIOS
        ),
        Bar("pooled: CRPS over handbook +-20 %", every.over_handbook, 0.0, 0.85),
        Bar("pooled: c80 of the dates", every.dates.c80, 0.80, 0.90),
    ]


HEADER = (
    "            |        ours: life            |  true law       | dates       | CRPS, M strokes\n"
    "    r tools |  c80   c90    low   high     |  c80   c90      |  c80   c90  |"
    "  ours   true  ratio  over handbook"
)


def table(cells: Cells) -> str:
    """The figures of all cells, pooled ones last."""
    lines = [HEADER]
    for name, (words, _) in SCENARIOS.items():
        lines.append(f"{name}: {words}")
        lines += [_line(str(r), cells[name, r]) for r in FAILURES]
    lines.append("pooled")
    lines += [_line(str(r), pooled(cells[n, r] for n in SCENARIOS)) for r in FAILURES]
    lines.append(_line("all", pooled(cells.values())))
    return "\n".join(lines)


def _line(label: str, cell: Cell) -> str:
    ours, truth, dates = cell.ours, cell.truth, cell.dates
    return (
        f"  {label:>3} {ours.n:5d} | {ours.c80:.3f} {ours.c90:.3f}  {ours.low_share:.3f}"
        f"  {ours.high_share:.3f}    | {truth.c80:.3f} {truth.c90:.3f}     | {dates.c80:.3f}"
        f" {dates.c90:.3f} | {ours.mean_score / 1e6:6.2f} {truth.mean_score / 1e6:6.2f}"
        f"  {cell.over_truth:.3f}  {cell.over_handbook:.3f}"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Run, print, and say by the exit code whether all bars hold."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tools", type=int, default=2400, help="tools in each cell, at least")
    parser.add_argument("--seed", type=int, help="default: a fresh one, printed")
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args(arguments)
    seed = given.seed
    if seed is None:
        seed = int(np.random.SeedSequence().generate_state(1)[0])
    begun = time.monotonic()
    print(f"seed {seed}")
    cells = score_all(given.tools, seed, given.processes)
    print(table(cells))
    judged = bars(cells)
    for bar in judged:
        word = "holds" if bar.holds else "BROKEN"
        print(f"{word:7} {bar.name}: {bar.value:.3f} in [{bar.least:.2f}, {bar.most:.2f}]")
    print(f"{time.monotonic() - begun:.0f} s")
    return 0 if all(bar.holds for bar in judged) else 1


if __name__ == "__main__":
    sys.exit(main())

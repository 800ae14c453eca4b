"""How often the ranges hold: forecasts of life and of dates on fleets nobody has seen before.

    python -m benchmarks.coverage [--tools 2016] [--rows A,D/30,rough*] [--seed N] [--quick]

For each scenario of `benchmarks.scenarios` it draws fresh cases, fits them as the engine does,
forecasts every tool that is in, and prints the share of true ends inside the 80 and 90 % ranges,
below and above the 80 % range, the ranked probability score over that of one who knows the true
law and over the rule "handbook life +-20 %", the width of the 80 % range over the true law's, the
squared error of the chance to end before each of the next four stops, and its worst cell of ten;
the same for the one who knows, by the same code. Tools that are at their end already and not yet
found count: their remaining strokes are 0. Presses get a daily record of their own (AR(1) rates
with breakdowns), and due dates made from it are scored, for every sixth tool.

Exit code 1 when a bar is broken, each named in one line. +- is one standard error, clustered by
fleet: tools of one fleet share its lives.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
import zlib
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from fnmatch import fnmatch
from multiprocessing import get_context

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from benchmarks.bars import bars
from benchmarks.cases import LEVELS, MIDDLES, RANGES, Case, RunningTool
from benchmarks.forecasting import (
    due_days,
    fitted,
    median_by_end_codes,
    median_life,
    strokes_left,
    without_readings,
)
from benchmarks.production import daily_strokes, days_taken
from benchmarks.scenarios import ROWS, Row
from benchmarks.scores import Outcome, inside, judge, judge_chances, of_one_fleet, score, together
from benchmarks.tables import Cell, line, markdown, table
from duestroke.inference.place import PlacePosterior

Array = NDArray[np.float64]

HANDBOOK_RANGE = 0.20
"""The rule of thumb beside ours: 80 % of lives within 20 % of the handbook life."""
CASES_AT_ONCE = 6
DAYS_TO_COME = 4000
DATED = 6
"""Every sixth tool gets a date."""


def score_cases(name: str, seed: int, numbers: Sequence[int]) -> Cell:
    """Draw the cases of these numbers, forecast and score them; the same seed, the same cases."""
    row, total = ROWS[name], Cell()
    for number in numbers:
        rng = np.random.default_rng([seed, zlib.crc32(name.encode()), number])
        total += _score_case(row, row.draw(rng), rng)
    return total


def _score_case(row: Row, case: Case, rng: np.random.Generator) -> Cell:
    place, tools = fitted(case), case.running
    left = strokes_left(place, tools, LEVELS)
    ours = together(
        judge(row, tool.remaining, tool.stops, rng) for tool, row in zip(tools, left, strict=True)
    )
    truth = together(judge(t.known, t.remaining, t.stops, rng) for t in tools)
    return Cell(
        ours=of_one_fleet(ours),
        truth=of_one_fleet(truth),
        dates=_score_dates(place, tools[::DATED], rng),
        handbook=together(_by_handbook(case.handbook_life, tool) for tool in tools),
        population=0.0 if row.group == "fleet" else _by_place(place, case),
        medians=_medians(place, case),
    )


def _score_dates(
    place: PlacePosterior, tools: Sequence[RunningTool], rng: np.random.Generator
) -> Outcome:
    seen = [int(rng.integers(60, 181)) for _ in tools]
    paths = [daily_strokes(rng, days + DAYS_TO_COME) for days in seen]
    due = due_days(place, tools, [p[:days] for p, days in zip(paths, seen, strict=True)], RANGES)
    took = [
        days_taken(tool.remaining, path[days:])
        for tool, path, days in zip(tools, paths, seen, strict=True)
    ]
    return together(inside(row, came) for row, came in zip(due, took, strict=True))


def _medians(place: PlacePosterior, case: Case) -> tuple[tuple[float, float, float], ...]:
    if case.median is None:
        return ()
    return ((median_life(place), median_by_end_codes(case), case.median),)


def _by_place(place: PlacePosterior, case: Case) -> float:
    """Score of forecasts that leave the tool's own readings out."""
    left = without_readings(place, case.running, MIDDLES)
    pairs = zip(left, case.running, strict=True)
    return sum(score(row, tool.remaining) for row, tool in pairs)


def _by_handbook(life: float, tool: RunningTool) -> Outcome:
    spread, age = HANDBOOK_RANGE / ndtri(0.9), tool.record.age
    middles = np.maximum(life * (1 + spread * ndtri(MIDDLES)) - age, 0.0)
    stops = np.array(tool.stops)
    chances = ndtr((age + stops - life) / (spread * life))
    told = judge_chances(chances, tool.remaining <= stops)
    return told.with_score(score(middles, tool.remaining))


def score_all(names: Sequence[str], tools: int, seed: int, processes: int) -> dict[str, Cell]:
    """Rows by name, with at least so many tools in each."""
    jobs = [(name, seed, numbers) for name in names for numbers in _parts(ROWS[name], tools)]
    cells: dict[str, Cell] = {}
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        for job, cell in zip(jobs, pool.map(score_cases, *zip(*jobs, strict=True)), strict=True):
            cells[job[0]] = cells.get(job[0], Cell()) + cell
            if job[2].stop == _cases(ROWS[job[0]], tools):
                print(f"{time.strftime('%H:%M:%S')} {line(job[0], cells[job[0]])}", file=sys.stderr)
    return cells


def _parts(row: Row, tools: int) -> list[range]:
    cases = _cases(row, tools)
    return [range(k, min(k + CASES_AT_ONCE, cases)) for k in range(0, cases, CASES_AT_ONCE)]


def _cases(row: Row, tools: int) -> int:
    return math.ceil(tools / row.tools)


def chosen(patterns: str) -> list[str]:
    """Names of rows that a list of patterns picks: `A` is all rows of A."""
    wanted = patterns.split(",")
    return [
        name
        for name, row in ROWS.items()
        if any(fnmatch(name, p) or fnmatch(row.scenario, p) for p in wanted)
    ]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run, print, and say by the exit code whether all bars hold."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tools", type=int, default=2016, help="tools in each row, at least")
    parser.add_argument("--rows", default="*", help="names or patterns, with commas: A,D/30,rough*")
    parser.add_argument("--seed", type=int, help="default: a fresh one, printed")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--quick", action="store_true", help="240 tools a row: a look, no proof")
    parser.add_argument("--markdown", action="store_true", help="also print the table for docs")
    given = parser.parse_args(arguments)
    names = chosen(given.rows)
    if not names:
        parser.error(f"no such row; there are {', '.join(ROWS)}")
    seed = given.seed
    if seed is None:
        seed = int(np.random.SeedSequence().generate_state(1)[0])
    begun = time.monotonic()
    print(f"seed {seed}", flush=True)
    cells = score_all(names, 240 if given.quick else given.tools, seed, given.processes)
    print(table(cells), flush=True)
    if given.markdown:
        print(markdown(cells))
    judged = bars(cells)
    for bar in judged:
        print(bar)
    print(f"{time.monotonic() - begun:.0f} s")
    return 0 if all(bar.holds for bar in judged) else 1


if __name__ == "__main__":
    sys.exit(main())

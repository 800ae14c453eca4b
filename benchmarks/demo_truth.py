"""What the place's model says of the demo plant, beside what its simulator made true.

    python -m benchmarks.demo_truth [--seeds 10] [--rates 20] [--first 1] [--processes 2]

Over seeds of the plant, each two years of 21 presses: the median life of ring 3 at line 2's own
speed, which that line's crew never lets a ring reach, beside the fit of line 2's end codes alone;
what is told of the weak batch of punches when its second one is out, and on the first day; and
whether the interval of ring 3's rate exponent covers the true one. Exit code 1 when a bar is
broken.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Final

import numpy as np

from benchmarks.demo_lives import DemoPlant
from benchmarks.forecasting import median_life
from duestroke.inference.effects import NOT_KNOWN, Effect
from duestroke.inference.fit import fit
from duestroke.inference.place import PlacePosterior, fit_place
from duestroke.inference.posterior import Interval
from duestroke.inference.tool import ToolRecord
from duestroke.lives import Life
from simulators.paperwork import HANDBOOK_M
from simulators.plant import BY_POSITION
from simulators.scripted import WEAK_CAME_OUT, weak_batch
from simulators.tooling import MILLION

LINE: Final = "2"
LINE_SPEED: Final = 10.29
"""m/s: line 2's crank and rod at 390 a minute."""
TRUE_MEDIAN: Final = 37.2
"""M strokes at that speed, both modes (draws of the simulator's law)."""
WITHIN: Final = 0.10
TRUE_EXPONENT: Final = BY_POSITION["ring-3"].speed_power
LEAST_COVERED: Final = 0.75
SECOND_OUT: Final = -sorted(day for _, day in WEAK_CAME_OUT.values())[1] - 4
"""Days before the first one at which two punches of the weak batch are out for certain: each came
out at the stop of its line nearest to its own day, within three days."""
FIRST_DAY: Final = 0.0


@dataclass(frozen=True)
class Ring:
    """Ring 3 of one seed: medians at line 2's speed, M strokes, and the rate effect."""

    seed: int
    lives: int
    median: float
    by_end_codes: float
    rate: Effect

    @property
    def covers(self) -> bool:
        """Whether the interval of the exponent holds the true one."""
        return self.rate.interval.low <= TRUE_EXPONENT <= self.rate.interval.high

    @property
    def is_honest(self) -> bool:
        """Whether a figure is told only where the interval is clearly narrower than the prior's."""
        width = self.rate.interval.high - self.rate.interval.low
        says_unknown = self.rate.words == NOT_KNOWN
        return says_unknown == (width > 0.8 * (self.rate.prior.high - self.rate.prior.low))


@dataclass(frozen=True)
class Batch:
    """The weak batch of one seed on a day: failures so far, its life over the others'."""

    seed: int
    failures: int
    ratio: Interval

    @property
    def is_found(self) -> bool:
        """Whether the 90 % interval leaves 1 out, on the right side."""
        return self.ratio.high < 1


def ring_of(plant: DemoPlant) -> Ring:
    """What is told of ring 3 on the first day."""
    lives = plant.lives("ring-3")
    place = fitted("ring-3", lives)
    own = [life for life in lives if life.press is not None and f"/{LINE}/" in life.press]
    codes = fit(own, handbook_life=HANDBOOK_M["ring-3"] * MILLION)
    return Ring(
        seed=plant.demo.seed,
        lives=len(lives),
        median=median_life(place, ToolRecord(0.0, speed_so_far=LINE_SPEED)) / MILLION,
        by_end_codes=float(codes.quantile(0.5)) / MILLION,
        rate=place.effects()["rate"],
    )


def batch_of(plant: DemoPlant, days_before: float) -> Batch:
    """What is told of the weak batch so many days before the first one."""
    place = fitted("punch", plant.lives("punch", days_before))
    name = weak_batch(plant.demo)
    (told,) = [one for one in place.groups("batch") if one.label == name]
    return Batch(plant.demo.seed, told.failures, told.ratio)


def fitted(position: str, lives: Sequence[Life]) -> PlacePosterior:
    """The place's posterior with the demo plant's own handbook figure."""
    return fit_place(lives, handbook_life=HANDBOOK_M[position] * MILLION)


@dataclass(frozen=True)
class Found:
    """Everything that was told, by seed."""

    rings: Sequence[Ring]
    rates: Sequence[Ring]
    early: Sequence[Batch]
    late: Sequence[Batch]


def look_at(seed: int, with_batch: bool) -> tuple[Ring, tuple[Batch, ...]]:
    """One seed's ring 3 and, if asked, its weak batch on both days."""
    plant = DemoPlant(seed)
    days = (SECOND_OUT, FIRST_DAY) if with_batch else ()
    return ring_of(plant), tuple(batch_of(plant, day) for day in days)


def look(seeds: range, rates: range, processes: int) -> Found:
    """Run the seeds; rings of `rates`, of which those of `seeds` are judged by their median."""
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        told = list(pool.map(look_at, rates, [seed in seeds for seed in rates]))
    rings = [ring for ring, _ in told]
    pairs = [batches for _, batches in told if batches]
    return Found(
        [ring for ring in rings if ring.seed in seeds],
        rings,
        [early for early, _ in pairs],
        [late for _, late in pairs],
    )


def bars(found: Found) -> list[tuple[str, bool]]:
    """What has to hold, in words, and whether it does."""
    medians = np.array([ring.median for ring in found.rings])
    off = float(np.max(np.abs(medians / TRUE_MEDIAN - 1)))
    codes = float(np.mean([ring.by_end_codes for ring in found.rings]))
    early, late = (sum(one.is_found for one in part) for part in (found.early, found.late))
    covered = sum(ring.covers for ring in found.rates)
    honest = all(ring.is_honest for ring in found.rates)
    return [
        (
            f"ring 3 at line 2's speed: median {medians.mean():.1f} M over the seeds, furthest "
            f"{100 * off:.1f} % from {TRUE_MEDIAN} (at most {100 * WITHIN:.0f} %); "
            f"line 2's end codes alone {codes:.1f}",
            off <= WITHIN,
        ),
        (
            f"weak batch found when its second punch is out: {early} of {len(found.early)} seeds; "
            f"on the first day: {late} of {len(found.late)}",
            late == len(found.late) and early >= 0.8 * len(found.early),
        ),
        (
            f"interval of the rate exponent covers {TRUE_EXPONENT}: {covered} of "
            f"{len(found.rates)} seeds (at least {LEAST_COVERED:.0%})",
            covered >= LEAST_COVERED * len(found.rates),
        ),
        ("no figure where the interval is wider than 0.8 of the prior's", honest),
    ]


def table(found: Found) -> str:
    """A line for each seed."""
    batches = {one.seed: pair for pair in zip(found.early, found.late, strict=True) for one in pair}
    lines = ["seed lives | median  end codes | rate exponent          | weak batch: early, late"]
    for ring in found.rates:
        told = batches.get(ring.seed)
        words = "" if told is None else ", ".join(_ratio(one) for one in told)
        lines.append(
            f"{ring.seed:4d} {ring.lives:5d} | {ring.median:5.1f}   {ring.by_end_codes:5.1f}"
            f"     | {ring.rate.words:22} | {words}"
        )
    return "\n".join(lines)


def _ratio(one: Batch) -> str:
    ratio = one.ratio
    return f"{ratio.median:.2f} ({ratio.low:.2f} to {ratio.high:.2f}; {one.failures} failed)"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run, print, and say by the exit code whether all bars hold."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--seeds", type=int, default=10, help="seeds for medians and batches")
    parser.add_argument("--rates", type=int, default=20, help="seeds for the rate exponent")
    parser.add_argument("--first", type=int, default=1, help="the first seed")
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args(arguments)
    begun = time.monotonic()
    seeds = range(given.first, given.first + given.seeds)
    rates = range(given.first, given.first + max(given.rates, given.seeds))
    found = look(seeds, rates, given.processes)
    print(table(found))
    judged = bars(found)
    for words, holds in judged:
        print(f"{'holds' if holds else 'BROKEN':7} {words}")
    print(f"{time.monotonic() - begun:.0f} s")
    return 0 if all(holds for _, holds in judged) else 1


if __name__ == "__main__":
    sys.exit(main())

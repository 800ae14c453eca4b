"""How long fits and forecasts take, beside a library's fit of the same lives in the same run.

    python -m benchmarks.speed [--presses 2400]

Processor time (set OMP_NUM_THREADS=1 and OPENBLAS_NUM_THREADS=1: one core), so that what else runs
counts little. Prints each figure with its bar and how many maximum-likelihood fits of a plain
Weibull law by scipy it amounts to; exit code 1 when a bar is broken.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.stats import CensoredData, weibull_min

from duestroke.calendar import Stop, calendar_of
from duestroke.forecast import (
    DayStrokes,
    LifeBasis,
    PressFacts,
    Rate,
    ToolFacts,
    forecast_press,
    forecast_presses,
    rate_of,
)
from duestroke.inference.fit import fit
from duestroke.inference.place import PlacePosterior, fit_place
from duestroke.lives import Life, WearReading

Array = NDArray[np.float64]
Pairs = list[tuple[ToolFacts, LifeBasis]]
Presses = list[tuple[PressFacts, Pairs]]

T = TypeVar("T")
NOW: Final = datetime(2026, 6, 1, 12, tzinfo=UTC)
PLACES: Final = ("punch", "redraw", *(f"ring-{k}" for k in range(1, 7)), "dome-die")
READ_PLACES: Final = 6
READINGS: Final = 8
LIVES: Final = 1000
HANDBOOK: Final = 50e6
BATCH: Final = 40
FIT_PRESSES: Final = 60
"""Presses of the plant whose thousand lives are fitted, each at its own speed."""


@dataclass(frozen=True)
class Line:
    """One figure: seconds taken, the bar in seconds, None where there is none."""

    name: str
    seconds: float
    bar: float | None

    @property
    def is_broken(self) -> bool:
        return self.bar is not None and self.seconds > self.bar


def timed(work: Callable[[], T], repeats: int = 1) -> tuple[T, float]:
    """What it made, and the least processor time of a few repeats, seconds."""
    made, best = work(), np.inf
    for _ in range(repeats):
        start = time.process_time()
        made = work()
        best = min(best, time.process_time() - start)
    return made, float(best)


def once(work: Callable[[], T]) -> tuple[T, float]:
    """The same for work that is kept once done."""
    start = time.process_time()
    made = work()
    return made, time.process_time() - start


def drawn_lives(place: str, count: int, presses: int, *, plain: bool, read: bool) -> list[Life]:
    """Past lives of a place: Weibull, batches of forty; speeds and shares of readings if asked."""
    rng = np.random.default_rng([len(place), count, plain, read])
    lives = []
    for k in range(count):
        own = np.random.default_rng(k % presses).standard_normal()
        speed = None if plain else float(4 * np.exp(0.15 * own))
        worn = HANDBOOK * float(rng.weibull(2.8)) * (1 if speed is None else (speed / 4) ** -1.5)
        pulled = 1.2 * HANDBOOK * rng.uniform(0.3, 1.4)
        age = min(worn, pulled)
        end = "planned" if pulled < worn else "broken" if plain or rng.random() < 0.3 else "worn"
        lives.append(
            Life(
                id=f"{place}-{k}",
                serial=f"T-{k}",
                kind=place,
                position=place,
                press=None if plain else f"works/1/{k % presses:04d}",
                batch=None if plain else f"B-{k // BATCH}",
                entry_strokes=0.0,
                entry_low=None,
                strokes=age,
                strokes_low=None,
                end="broken" if plain and end == "worn" else end,  # type: ignore[arg-type]
                ended_at=None,
                mean_speed_mps=speed,
                source="ledger",
                readings=readings(rng, worn, age) if read else (),
            )
        )
    return lives


def readings(rng: np.random.Generator, worn: float, age: float) -> tuple[WearReading, ...]:
    """Eight readings up to an age of a tool that is worn at `worn`."""
    at = age * np.linspace(0.12, 1.0, READINGS)
    share = at / worn + 0.03 * rng.standard_normal(READINGS)
    pairs = zip(at.tolist(), share.tolist(), strict=True)
    return tuple(WearReading(x, y, 0.03, session) for session, (x, y) in enumerate(pairs))


def basis_of(place: str, law: PlacePosterior) -> LifeBasis:
    """A fitted place as a forecast takes it."""
    return LifeBasis(
        kind=place,
        position=place,
        law=law,
        fit=f"{place}/benchmark",
        lives=law.lives,
        failures=law.failures,
        families=law.family_weights,
        prior_only=False,
    )


def drawn_rates(count: int) -> list[Rate]:
    """Rates from half a year of daily totals, one of twenty for each press."""
    rng = np.random.default_rng(7)
    rates = []
    for _ in range(20):
        first = NOW - timedelta(days=180)
        totals = 500_000 * np.exp(0.2 * rng.standard_normal(180))
        days = [
            DayStrokes(first + timedelta(days=k), first + timedelta(days=k + 1), int(strokes))
            for k, strokes in enumerate(totals)
        ]
        rate = rate_of(days, calendar_of("works/1/01", ()))
        assert rate is not None
        rates.append(rate)
    return [rates[k % len(rates)] for k in range(count)]


def drawn_presses(count: int, bases: Sequence[LifeBasis], *, plain: bool, read: bool) -> Presses:
    """Presses in forty lines with a clean each week, nine tools each."""
    rng = np.random.default_rng(11)
    rates = drawn_rates(count)
    stops = {line: _weekly(line) for line in range(40)}
    made: Presses = []
    for k in range(count):
        name = f"works/{k % 40}/{k:04d}"
        facts = PressFacts(
            press=name,
            as_of=NOW - timedelta(minutes=1),
            max_spm=480,
            rate=rates[k],
            calendar=calendar_of(name, stops[k % 40]),
            registered=NOW - timedelta(days=900),
        )
        speed = float(4 * np.exp(0.15 * rng.standard_normal()))
        own = None if plain else speed
        pairs = [
            (_tool(rng, basis, k, own, read=read and n < READ_PLACES), basis)
            for n, basis in enumerate(bases)
        ]
        made.append((facts, pairs))
    return made


def _weekly(line: int) -> list[Stop]:
    begins = [NOW + timedelta(days=7 * week + line / 8) for week in range(-8, 30)]
    return [
        Stop(f"w{line}-{n}", f"works/{line}", at, at + timedelta(hours=4), 8)
        for n, at in enumerate(begins)
    ]


def _tool(
    rng: np.random.Generator, basis: LifeBasis, press: int, speed: float | None, *, read: bool
) -> ToolFacts:
    worn = HANDBOOK * float(rng.weibull(2.8))
    age = min(worn, HANDBOOK) * rng.uniform(0.05, 0.98)
    return ToolFacts(
        position=basis.position,
        kind=basis.kind,
        serial=f"{basis.kind}-{press}",
        strokes=age,
        strokes_since_fit=age,
        began=NOW - timedelta(days=age / 500_000),
        good_at=age * rng.uniform(0.8, 1.0),
        readings=readings(rng, worn, 0.95 * age) if read else (),
        batch=None if speed is None else f"B-{press % (LIVES // BATCH)}",
        speed_so_far=speed,
        speed_now=speed,
    )


def plain_weibull(lives: Sequence[Life]) -> tuple[float, float]:
    """Shape and scale of most likelihood by scipy, ends by failure exact, others censored."""
    failed = [life.strokes for life in lives if life.is_failure]
    others = [life.strokes for life in lives if not life.is_failure]
    data = CensoredData(uncensored=np.array(failed) / HANDBOOK, right=np.array(others) / HANDBOOK)
    shape, _, scale = weibull_min.fit(data, floc=0)
    return float(shape), float(scale)


def of_fits(presses: int) -> tuple[list[Line], float]:
    """The fits, and the seconds that the library takes for its own."""
    plain = drawn_lives("punch", LIVES, presses, plain=True, read=False)
    full = drawn_lives("punch", LIVES, presses, plain=False, read=False)
    read = drawn_lives("punch", LIVES, presses, plain=False, read=True)
    _, by_library = timed(lambda: plain_weibull(plain), 3)
    _, one_law = timed(lambda: fit(plain, handbook_life=HANDBOOK), 3)
    _, whole = timed(lambda: fit_place(full, handbook_life=HANDBOOK))
    _, with_readings = timed(lambda: fit_place(read, handbook_life=HANDBOOK))
    lines = [
        Line("plain Weibull by scipy, 1,000 lives", by_library, None),
        Line("one law, 1,000 lives", one_law, 0.020),
        Line(f"whole model, 1,000 lives of {presses} presses", whole, 0.500),
        Line(f"whole model, 1,000 lives of {presses} presses, readings", with_readings, None),
    ]
    return lines, by_library


def of_forecasts(name: str, presses: int, bar: float, *, plain: bool, read: bool) -> list[Line]:
    """From scratch, and after one event."""
    laws = []
    for n, place in enumerate(PLACES):
        lives = drawn_lives(place, LIVES, presses, plain=plain, read=read and n < READ_PLACES)
        laws.append(basis_of(place, fit_place(lives, handbook_life=HANDBOOK)))
    asked = drawn_presses(presses, laws, plain=plain, read=read)
    made, scratch = once(lambda: forecast_presses(asked, NOW))
    forecasts = sum(map(len, made))
    facts, pairs = asked[presses // 2]
    moved = [(replace(tool, strokes=(tool.strokes or 0) + 1000.0), basis) for tool, basis in pairs]
    _, event = timed(lambda: forecast_press(facts, moved, NOW), 3)
    fresh = [(tool, replace(basis)) for tool, basis in moved]
    _, first = once(lambda: forecast_press(facts, fresh, NOW))
    full = bar * forecasts / 21_600
    return [
        Line(f"{name}: {forecasts:,} forecasts from scratch", scratch, full),
        Line(f"{name}: one press after an event", event, 0.100),
        Line(f"{name}: one press, tables made anew", first, 0.100),
    ]


def told(line: Line, by_library: float) -> str:
    """A line of the table."""
    bar = "" if line.bar is None else f"{1e3 * line.bar:12,.0f}"
    broken = "  BROKEN" if line.is_broken else ""
    ratio = line.seconds / by_library
    return f"{line.name:<58}{1e3 * line.seconds:12,.1f}{bar:>12}{ratio:10,.2f}{broken}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table; 1 when a bar is broken."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--presses", type=int, default=2400)
    presses = parser.parse_args(arguments).presses
    lines, by_library = of_fits(FIT_PRESSES)
    lines += of_forecasts("no readings, end codes alone", presses, 5, plain=True, read=False)
    lines += of_forecasts("no readings, speeds and batches", presses, 5, plain=False, read=False)
    lines += of_forecasts("eight readings on six of nine", presses, 60, plain=False, read=True)
    print(f"{'':<58}{'ms':>12}{'bar, ms':>12}{'x library':>10}")
    print("\n".join(told(line, by_library) for line in lines))
    return int(any(line.is_broken for line in lines))


if __name__ == "__main__":
    sys.exit(main())

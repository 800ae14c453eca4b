"""Scores of simulated fleets of which the truth is known: right forecasts pass, wrong ones do not.

A tool's life is lognormal; it is forecast at some age by the true law given that age, or by one
that takes lives to be longer. Half of the ends are seen, half are found at the next stop; many
tools are pulled healthy before.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from duestroke.forecast.dates import LEVELS
from duestroke.score import (
    Ending,
    Made,
    Scored,
    acceptance_band,
    critical_distances,
    score,
    summarise,
)

MEDIAN, SPREAD, STOPS = 50e6, 0.4, 8e6
BEGIN = datetime(2026, 1, 1, tzinfo=UTC)
PER_DAY = 0.5e6


@dataclass(frozen=True)
class Fleet:
    """One forecast a life. life, age, pulled: strokes."""

    life: np.ndarray
    age: np.ndarray
    pulled: np.ndarray
    is_found: np.ndarray


def fleet(seed: int, n: int = 3_000, pulls: tuple[float, float] = (0.5, 2.5)) -> Fleet:
    rng = np.random.default_rng(seed)
    life = MEDIAN * np.exp(SPREAD * rng.standard_normal(n))
    age = rng.uniform(0, 40e6, n)
    pulled = MEDIAN * rng.uniform(*pulls, n)
    kept = (life > age) & (pulled > age)
    return Fleet(life[kept], age[kept], pulled[kept], rng.random(int(kept.sum())) < 0.5)


def quantiles(age: np.ndarray, factor: float) -> np.ndarray:
    """Strokes left by a law with lives `factor` times as long, given the age."""
    gone = ndtr(np.log(age / (MEDIAN * factor)) / SPREAD)[:, None]
    life = MEDIAN * factor * np.exp(SPREAD * ndtri(gone + (1 - gone) * LEVELS))
    return np.maximum.accumulate(np.maximum(life - age[:, None], 0), axis=1)


def ends(seen: Fleet) -> list[Ending]:
    found = []
    for life, age, pulled, is_found in zip(
        seen.life, seen.age, seen.pulled, seen.is_found, strict=True
    ):
        after = math.ceil(life / STOPS) * STOPS
        if is_found and after < pulled:
            low, high = max(after - STOPS - age, 0), after - age
            found.append(Ending("interval", low, high, at(low), at(high)))
        elif not is_found and life < pulled:
            left = life - age
            found.append(Ending("exact", left, left, at(left), at(left)))
        else:
            # Found good at the last stop before: what came after it nobody knows.
            good = max(pulled // STOPS * STOPS - age, 0) if is_found else pulled - age
            found.append(Ending("censored", good, None, at(good), None))
    return found


def at(strokes: float) -> datetime:
    return BEGIN + timedelta(days=strokes / PER_DAY)


def scored(seen: Fleet, factor: float = 1.0, repeats: int = 1) -> list[Scored]:
    left = quantiles(seen.age, factor)
    due = np.rint((BEGIN.timestamp() + left / PER_DAY * 86_400) * 1e6).tolist()
    made = [
        Made(row, dates, age, MEDIAN, chance=float(np.interp(STOPS, row, LEVELS, left=0, right=1)))
        for row, dates, age in zip(left, due, seen.age, strict=True)
    ]
    came = [bool(life - age <= STOPS) for life, age in zip(seen.life, seen.age, strict=True)]
    scores = score(made, ends(seen), came)
    return [
        Scored("ring", "ring-3", f"life-{k}", BEGIN + timedelta(hours=again), each)
        for again in range(repeats)
        for k, each in enumerate(scores)
    ]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_right_forecast_passes(seed) -> None:
    """Within the 99.9 % bands, as a binomial law of the ended ones alone would allow."""
    told = summarise(scored(fleet(seed)))
    n = told.outcomes["exact"] + told.outcomes["interval"]
    assert told.outcomes["censored"] > n / 4, "many are pulled"
    for each in (*told.ranges, *told.dates):
        low, high = acceptance_band(each.nominal, n, 0.999)
        assert low <= each.inside.share * n <= high
        tail = (1 - each.nominal) / 2
        low, high = acceptance_band(tail, n, 0.999)
        assert low <= each.below.share * n <= high
        assert low <= each.above.share * n <= high
    square, distance = critical_distances(told.test.n, 0.999)
    assert told.test.chi_square < square
    assert told.test.distance < distance
    for cell in told.reliability.cells:
        if cell.n >= 50:
            low, high = acceptance_band(cell.said, cell.n, 0.9999)
            assert low - 1 <= cell.came * cell.n <= high + 1
    assert told.skill > 0, "the rule does not know how lives spread"


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_forecast_that_is_late_by_three_tenths_fails(seed) -> None:
    told = summarise(scored(fleet(seed), factor=1.3))
    n = told.outcomes["exact"] + told.outcomes["interval"]
    eighty = told.ranges[0]
    assert eighty.inside.share * n < acceptance_band(0.8, n, 0.999)[0]
    assert eighty.below.share * n > acceptance_band(0.1, n, 0.999)[1]
    assert eighty.inside.by_life[1] < 0.8
    square, distance = critical_distances(told.test.n, 0.999)
    assert told.test.chi_square > square
    assert told.test.distance > distance
    right = summarise(scored(fleet(seed)))
    assert told.crps > 1.05 * right.crps
    assert told.dates[0].below.share > 1.5 * right.dates[0].below.share


def test_dropping_pulled_tools_would_make_a_right_forecast_look_late() -> None:
    """Why open outcomes are kept: of ended ones alone far more than a tenth lie below."""
    rows = scored(fleet(4, pulls=(0.5, 1.3)))
    whole = summarise(rows).ranges[0]
    ended = summarise([row for row in rows if row.score.left_high is not None])
    assert whole.below.share == pytest.approx(0.1, abs=0.02)
    assert ended.ranges[0].below.share > 0.14


def test_the_mean_score_does_not_depend_on_who_was_pulled() -> None:
    """Weighted for those cut off, it is that of the same fleet without a pull within 4 %."""
    whole = summarise(scored(fleet(5, n=5_000, pulls=(50, 60))))
    cut = summarise(scored(fleet(5, n=5_000, pulls=(0.5, 3.5))))
    assert cut.outcomes["censored"] > 0.2 * cut.n
    assert cut.crps == pytest.approx(whole.crps, rel=0.04)


def test_many_forecasts_of_a_life_are_no_more_evidence_than_one() -> None:
    once = summarise(scored(fleet(6, n=300))).ranges[0].inside
    often = summarise(scored(fleet(6, n=300), repeats=9)).ranges[0].inside
    assert often.share == pytest.approx(once.share)
    assert often.by_life == pytest.approx(once.by_life, abs=0.002)
    assert width(often.binomial) < 0.5 * width(often.by_life)


def width(bounds: tuple[float, float]) -> float:
    return bounds[1] - bounds[0]


def test_the_order_of_scores_does_not_matter() -> None:
    rows = scored(fleet(7, n=200))
    assert summarise(rows[::-1]) == summarise(rows)


def test_nothing_at_all_and_running_tools_alone_say_nothing() -> None:
    none = summarise([])
    assert (none.n, none.lives, none.crps, none.test) == (0, 0, None, None)
    assert none.words == ("no forecast has been scored yet",)
    running = score(
        [Made([1e6 * k for k in range(1, 106)], None, 1e6, MEDIAN, None)] * 2,
        [Ending("running", 5e6, None, BEGIN, None)] * 2,
        [None, None],
    )
    told = summarise([Scored("ring", "ring-3", f"{k}", BEGIN, s) for k, s in enumerate(running)])
    assert math.isnan(told.ranges[0].inside.share)
    assert told.ranges[0].inside.by_life == (0.0, 1.0)
    assert told.crps is None
    assert (told.reliability.n, told.reliability.brier) == (0, None)
    assert "only 0 lives have ended" in told.words[0]

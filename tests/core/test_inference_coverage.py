"""Ranges hold on fleets with a known truth: a small, fixed cut of `python -m benchmarks.coverage`.

Bands are the 99.9 % binomial ones of a right forecast, so that one that is right would fail once in
a thousand seeds; the seed is fixed.
"""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.coverage import pooled, score_fleets
from benchmarks.fleets import BETWEEN_STOPS, SCENARIOS, draw_fleet
from duestroke.score import acceptance_band

FLEETS = range(5)
SEED = 20


@pytest.fixture(scope="module")
def cells():
    return {
        name: pooled(score_fleets(name, failures, SEED, FLEETS) for failures in (5, 30))
        for name in ("A", "B", "F")
    }


@pytest.mark.parametrize("scenario", ["A", "B", "F"])
def test_the_true_law_covers_what_it_says(cells, scenario) -> None:
    """Else the generator is wrong and nothing else counts."""
    truth = cells[scenario].truth
    for share, hits in ((0.80, truth.in80), (0.90, truth.in90)):
        low, high = acceptance_band(share, truth.n, 0.999)
        assert low <= hits <= high
    for missed in (truth.low, truth.high):
        low, high = acceptance_band(0.10, truth.n, 0.999)
        assert low <= missed <= high


def test_our_ranges_hold_and_miss_on_both_sides_alike(cells) -> None:
    ours = pooled(cells.values()).ours
    assert ours.n > 700
    least, _ = acceptance_band(0.80, ours.n, 0.999)
    assert least <= ours.in80 <= 0.88 * ours.n
    least, _ = acceptance_band(0.90, ours.n, 0.999)
    assert least <= ours.in90 <= 0.97 * ours.n
    _, most = acceptance_band(0.10, ours.n, 0.999)
    assert max(ours.low, ours.high) <= most


def test_we_come_close_to_the_one_who_knows_the_law(cells) -> None:
    whole = pooled(cells.values())
    assert 1.0 < whole.over_truth < 1.15
    assert whole.over_handbook < 0.85


def test_dates_hold_too(cells) -> None:
    dates = pooled(cells.values()).dates
    least, _ = acceptance_band(0.80, dates.n, 0.999)
    assert least <= dates.in80 <= 0.90 * dates.n


def test_the_same_seed_draws_the_same_fleet() -> None:
    fleets = [draw_fleet(SCENARIOS["F"][1], 10, np.random.default_rng(4)) for _ in range(2)]
    assert fleets[0] == fleets[1]


@pytest.mark.parametrize("scenario", sorted(SCENARIOS))
def test_a_fleet_holds_what_a_record_would(scenario) -> None:
    """The r-th failure ends it; tools in at the start keep their age; worn ones may be unseen."""
    entered = unseen = 0
    for seed in range(6):
        fleet = draw_fleet(SCENARIOS[scenario][1], 10, np.random.default_rng(seed))
        assert sum(life.is_failure for life in fleet.lives) == 10
        assert len(fleet.running) == sum(life.end == "running" for life in fleet.lives) == 24
        for life in fleet.lives:
            if life.end == "worn":
                assert life.strokes - life.strokes_low <= BETWEEN_STOPS * (1 + 1e-9)
        entered += sum(life.entry_strokes > 0 for life in fleet.lives)
        unseen += sum(tool.remaining == 0 for tool in fleet.running)
    assert entered > 50
    assert unseen > 0

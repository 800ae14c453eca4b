"""Ranges hold on places with a known truth: a small, fixed cut of `python -m benchmarks.coverage`.

Bands are the 99.9 % binomial ones of a right forecast, so that one that is right would fail once in
a thousand seeds; the seed is fixed.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import invgauss

from benchmarks import wearing
from benchmarks.bars import Bar, bars
from benchmarks.cases import LEVELS
from benchmarks.coverage import chosen, score_cases
from benchmarks.fleets import BETWEEN_STOPS, FIXED_DAY
from benchmarks.laws import Gamma, LogLogistic, Mixture, Threshold, draw, lognormal, weibull
from benchmarks.scenarios import FLEETS, ROWS
from benchmarks.scores import judge, together
from benchmarks.tables import Cell, pooled, table
from duestroke.inference.law import Law
from duestroke.score import acceptance_band

FLEET_NUMBERS = range(4)
SEED = 20


@pytest.fixture(scope="module")
def cells():
    return {
        name: pooled(score_cases(f"{name}/{r}", SEED, FLEET_NUMBERS) for r in (5, 30))
        for name in ("A", "F")
    }


def held_back(name: str, cases: int) -> Cell:
    """The true law's part of a row, without any forecast."""
    told = []
    for number in range(cases):
        rng = np.random.default_rng([SEED, number])
        case = ROWS[name].draw(rng)
        told += [judge(t.known, t.remaining, t.stops, rng) for t in case.running]
    return Cell(truth=together(told))


@pytest.mark.parametrize(
    "row", ["A/0", "C/10", "D/30", "duty/10", "modes/10", "gamma/5", "threshold/2",
            "to-limit", "at-85-percent", "fixed-age", "straight-late", "curved-early", "none-late"]
)  # fmt: skip
def test_the_true_law_covers_what_it_says(row) -> None:
    """Else the generator is wrong and nothing else counts."""
    truth = held_back(row, 12).truth
    low, high = acceptance_band(0.80, truth.n, 0.999)
    assert low <= truth.fair <= high


def test_the_filter_of_rough_paths_covers_what_it_says() -> None:
    truth = held_back("rough-late", 4).truth
    low, high = acceptance_band(0.80, truth.n, 0.999)
    assert low <= truth.fair <= high


def test_our_ranges_hold_and_miss_on_both_sides_alike(cells) -> None:
    ours = pooled(cells.values()).ours
    assert ours.n > 350
    least, _ = acceptance_band(0.80, ours.n, 0.999)
    assert least <= ours.in80 <= 0.90 * ours.n
    least, _ = acceptance_band(0.90, ours.n, 0.999)
    assert least <= ours.in90 <= 0.98 * ours.n
    _, most = acceptance_band(0.10, ours.n, 0.999)
    assert max(ours.low, ours.high) <= most


def test_we_come_close_to_the_one_who_knows_the_law(cells) -> None:
    whole = pooled(cells.values())
    assert 1.0 < whole.over_truth < 1.15
    assert whole.over_handbook < 0.90
    assert whole.ours.mean_brier < 0.17


def test_dates_hold_too(cells) -> None:
    dates = pooled(cells.values()).dates
    least, _ = acceptance_band(0.80, dates.n, 0.999)
    assert least <= dates.in80 <= 0.95 * dates.n


@pytest.mark.parametrize("row", ["at-85-percent", "curved-late"])
def test_readings_are_worth_it_and_nearly_all_is_made_of_them(row) -> None:
    """Beside the same forecasts without the tool's readings, and beside Bayes with the true law."""
    cell = score_cases(row, SEED, range(2))
    low, high = acceptance_band(0.80, cell.ours.n, 0.999)
    assert low <= cell.ours.in80 <= high
    assert cell.over_population < 0.9
    assert cell.over_truth < 1.25
    for model, codes, true in cell.medians:
        assert model == pytest.approx(true, rel=0.12)
        assert abs(codes / true - 1) > 2 * abs(model / true - 1)


@pytest.mark.parametrize("row", ["F/10", "fixed-age", "rough-early"])
def test_the_same_seed_draws_the_same_case(row) -> None:
    cases = [ROWS[row].draw(np.random.default_rng(4)) for _ in range(2)]
    assert cases[0] == cases[1]


@pytest.mark.parametrize("scenario", sorted(FLEETS))
def test_a_fleet_holds_what_a_record_would(scenario) -> None:
    """The r-th failure ends it; tools in at the start keep their age; worn ones may be unseen."""
    entered = unseen = 0
    for seed in range(6):
        fleet = ROWS[f"{scenario}/10"].draw(np.random.default_rng(seed))
        assert sum(life.is_failure for life in fleet.lives) == 10
        assert len(fleet.running) == sum(life.end == "running" for life in fleet.lives) == 24
        for life in fleet.lives:
            if life.end == "worn" and life.strokes_low is not None:
                assert life.strokes - life.strokes_low <= BETWEEN_STOPS * (1 + 1e-9)
        entered += sum(life.entry_strokes > 0 for life in fleet.lives)
        unseen += sum(tool.remaining == 0 for tool in fleet.running)
    assert entered > 50
    assert unseen > 0


def test_a_fleet_without_failures_is_one_of_a_fixed_day() -> None:
    fleet = ROWS["A/0"].draw(np.random.default_rng(1))
    assert not any(life.is_failure for life in fleet.lives)
    assert all(life.strokes - life.entry_strokes <= FIXED_DAY + 1 for life in fleet.lives)


def test_batches_and_presses_shift_lives_where_the_scenario_says_so() -> None:
    """The true median left differs between tools of one age only through batch and press."""
    for name, differs in (("A", False), ("D", True)):
        fleet = ROWS[f"{name}/2"].draw(np.random.default_rng(3))
        medians = np.array([tool.known[np.searchsorted(LEVELS[4:], 0.5) + 4]
                            + tool.record.age for tool in fleet.running])  # fmt: skip
        ages = np.array([tool.record.age for tool in fleet.running])
        # Of one law the median life given the age rises with the age.
        rising = np.all(np.diff(medians[np.argsort(ages)]) > -2 * BETWEEN_STOPS)
        assert rising is np.bool_(not differs)
        assert len({life.batch for life in fleet.lives}) > 3


@pytest.mark.parametrize("name", ["gamma", "log-logistic", "threshold", "mixture"])
def test_laws_outside_the_families_are_laws(name) -> None:
    law = {
        "gamma": Gamma(4.0, 50.0),
        "log-logistic": LogLogistic(3.5, 50.0),
        "threshold": Threshold(20.0, weibull(1.5, 30.0)),
        "mixture": Mixture(((0.2, weibull(0.9, 5.0)), (0.8, lognormal(0.3, 50.0)))),
    }[name]
    chance = np.linspace(0.01, 0.99, 25)
    assert np.allclose(law.survival(law.quantile(chance)), 1 - chance, atol=1e-9)
    rng = np.random.default_rng(8)
    drawn = np.array([draw(law, rng) for _ in range(1500)])
    low, high = acceptance_band(0.5, drawn.size, 0.999)
    assert low <= np.count_nonzero(drawn < law.quantile(np.array(0.5))) <= high


def test_first_passage_of_a_rough_path_without_readings_is_inverse_gaussian() -> None:
    """Against scipy's inverse Gaussian, mixed over slopes; and against simulated tools."""
    rng = np.random.default_rng(2)
    lives = np.array([wearing._Tool("rough", rng).life for _ in range(1500)])
    told = wearing.known_rough(0.0, np.zeros(0), np.zeros(0))[4:]
    assert np.median(lives) == pytest.approx(np.median(told), rel=0.05)
    slopes = wearing._SLOPES
    mass = np.exp(-0.5 * wearing._SLOPE_Z**2)
    scale = (wearing.LIMIT / wearing.ROUGHNESS) ** 2
    reached = invgauss.cdf(np.median(told), wearing.LIMIT / slopes / scale, scale=scale)
    assert float(reached @ mass / mass.sum()) == pytest.approx(0.5, abs=0.005)


def test_a_broken_bar_is_named_and_a_missing_row_is_not_judged(cells) -> None:
    told = bars({"A/30": cells["A"]})
    assert {bar.name for bar in told} == {
        "A: c80 of the true law", "A: c80", "A, 30 failures: CRPS over the true law's"
    }  # fmt: skip
    assert not Bar("too wide", 0.99, 0.78, 0.88).holds
    assert "BROKEN  too wide: 0.990" in str(Bar("too wide", 0.99, 0.78, 0.88))
    assert "  A/30" in table({"A/30": cells["A"]})


def test_rows_are_picked_by_scenario_name_and_pattern() -> None:
    assert chosen("A,D/30") == ["A/0", "A/2", "A/5", "A/10", "A/30", "D/30"]
    assert chosen("rough*") == ["rough-late", "rough-early"]
    assert chosen("nothing") == []
    assert isinstance(weibull(2.0, 1.0), Law)

"""Batches within presses: neither hides the other, and what is not known widens."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from duestroke.inference.ahead import remaining_quantiles, survival
from duestroke.inference.crossed import CrossedLaw
from duestroke.inference.left_out import chance_by_end, like
from duestroke.inference.place import PlacePosterior, fit_place
from duestroke.inference.tool import ToolRecord
from duestroke.lives import Life

M = 1e6
HANDBOOK = 50 * M
PRESSES, BATCHES, WEAK = 12, 8, "B-2"


@cache
def place(count: int, press_sd: float, weak: float, seed: int) -> PlacePosterior:
    """Lognormal lives of spread 0.3, all seen to the end; one batch lasts `weak` of the rest."""
    rng = np.random.default_rng(seed)
    shifts = press_sd * rng.standard_normal(PRESSES)
    lives = []
    for k in range(count):
        press, batch = int(rng.integers(PRESSES)), f"B-{rng.integers(BATCHES)}"
        log_life = 0.3 * rng.standard_normal() + shifts[press]
        log_life += np.log(weak) if batch == WEAK else 0.0
        lives.append(
            Life(
                id=f"L-{k}", serial=f"T-{k}", kind="punch", position="punch",
                press=f"works/1/{press:02d}", batch=batch, entry_strokes=0.0, entry_low=None,
                strokes=HANDBOOK * float(np.exp(log_life)), strokes_low=None, end="worn",
                ended_at=None, mean_speed_mps=None, source="imported",
            )
        )  # fmt: skip
    return fit_place(lives, handbook_life=HANDBOOK)


def ranges(fitted: PlacePosterior, *tools: ToolRecord) -> np.ndarray:
    """Life of new tools at 10, 50 and 90 %, strokes, (n, 3)."""
    return remaining_quantiles(fitted, tools, np.array([0.1, 0.5, 0.9]))


@pytest.mark.parametrize("count", [240, 800])
def test_a_weak_batch_is_forecast_so_though_presses_differ_much(count):
    """Truth by construction: 0.63 of the others' life, presses with a spread of 0.35."""
    fitted = place(count, 0.35, 0.63, 11)
    assert isinstance(fitted.ways[0].life, CrossedLaw)
    weak, other = ranges(fitted, ToolRecord(0.0, batch=WEAK), ToolRecord(0.0, batch="B-5"))
    assert weak[1] / other[1] == pytest.approx(0.63, abs=0.09)


def test_presses_are_forecast_apart_though_a_batch_differs_much():
    """Truth by construction: presses with a spread of 0.2 under a batch at 0.5."""
    fitted = place(800, 0.2, 0.5, 5)
    rng = np.random.default_rng(5)
    truth = 0.2 * rng.standard_normal(PRESSES)
    tools = [ToolRecord(0.0, press=f"works/1/{k:02d}") for k in range(PRESSES)]
    told = np.log(ranges(fitted, *tools)[:, 1])
    assert np.corrcoef(told, truth)[0, 1] > 0.9
    assert np.std(told) == pytest.approx(np.std(truth), rel=0.3)


def test_a_press_that_nobody_knows_has_the_wider_range():
    fitted = place(800, 0.35, 0.63, 11)
    known, new = ranges(
        fitted, ToolRecord(0.0, press="works/1/03"), ToolRecord(0.0, press="works/1/99")
    )
    assert np.log(new[2] / new[0]) > 1.2 * np.log(known[2] / known[0])


def test_even_presses_and_batches_change_nothing_worth_saying():
    fitted = place(240, 0.0, 1.0, 3)
    tools = [ToolRecord(0.0, batch=f"B-{b}", press=f"works/1/{b:02d}") for b in range(BATCHES)]
    told = ranges(fitted, *tools)[:, 1]
    assert told.max() / told.min() < 1.12
    assert np.median(told) == pytest.approx(HANDBOOK, rel=0.08)


def test_a_life_left_out_of_presses_and_batches_ends_where_the_fit_without_it_says():
    fitted = place(48, 0.2, 1.0, 11)
    lives = fitted.records
    for n, (_, told) in enumerate(chance_by_end(fitted, lives[:8])):
        one = lives[n]
        rest = fit_place([*lives[:n], *lives[n + 1 :]], handbook_life=HANDBOOK)
        assert told == pytest.approx(1 - survival(rest, [one.strokes], like(one))[0], abs=0.08), n

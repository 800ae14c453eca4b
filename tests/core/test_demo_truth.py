"""What the model says of one seed of the demo plant, against what its simulator made true.

The same for ten and twenty seeds: `python -m benchmarks.demo_truth`.
"""

from __future__ import annotations

import pytest

from benchmarks.demo_lives import DemoPlant
from benchmarks.demo_truth import (
    SECOND_OUT,
    TRUE_EXPONENT,
    TRUE_MEDIAN,
    batch_of,
    ring_of,
)
from duestroke.stroke import Drive, peak_speed
from simulators.scripted import WEAK_CAME_OUT, WEAK_FACTOR, weak_batch

SEED = 2


@pytest.fixture(scope="module")
def plant() -> DemoPlant:
    return DemoPlant(SEED)


def test_ring_3_of_the_line_that_pulls_on_readings_gets_its_true_median(plant) -> None:
    """End codes alone are far too long; readings and modes are right within 10 %."""
    ring = ring_of(plant)
    assert ring.median == pytest.approx(TRUE_MEDIAN, rel=0.10)
    assert ring.by_end_codes > 1.15 * TRUE_MEDIAN
    assert ring.rate.interval.low <= TRUE_EXPONENT <= ring.rate.interval.high
    assert ring.is_honest


def test_the_weak_batch_is_found_when_its_second_punch_is_out(plant) -> None:
    """Wear 1.6 times as fast: lives of 1 / 1.6, drawn towards 1 while little is known."""
    told = batch_of(plant, SECOND_OUT)
    assert told.failures == 2
    assert told.is_found
    assert told.ratio.low < 1 / WEAK_FACTOR < told.ratio.high


def test_lives_are_those_of_the_ledger(plant) -> None:
    """Ends, ages and readings of the story's tools are the story's."""
    name = weak_batch(plant.demo)
    weak = [life for life in plant.lives("punch") if life.batch == name]
    worn = {life.press[-4:]: life for life in weak if life.end == "worn"}
    assert {place: round(age) for place, (age, _) in WEAK_CAME_OUT.items()} == {
        place: round(life.strokes / 1e6) for place, life in worn.items()
    }
    assert sum(life.end == "running" for life in weak) == 5
    for life in worn.values():
        assert life.readings[-1].share >= 1 > life.readings[-2].share
        assert life.strokes_low is not None
        assert life.strokes_low < life.strokes


def test_an_earlier_day_knows_less(plant) -> None:
    now, before = plant.lives("ring-3"), plant.lives("ring-3", days_before=100)
    assert len(before) < len(now)
    ended = {life.id: life for life in now}
    for life in before:
        assert life.strokes <= ended[life.id].strokes
        assert life.readings == ended[life.id].readings[: len(life.readings)]


def test_a_press_that_went_faster_mixes_its_speeds_by_strokes(plant) -> None:
    slow, fast = (peak_speed(Drive(0.2625), spm) for spm in (400, 432))
    speeds = {life.mean_speed_mps for life in plant.lives("ring-3") if life.press[-4:] == "3/06"}
    assert min(speeds) == pytest.approx(slow)
    assert max(speeds) == pytest.approx(fast)
    assert any(slow * 1.01 < speed < fast / 1.01 for speed in speeds)

"""Small histories: their truth is never exceeded, and missed by no more than the flags say."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from duestroke.counting.batch import count
from duestroke.counting.types import Rule
from simulators.history import Chances, deliveries, make

START = datetime(2026, 1, 1, tzinfo=UTC)
OFTEN = Chances(lost=0.03, silence=0.02, reset=0.02, reboot=0.03, clock=0.03)


@pytest.mark.parametrize("modulus", [2**32, 2**16])
def test_truth_less_counted_lies_within_the_flags(modulus):
    """Counting rule 7, over 60 presses with many faults each."""
    rng = np.random.default_rng(11)
    presses = [f"a/1/{number:02d}" for number in range(60)]
    happened = dict.fromkeys(("restarts", "reboots", "clock_steps", "missing"), 0)
    for history in make(rng, presses, start=START, reports=200, modulus=modulus, chances=OFTEN):
        counted = count(history.readings, Rule(history.modulus, history.max_spm))
        hidden = history.true_strokes - counted.total
        assert 0 <= hidden <= sum(flag.hidden_at_most for flag in counted.flags)
        assert len(counted.flags) <= history.most_flags
        assert counted.missing == history.missing
        for name in happened:
            happened[name] += getattr(history, name)
    assert all(number > 20 for number in happened.values())


def test_without_faults_every_stroke_is_counted():
    rng = np.random.default_rng(12)
    none = Chances(0, 0, 20, 0, 0, 0)
    (history,) = make(rng, ["a/1/01"], start=START, reports=500, chances=none)
    counted = count(history.readings, Rule())
    assert (counted.total, counted.flags, counted.missing) == (history.true_strokes, (), 0)
    assert len(history.readings) == 500


def test_deliveries_hold_every_reading_and_repeat_some():
    rng = np.random.default_rng(13)
    histories = make(rng, ["a/1/01", "a/1/02"], start=START, reports=100, chances=OFTEN)
    parcels = list(deliveries(rng, histories, repeats=0.2))
    for history in histories:
        came = [one for press, readings in parcels if press == history.press for one in readings]
        assert set(came) == set(history.readings)
        assert len(came) > len(history.readings)
        assert came != sorted(came, key=lambda one: (one.boot, one.seq))


def test_the_same_seed_gives_the_same_history():
    first, second = (
        make(np.random.default_rng(14), ["a/1/01"], start=START, reports=50) for _ in range(2)
    )
    assert first == second

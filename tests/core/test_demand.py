"""How many spares will be wanted: against the binomial law, and by plain enumeration."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.stats import binom, poisson

from duestroke.demand import by_week, chance_at, number_law, wanted
from duestroke.errors import BadField
from duestroke.forecast.dates import LEVELS


def test_equal_chances_are_binomial():
    """Against scipy's binomial law."""
    law = number_law([0.3] * 12)
    assert law == pytest.approx(binom.pmf(np.arange(13), 12, 0.3), abs=1e-14)


def test_unequal_chances_by_enumeration():
    chances = (0.05, 0.4, 0.7, 0.99)
    plain = np.zeros(5)
    for ended in itertools.product((0, 1), repeat=4):
        weights = [p if yes else 1 - p for p, yes in zip(chances, ended, strict=True)]
        plain[sum(ended)] += np.prod(weights)
    assert number_law(chances) == pytest.approx(plain, abs=1e-14)


def test_many_rare_ends_are_nearly_poisson():
    """Law of rare events, against scipy's Poisson law: 1,000 tools of chance 0.002."""
    found = wanted([0.002] * 1_000)
    assert found.expected == pytest.approx(2.0)
    assert (found.level_50, found.level_90) == (poisson.ppf(0.5, 2), poisson.ppf(0.9, 2))


@pytest.mark.parametrize(
    ("chances", "levels"),
    [([], (0, 0)), ([0.0, 0.0], (0, 0)), ([1.0, 1.0], (2, 2)), ([0.5], (0, 1))],
)
def test_edges(chances, levels):
    found = wanted(chances)
    assert (found.level_50, found.level_90) == levels
    assert found.expected == pytest.approx(sum(chances))


def test_what_is_no_chance_is_refused():
    for chance in (-0.1, 1.1, float("nan")):
        with pytest.raises(BadField):
            number_law([chance])


def test_weeks_add_up_and_what_is_over_falls_into_the_first():
    chances = [[0.2, 0.3, 0.3, 0.9], [0.0, 0.5, 1.0, 1.0]]
    each, by_then = by_week(chances)
    assert [week.expected for week in each] == pytest.approx([0.8, 0.5, 0.6])
    assert [week.expected for week in by_then] == pytest.approx([0.8, 1.3, 1.9])
    assert by_week(np.zeros((0, 4)))[1][2].expected == 0


def test_chances_read_off_due_times():
    due = [1_000 * k for k in range(len(LEVELS))]
    assert chance_at(due, LEVELS, [1_000 * 50, 1_500]) == pytest.approx(
        [LEVELS[50], (LEVELS[1] + LEVELS[2]) / 2]
    )
    now = [0] * 60 + [1_000] * (len(LEVELS) - 60)
    assert chance_at(now, LEVELS, [0]) == pytest.approx([LEVELS[59]])
    assert chance_at([None] * len(LEVELS), LEVELS, [5]) == pytest.approx([0])
    partly = [0, *[None] * (len(LEVELS) - 1)]
    assert chance_at(partly, LEVELS, [10**18]) == pytest.approx([LEVELS[0]])

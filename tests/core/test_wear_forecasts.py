"""How well wear lives are foreseen where the truth is known: straight, rough and curved wear.

A small form of the table in docs/methods-wear.md, against the bars of our own prototype there.
"""

from __future__ import annotations

import pytest

from tests.support.wear_truths import KINDS, score


@pytest.mark.parametrize(
    ("kind", "crps", "of_the_law"),
    [("straight", 3.6, 0.5), ("rough", 8.0, 0.85), ("curved", 3.8, 0.5)],
    ids=KINDS,
)
def test_late_in_life_the_readings_carry_the_forecast(
    kind: str, crps: float, of_the_law: float
) -> None:
    window = (0.5, 0.9, "life")
    joint, law, _ = score(kind, known=30, window=window, tools=80, seed=3, above=True)
    assert 0.68 <= joint.c80 <= 0.93
    assert joint.crps < min(crps, of_the_law * law.crps)
    assert joint.odd <= 0.06


def test_early_in_life_readings_do_not_harm() -> None:
    """Curved wear, few lives known: a straight line would be far off, the law carries it."""
    window = (0.2, 0.5, "life")
    joint, law, _ = score("curved", known=6, window=window, tools=60, seed=4, above=True)
    assert 0.66 <= joint.c80 <= 0.95
    assert joint.crps < law.crps

"""Daily strokes of an invented press: rates with a memory, and breakdowns that last.

A day's rate depends on the day before (AR(1), correlation 0.6, sd 12 % of the mean); on 3 % of days
a breakdown begins, of two and a half days on average, with up to 30 % of the usual strokes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Array = NDArray[np.float64]

USUAL = 500_000
MEMORY = 0.6
SPREAD = 0.12
BREAKDOWN = 0.03


def daily_strokes(rng: np.random.Generator, days: int) -> Array:
    """Strokes of that many days in a row, shape (days,)."""
    noise = rng.standard_normal(days) * np.sqrt(1 - MEMORY**2)
    level = lfilter([1.0], [1.0, -MEMORY], noise)
    up = np.ones(days)
    for day in np.flatnonzero(rng.random(days) < BREAKDOWN):
        up[day : day + rng.geometric(0.4)] = 0.3 * rng.random()
    return np.asarray(USUAL * np.maximum(1 + SPREAD * level, 0.05) * up)


def days_taken(strokes: float, to_come: Array) -> float:
    """Days until that many strokes are made, the day's strokes spread evenly over it."""
    made = np.concatenate([[0.0], np.cumsum(to_come)])
    return float(np.interp(strokes, made, np.arange(made.size)))

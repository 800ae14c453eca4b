"""The step of a gauge, as its readings show it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

import numpy as np

_LEAST_READINGS: Final = 8
_LEAST_STEP: Final = 1e-4
_CLOSE: Final = 1e-6


def resolution(shares: Iterable[float]) -> float:
    """The step between readings, part of the limit; 0 where they show none.

    A step is seen when all differences are whole multiples of the least one, among at least eight
    different readings; tools of two limits show none.
    """
    values = np.unique(np.fromiter(shares, dtype=np.float64))
    steps = np.diff(values)
    steps = steps[steps > _CLOSE * _LEAST_STEP]
    if steps.size + 1 < _LEAST_READINGS or steps.min() < _LEAST_STEP:
        return 0.0
    multiples = steps / steps.min()
    is_whole = bool(np.all(np.abs(multiples - np.round(multiples)) < 1e-3))
    return float(steps.min()) if is_whole else 0.0


def least_sd(shares: Iterable[float]) -> float:
    """Noise of rounding alone: the step over the square root of 12 (JCGM 100:2008, F.2.2.1)."""
    return resolution(shares) / math.sqrt(12)

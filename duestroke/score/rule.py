"""The rule of thumb that a forecast has to beat: handbook life, give or take a fifth."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

Array = NDArray[np.float64]

RANGE: Final = 0.20
"""80 % of lives lie within this share of the handbook life, the rule says."""


def handbook_rule(handbook_life: ArrayLike, age: ArrayLike, levels: ArrayLike) -> Array:
    """Strokes left at the levels (k,) by the rule: a normal life, what is past is due now; (n, k).

    handbook_life: strokes, > 0, (n,).  age: strokes, >= 0, (n,).
    """
    spread = RANGE / ndtri(0.9) * ndtri(np.asarray(levels, dtype=np.float64))
    life = np.asarray(handbook_life, dtype=np.float64)[:, None] * (1 + spread)
    return np.asarray(np.maximum(life - np.asarray(age, dtype=np.float64)[:, None], 0.0))

"""Is one batch or press worse than the others, or were we unlucky? How many failures it takes.

With the shape known, the log of a Weibull scale seen in `r` failures has standard error
`1 / (shape sqrt r)`; the ratio of two groups adds their variances.
Source: Meeker and Escobar 1998, Statistical Methods for Reliability Data, chapter 8; with the
shape unknown it is a little more, so the numbers are the least that it takes.
"""

from __future__ import annotations

import math
from typing import Final

from scipy.special import ndtri

from duestroke.errors import BadField
from duestroke.inference.families import WEIBULL_SHAPE_TIMES_SPREAD

_NO_DIFFERENCE: Final = 1e-9


def failures_needed(ratio: float, spread: float, others: int, level: float = 0.9) -> int | None:
    """Failures of its own that a group needs before its ratio to the others could be told from 1.

    ratio: median life over that of the others, > 0.  spread: sd of log life, > 0.
    others: failures of the others.  level: of the interval that has to leave 1 out.
    None: with so few failures of the others no number would do.
    """
    for name, value in (("ratio", ratio), ("spread", spread)):
        if not (math.isfinite(value) and value > 0):
            raise BadField(name, value, "a number above 0")
    distance = abs(math.log(ratio)) / float(ndtri((1 + level) / 2))
    if distance < _NO_DIFFERENCE or others <= 0:
        return None
    shape = WEIBULL_SHAPE_TIMES_SPREAD / spread
    rest = (distance * shape) ** 2 - 1 / others
    return math.ceil(1 / rest - 1e-9) if rest > 0 else None


def error_of_log_life(spread: float, failures: int) -> float:
    """Standard error of log life from so many failures, with the shape known; failures > 0."""
    return spread / WEIBULL_SHAPE_TIMES_SPREAD / math.sqrt(failures)

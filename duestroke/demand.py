"""How many spares will be wanted by when: the sum of what the tools' forecasts say.

Each tool that sits in a press wants one spare when it ends. Their ends are taken as independent
given their forecasts, so the number that end by a time has the Poisson-binomial law, computed
exactly. Only the next change of each place is counted: a tool that is fitted meanwhile seldom ends
within the weeks asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from duestroke.errors import BadField

Array = NDArray[np.float64]

LEVELS: Final = (0.5, 0.9)
MOST_WEEKS: Final = 26


@dataclass(frozen=True, slots=True)
class Wanted:
    """A number of spares: its mean, and the numbers that are enough with chance 0.5 and 0.9."""

    expected: float
    level_50: int
    level_90: int


def number_law(chances: ArrayLike) -> Array:
    """Law of how many of independent events come true: chance of 0, 1, ..., n; sums to 1.

    chances: shape (n,), each 0 to 1. By adding one event after the other; Poisson-binomial law
    (Y. H. Wang, Statistica Sinica 3, 1993, 295-312, from memory). Raises BadField.
    """
    each = np.asarray(chances, dtype=np.float64).ravel()
    if np.any(~((each >= 0) & (each <= 1))):
        raise BadField("chances", chances, "0 to 1")
    law = np.ones(1)
    for chance in each:
        law = np.convolve(law, (1 - chance, chance))
    return law


def wanted(chances: ArrayLike) -> Wanted:
    """How many of the tools end, each with its chance. Raises BadField as `number_law`."""
    law = number_law(chances)
    reached = np.cumsum(law)
    # Rounding may leave the last sum a hair below a level.
    enough = [int(np.searchsorted(reached, level - 1e-12)) for level in LEVELS]
    return Wanted(float(np.arange(law.size) @ law), *enough)


def by_week(chance_by: ArrayLike) -> tuple[list[Wanted], list[Wanted]]:
    """Wanted in each week, and by its end. chance_by: (tools, weeks + 1), rising along the weeks.

    The first column is the chance that the end is past already: those count in the first week.
    """
    ended = np.asarray(chance_by, dtype=np.float64)
    within = np.diff(ended, axis=1)
    if within.size:
        within[:, 0] += ended[:, 0]
    weeks = range(ended.shape[1] - 1)
    each = [wanted(np.clip(within[:, week], 0, 1)) for week in weeks]
    return each, [wanted(ended[:, week + 1]) for week in weeks]


def chance_at(due_us: Sequence[int | None], levels: Array, at_us: ArrayLike) -> Array:
    """Chance that a tool has ended by each instant, read off its due times at `levels`.

    due_us: microseconds since 1970, rising; None: beyond all asking.  levels: rising, in (0, 1).
    Straight between them; before the first due time nothing is known but that it is rare: 0.
    """
    known = np.array([np.inf if due is None else float(due) for due in due_us])
    instants = np.asarray(at_us, dtype=np.float64)
    finite = np.isfinite(known)
    if not finite.any():
        return np.zeros(instants.shape)
    due, told = known[finite], levels[finite]
    # Of equal due times the highest level holds: that much is due now.
    last = np.append(due[1:] > due[:-1], True)
    return np.asarray(np.interp(instants, due[last], told[last], left=0.0))

"""Lives as arrays for the likelihood: what each says about the age at its end, in strokes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.errors import BadField
from duestroke.lives import Life

Array = NDArray[np.float64]

EXACT: Final = 0
"""The end was seen when it came, at `high`."""
INTERVAL: Final = 1
"""Found worn at `high`, last found good at `low`."""
CENSORED: Final = 2
"""Known to have survived to `high`."""
UNSEEN: Final = 3
"""Still in at `high`, last found good at `low`: may be worn unseen since."""

NEGLIGIBLE_AGE: Final = 0.001
"""Ages up to this share of the handbook life say nothing but that the life was short."""


@dataclass(frozen=True)
class Observations:
    """Aligned arrays of shape (n,), one row a life; ages in strokes, >= 0.

    code: EXACT, INTERVAL, CENSORED or UNSEEN.
    low, high: see the codes; equal where only one age counts.
    entry_low, entry: the life was first seen at `entry` and last found good before that at
        `entry_low`; both 0 where it was seen from its start, equal where it was good at entry.
    """

    code: NDArray[np.int8]
    low: Array
    high: Array
    entry_low: Array
    entry: Array

    @property
    def lives(self) -> int:
        """How many lives there are."""
        return int(self.code.size)

    @property
    def failures(self) -> int:
        """How many of them ended by a failure."""
        return int(np.count_nonzero(self.code <= INTERVAL))

    @property
    def unseen_share(self) -> float:
        """`q`: share of failures that show only at an inspection, (found + 1) / (all + 2).

        A failure counts as found by inspection when it is known to lie in an interval.
        """
        found = int(np.count_nonzero(self.code == INTERVAL))
        return (found + 1) / (self.failures + 2)

    def relative_to(self, handbook_life: float) -> Observations:
        """Ages as shares of the handbook life, in an order of their own; see `aligned_to`."""
        shares, told = self.aligned_to(handbook_life)
        return shares.select(told)._in_order()

    def aligned_to(self, handbook_life: float) -> tuple[Observations, NDArray[np.bool_]]:
        """Ages as shares of the handbook life, with ages next to zero made harmless.

        Returns all rows, aligned with these, and which of them say anything, (n,).
        A failure within 0.001 handbook lives of the start, or of the first sight, lies somewhere
        in those 0.001; a life that was seen no further and did not fail says nothing and is left
        out; an entry within them is none.
        Raises BadField for a handbook life that is not above 0.
        """
        if not (np.isfinite(handbook_life) and handbook_life > 0):
            raise BadField("handbook_life", handbook_life, "a number of strokes above 0")
        scaled = Observations(
            self.code,
            self.low / handbook_life,
            self.high / handbook_life,
            self.entry_low / handbook_life,
            self.entry / handbook_life,
        )
        return scaled._without_negligible()

    def select(self, rows: NDArray[np.bool_]) -> Observations:
        """The lives where `rows`, shape (n,), is true."""
        return Observations(
            self.code[rows],
            self.low[rows],
            self.high[rows],
            self.entry_low[rows],
            self.entry[rows],
        )

    def _without_negligible(self) -> tuple[Observations, NDArray[np.bool_]]:
        late = self.entry > NEGLIGIBLE_AGE
        entry, entry_low = np.where(late, self.entry, 0.0), np.where(late, self.entry_low, 0.0)
        short = self.high - entry <= NEGLIGIBLE_AGE
        failed = self.code <= INTERVAL
        # A density at the very age of the first sight has no bound; an interval has.
        cleaned = Observations(
            np.where(short & failed, np.int8(INTERVAL), self.code),
            np.where(short & failed, np.minimum(self.low, entry), self.low),
            np.where(short & failed, entry + NEGLIGIBLE_AGE, self.high),
            entry_low,
            entry,
        )
        return cleaned, ~(short & ~failed & (entry_low == entry))

    def _in_order(self) -> Observations:
        # Sums of floats depend on their order; the lives' order must not show in a forecast.
        columns = (self.entry, self.entry_low, self.low, self.high, self.code)
        order = np.lexsort(columns)
        return Observations(
            self.code[order],
            self.low[order],
            self.high[order],
            self.entry_low[order],
            self.entry[order],
        )


def observe(lives: Sequence[Life]) -> Observations:
    """What the lives say, in the order given; one row a life.

    A `worn` end with a last good age is an interval, a running tool with one may be worn unseen;
    other failures were seen when they came, other ends censor. A tool known to be good when first
    seen can't have been worn before that.
    """
    rows = [_row(life) for life in lives]
    table = np.array(rows, dtype=np.float64).reshape(-1, 5)
    return Observations(table[:, 0].astype(np.int8), *(table[:, k].copy() for k in range(1, 5)))


def _row(life: Life) -> tuple[float, float, float, float, float]:
    entry = float(life.entry_strokes)
    entry_low = entry if life.entry_low is None else float(life.entry_low)
    high = float(life.strokes)
    low = high if life.strokes_low is None else max(float(life.strokes_low), entry_low)
    code = _code(life, low, high)
    return (code, low if code in (INTERVAL, UNSEEN) else high, high, entry_low, entry)


def _code(life: Life, low: float, high: float) -> int:
    is_open = low < high
    if life.end == "running":
        return UNSEEN if is_open else CENSORED
    if not life.is_failure:
        return CENSORED
    return INTERVAL if life.end == "worn" and is_open else EXACT

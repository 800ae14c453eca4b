"""Which mode ended a life, and what the life says of each of the two modes.

Wear uses a tool up; sudden failure (a chip, a crack, pick-up) takes it at once. They compete: each
sees the end by the other as a survival up to there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.observations import CENSORED, EXACT, Observations, observe
from duestroke.lives import Life, WearReading

Array = NDArray[np.float64]
Mode = Literal["wear", "sudden"]

NEAR_LIMIT: Final = 0.7
"""Cans go bad from wear when the last reading had used up this part of the limit or more."""
READ_WORN: Final = 0.9
"""A worn end is told by its readings when the last one is here or above; else by a look."""


def mode_of(life: Life) -> Mode | None:
    """The mode that ended a life; None where it did not fail."""
    if life.end == "worn":
        return "wear"
    if life.end == "broken":
        return "sudden"
    if life.end == "can-defect":
        worn = bool(life.readings) and life.readings[-1].share >= NEAR_LIMIT
        return "wear" if worn else "sudden"
    return None


def is_told_by_readings(life: Life) -> bool:
    """Whether the readings and not the end say when the tool is or was worn out.

    A planned pull, or a running tool, is then no censoring at its age: whether it was pulled
    because of a reading or not, the readings hold all that there is to know of its wear.
    """
    if not life.readings:
        return False
    if life.end == "worn":
        return life.readings[-1].share >= READ_WORN
    return not (life.end == "can-defect" and mode_of(life) == "wear")


@dataclass(frozen=True)
class ModeLives:
    """What each life says of one mode; aligned, one row a life, ages in strokes.

    seen: ends and censorings as for one law.
    readings: where the wear is told by readings, those; empty elsewhere.
    good_at: age that a tool told by readings is known to have passed in wear, 0: none.
    q: share of this mode's ends that show only at an inspection.
    """

    lives: tuple[Life, ...]
    seen: Observations
    readings: tuple[tuple[WearReading, ...], ...]
    good_at: Array
    q: float
    failures: int

    @property
    def has_readings(self) -> bool:
        """Whether any life is told by its readings."""
        return any(self.readings)

    def log_of(self, name: str, reference: float) -> Array:
        """Log of a covariate of each life over its reference; 0 where it is not known."""
        values = [getattr(life, name) or reference for life in self.lives]
        return np.log(np.array(values, dtype=np.float64) / reference)


def all_ends(lives: Sequence[Life], unseen_share: float | None = None) -> ModeLives:
    """One law for all ends."""
    seen = observe(lives)
    q = seen.unseen_share if unseen_share is None else unseen_share
    return _hard(lives, seen, q, seen.failures)


def wear(lives: Sequence[Life], unseen_share: float | None = None) -> ModeLives:
    """Ends by wear; a sudden end censors them at its age."""
    told = [is_told_by_readings(life) for life in lives]
    ends = [mode_of(life) == "wear" for life in lives]
    seen = observe([_as_wear(life) for life in lives])
    found = sum(
        end and (soft or life.strokes_low is not None)
        for life, soft, end in zip(lives, told, ends, strict=True)
    )
    q = (found + 1) / (sum(ends) + 2) if unseen_share is None else unseen_share
    return ModeLives(
        tuple(lives),
        seen,
        tuple(life.readings if soft else () for life, soft in zip(lives, told, strict=True)),
        np.array([_passed(life) for life in lives], dtype=np.float64),
        q,
        sum(ends),
    )


def sudden(lives: Sequence[Life]) -> ModeLives:
    """Ends by sudden failure, seen when they come; all else censors them at its age."""
    rows = observe(lives)
    failed = np.array([mode_of(life) == "sudden" for life in lives], dtype=bool)
    code = np.where(failed, np.int8(EXACT), np.int8(CENSORED))
    seen = Observations(code, rows.high, rows.high, rows.entry, rows.entry)
    return _hard(lives, seen, 0.0, int(failed.sum()))


def _hard(lives: Sequence[Life], seen: Observations, q: float, failures: int) -> ModeLives:
    none: tuple[tuple[WearReading, ...], ...] = ((),) * len(lives)
    return ModeLives(tuple(lives), seen, none, np.zeros(len(lives)), q, failures)


def _as_wear(life: Life) -> Life:
    if mode_of(life) == "sudden":
        return replace(life, end="other", strokes_low=None)
    return life


def _passed(life: Life) -> float:
    """Last age of a good verdict, where it came after the last reading."""
    low = life.strokes_low
    if low is None or not life.readings or low <= life.readings[-1].strokes:
        return 0.0
    return float(low)

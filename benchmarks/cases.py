"""What a benchmark hands to a forecaster, and the truth that it keeps back."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.tool import ToolRecord
from duestroke.lives import Life

Array = NDArray[np.float64]

M = 1e6
RANGES = np.array([0.05, 0.10, 0.90, 0.95])
"""Levels at which a range begins and ends: 90 % outside, 80 % inside."""
MIDDLES = (np.arange(400) + 0.5) / 400
"""Levels at which a forecast stands for equal-weight draws in its score."""
LEVELS = np.concatenate([RANGES, MIDDLES])


@dataclass(frozen=True)
class RunningTool:
    """A tool in a press when the record ends: what is known of it, and when it truly ends.

    stops: strokes to each of the next planned stops.
    remaining: true strokes left, 0 when it is at its end already and nobody knows.
    known: strokes left at LEVELS for one who knows the laws and all that is drawn beside a life.
    """

    record: ToolRecord
    remaining: float
    stops: tuple[float, ...]
    known: Array = field(compare=False)


@dataclass(frozen=True)
class Case:
    """One place with its record, the tools to forecast, and the plant's own figure for a life.

    median: the true median life of a new tool at the reference, strokes, where there is one.
    """

    handbook_life: float
    lives: tuple[Life, ...]
    running: tuple[RunningTool, ...]
    median: float | None = None


def quantiles_of(due_now: float, lasting: Array, ahead: Array) -> Array:
    """Strokes left at LEVELS: with chance `due_now` 0, else beyond `ahead` with chance `lasting`.

    ahead: growing, from 0.  lasting: falling from 1, same shape.
    """
    reached = due_now + (1 - due_now) * (1 - lasting)
    return np.interp(LEVELS, np.maximum.accumulate(reached), ahead)

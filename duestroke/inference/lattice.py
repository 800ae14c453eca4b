"""Even lattices: interpolation and sums of functions known at evenly spaced points.

Laws of log life depend on `x - m` only. With one step for both, a law is worked out once for every
difference, and a life is a row of weights on it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass(frozen=True)
class Axis:
    """`size` (>= 4) points from `low` on, `step` apart."""

    low: float
    step: float
    size: int

    @property
    def points(self) -> Array:
        """The points, (size,)."""
        return np.asarray(self.low + self.step * np.arange(self.size), dtype=np.float64)

    @property
    def high(self) -> float:
        """The last point."""
        return self.low + self.step * (self.size - 1)

    @staticmethod
    def over(low: float, high: float, step: float) -> Axis:
        """The axis of this step that covers a range."""
        return Axis(low, step, max(4, int(np.ceil((high - low) / step - 1e-9)) + 1))


def interpolation(axis: Axis, at: Array) -> Array:
    """Weights of cubic interpolation at each of `at`, (n, size); constant beyond the ends."""
    first, part = _cell(axis, at)
    return _spread(axis, first, _cubic(part))


def shares(axis: Axis, at: Array) -> Array:
    """Mass at each of `at` put on its two neighbours so that the mean is kept, (n, size)."""
    place = np.clip((at - axis.low) / axis.step, 0, axis.size - 1)
    below = np.minimum(np.floor(place).astype(np.intp), axis.size - 2)
    part = place - below
    out = np.zeros((at.size, axis.size))
    rows = np.arange(at.size)
    out[rows, below] = 1 - part
    out[rows, below + 1] += part
    return out


def shifted_copies(table: Array, size: int) -> Array:
    """(k, s, m) values at `x_k - m_j` from a table (k + size - 1, s) over rising differences.

    The table's first row belongs to the first `x` and the last `m`.
    """
    windows = sliding_window_view(table, size, axis=0)
    return np.ascontiguousarray(windows[:, :, ::-1])


def _cell(axis: Axis, at: Array) -> tuple[Index, Array]:
    """First of the four points about each place, and the place's distance from the second."""
    place = np.clip((at - axis.low) / axis.step, 0.0, axis.size - 1.0)
    second = np.clip(np.floor(place), 1, axis.size - 3).astype(np.intp)
    return second - 1, place - second


def _spread(axis: Axis, first: Index, weights: Array) -> Array:
    out = np.zeros((first.size, axis.size))
    rows = np.arange(first.size)
    for offset, column in enumerate(weights):
        out[rows, first + offset] = column
    return out


def _cubic(t: Array) -> Array:
    return np.stack(
        [
            -t * (t - 1) * (t - 2) / 6,
            (t + 1) * (t - 1) * (t - 2) / 2,
            -(t + 1) * t * (t - 2) / 2,
            (t + 1) * t * (t - 1) / 6,
        ]
    )

"""Even lattices: interpolation, integrals and sums of functions known at evenly spaced points.

Laws of log life depend on `x - m` only. With one step for both, a law is worked out once for every
difference, and a life is a row of weights on it: interpolation weights where its age is known,
weights of an integral where it lies in a range.
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
        return self.low + self.step * np.arange(self.size)

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


def integral(axis: Axis, to: Array) -> Array:
    """Weights of the integral from the first point to each of `to`, (n, size), of that cubic."""
    first, part = _cell(axis, to)
    whole = _whole_cells(axis)
    return whole[first + 1] + axis.step * _spread(axis, first, _cubic_integral(part))


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


def _cubic_integral(t: Array) -> Array:
    """Integrals of the four from 0 to `t`."""
    square, cube, fourth = t**2, t**3, t**4 / 4
    return np.stack(
        [
            -(fourth - cube + square) / 6,
            (fourth - 2 * cube / 3 - square / 2 + 2 * t) / 2,
            -(fourth - cube / 3 - square) / 2,
            (fourth - square / 2) / 6,
        ]
    )


def _whole_cells(axis: Axis) -> Array:
    """Row j: weights of the integral from the first point to point j, (size, size)."""
    ends = np.arange(axis.size)
    second = np.clip(ends[:-1], 1, axis.size - 3)
    low, high = (ends[:-1] - second).astype(float), (ends[1:] - second).astype(float)
    cells = _spread(axis, second - 1, _cubic_integral(high) - _cubic_integral(low))
    return np.concatenate([np.zeros((1, axis.size)), axis.step * np.cumsum(cells, axis=0)])

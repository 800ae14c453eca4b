"""Whitened readings and their running sums: all that a likelihood needs for any life."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.wear.batch import Batch

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_LEAST_PIVOT: Final = 1e-12


@dataclass(frozen=True)
class Terms:
    """Inner products in the inverse of a covariance, y'y and so on, broadcastable.

    y: readings.  d: direction of the correction of rank one.  p: path x^k.  l: 1 at the latest
    reading.  log_det: log determinant of the covariance.
    """

    yy: Array
    yd: Array
    dd: Array
    log_det: Array
    ly: Array
    ld: Array
    ll: Array
    yp: Array
    pp: Array
    dp: Array
    lp: Array

    def corrected(self, scale: Array, length: Array) -> tuple[Array, Array]:
        """Square of y - scale p, and log determinant, of the covariance less `length` d d'.

        Sherman and Morrison's formula and the determinant lemma.
        """
        square = self.yy + scale * (self.pp * scale - 2 * self.yp)
        pivot = np.maximum(1 - self.dd * length, _LEAST_PIVOT)
        square = square + length * self.along(scale) ** 2 / pivot
        return square, self.log_det + np.log(pivot)

    def latest(self, scale: Array, length: Array) -> Array:
        """Deviation of the latest reading from what the others let expect, in its own sds.

        The row of the inverse covariance that belongs to it gives both.
        """
        pull = length * self.ld / np.maximum(1 - self.dd * length, _LEAST_PIVOT)
        slope = self.ly - self.lp * scale + pull * self.along(scale)
        return np.asarray(slope / np.sqrt(self.ll + pull * self.ld))

    def along(self, scale: Array) -> Array:
        """d'(y - scale p)."""
        return self.yd - self.dp * scale


@dataclass(frozen=True)
class Sums:
    """Running sums over none to all r readings: (n, r + 1, 7) and, for k powers, (n, r + 1, 4, k).

    common and own: see Terms, those without and with the path.
    """

    common: Array
    own: Array

    def of_all(self, power: int) -> Terms:
        """Terms of all readings of each tool, (n, 1)."""
        common, own = self.common[:, -1], self.own[:, -1, :, power]
        return Terms(*common.T[:, :, None], *own.T[:, :, None])

    def of_some(self, power: int, tool: Index, readings: Index) -> Terms:
        """Terms of the first `readings` of the tool of each pair, (pairs,)."""
        common, own = self.common[tool, readings], self.own[tool, readings, :, power]
        return Terms(*common.T, *own.T)


def sums_before(batch: Batch, covariance: Array, path: Array) -> Sums:
    """Sums over the first readings of each tool, corrected along their ages."""
    return _sums(covariance, batch.share, batch.age, batch.latest, path)


def sums_beyond(batch: Batch, covariance: Array, path: Array) -> Sums:
    """Sums over the last readings of each tool, from the last one on, corrected along ones."""
    back = slice(None, None, -1)
    ones = batch.there[:, back].astype(np.float64)
    turned = (batch.share[:, back], ones, batch.latest[:, back], path[:, back])
    return _sums(covariance[:, back, back], *turned)


def covariance_of(batch: Batch, variance: float, noise: float, shared: float) -> Array:
    """Of gauge, bias and free wear, (n, r, r); the unit where there is no reading.

    variance: of free wear a typical life.  noise: scale on the stated sd.  shared: part of a
    reading's variance that is its session's bias.
    """
    sd = np.maximum(noise * batch.sd, batch.least_sd)
    together = sd[:, :, None] * sd[:, None, :] * batch.alike
    lone = np.eye(batch.age.shape[1])
    met = np.minimum(batch.age[:, :, None], batch.age[:, None, :])
    gauge = together * (shared + (1 - shared) * lone)
    return np.asarray(gauge + variance * met + lone * ~batch.there[:, :, None])


def path_of(batch: Batch, powers: Array) -> Array:
    """Ages to each power, (n, r, k); 0 at age 0 and where there is no reading."""
    return np.asarray(batch.age[:, :, None] ** powers)


def _sums(covariance: Array, share: Array, direction: Array, latest: Array, path: Array) -> Sums:
    columns = np.concatenate([np.stack([share, direction, latest], axis=2), path], axis=2)
    lower = np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
    white = _forward(lower, columns)
    y, d, latest, p = white[:, :, 0], white[:, :, 1], white[:, :, 2], white[:, :, 3:]
    pivots = 2 * np.log(np.diagonal(lower, axis1=1, axis2=2))
    pairs = (y * y, y * d, d * d, pivots, latest * y, latest * d, latest * latest)
    own = (y[..., None] * p, p * p, d[..., None] * p, latest[..., None] * p)
    return Sums(_running(np.stack(pairs, axis=2)), _running(np.stack(own, axis=2)))


def _forward(lower: Array, columns: Array) -> Array:
    """Solves lower x = columns for each tool, row by row over all tools at once."""
    solved = np.empty_like(columns)
    for row in range(columns.shape[1]):
        known = (lower[:, row, None, :row] @ solved[:, :row])[:, 0]
        solved[:, row] = (columns[:, row] - known) / lower[:, row, row, None]
    return solved


def _running(values: Array) -> Array:
    """Sums over the first none to all readings."""
    start = np.zeros_like(values[:, :1])
    return np.concatenate([start, np.cumsum(values, axis=1)], axis=1)

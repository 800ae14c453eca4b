"""What the wear of a place may look like, before and after readings: points with weights.

The prior is common practice, no source: wear is about straight (power 1, sd 0.25 of its log), about
as likely smooth as rough, and a stated uncertainty is about right.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]

POWER_SPREAD: Final = 0.25
"""Prior sd of the log of the power of a wear path."""
SMOOTH: Final = 0.4
"""Prior chance that wear has no roughness at all."""
ROUGHNESS, ROUGHNESS_SPREAD = 0.14, 0.8
"""Else: prior median, part of the limit a square root of a typical life, and sd of its log."""
STATED_SPREAD, UNSTATED_SPREAD = 0.25, 0.6
"""Prior sd of the log of the scale on a stated sd, and on the usual one where none is stated."""
SHARED: Final = (0.2, 0.8)
"""Parts of a reading's variance that may be its session's bias."""
USUAL_SD: Final = 0.07
"""Sd of a reading where nothing is stated at a place, part of the limit."""


@dataclass(frozen=True)
class PathNodes:
    """Points of the shape of wear at a place, with their weights; all (q,).

    power: k > 0 of the path.  roughness: w >= 0, part of the limit a square root of a typical life.
    noise: scale on the stated sd of a reading, > 0.  shared: part of its variance that is the
    session's bias, 0 to below 1.  weight: sums to 1.
    """

    power: Array
    roughness: Array
    noise: Array
    shared: Array
    weight: Array

    @property
    def size(self) -> int:
        """How many points there are."""
        return int(self.power.size)

    def errors(self) -> Iterator[tuple[tuple[float, float, float], Index]]:
        """Points of the same roughness, noise and shared part: these, and which points they are."""
        key = np.stack([self.roughness, self.noise, self.shared], axis=1)
        order = sorted(range(self.size), key=lambda i: tuple(key[i]))
        for same, members in groupby(order, key=lambda i: tuple(key[i])):
            roughness, noise, shared = same
            yield (float(roughness), float(noise), float(shared)), np.array(list(members))

    def heaviest(self, mass: float, most: int) -> PathNodes:
        """The heaviest points that hold `mass` of the weight together, at most `most` of them."""
        order = np.argsort(-self.weight, kind="stable")
        enough = int(np.searchsorted(np.cumsum(self.weight[order]), mass)) + 1
        kept = np.sort(order[: min(enough, most)])
        return self._at(kept).weighted(self.weight[kept])

    def weighted(self, weight: Array) -> PathNodes:
        """The same points with other weights, which need not sum to 1."""
        share = weight / weight.sum()
        return PathNodes(self.power, self.roughness, self.noise, self.shared, share)

    def _at(self, kept: Index) -> PathNodes:
        return PathNodes(
            self.power[kept],
            self.roughness[kept],
            self.noise[kept],
            self.shared[kept],
            self.weight[kept],
        )


@dataclass(frozen=True)
class Axis:
    """Values of one figure, rising, with the prior mass of each."""

    values: Array
    mass: Array


def power_axis(low: float, high: float, points: int) -> Axis:
    """Powers even in their log."""
    return _log_axis(np.linspace(math.log(low), math.log(high), points), 0.0, POWER_SPREAD)


def noise_axis(low: float, high: float, points: int, spread: float) -> Axis:
    """Scales on the stated sd, even in their log."""
    return _log_axis(np.linspace(math.log(low), math.log(high), points), 0.0, spread)


def roughness_axis(low: float, high: float, points: int) -> Axis:
    """None, and roughness even in its log."""
    grid = np.linspace(math.log(low), math.log(high), points)
    rough = _log_axis(grid, math.log(ROUGHNESS), ROUGHNESS_SPREAD)
    return Axis(
        np.concatenate([[0.0], rough.values]),
        np.concatenate([[SMOOTH], (1 - SMOOTH) * rough.mass]),
    )


def shared_axis(values: Sequence[float]) -> Axis:
    """Shared parts, equally likely."""
    return Axis(np.array(values), np.full(len(values), 1 / len(values)))


def _log_axis(logs: Array, middle: float, spread: float) -> Axis:
    width = float(logs[1] - logs[0]) if logs.size > 1 else 1.0
    density = np.exp(-0.5 * ((logs - middle) / spread) ** 2) / (spread * math.sqrt(2 * math.pi))
    return Axis(np.exp(logs), density * width)


def nodes_of(power: Axis, roughness: Axis, noise: Axis, shared: Axis) -> PathNodes:
    """All combinations, weighted by their prior."""
    axes = (power, roughness, noise, shared)
    k, w, c, b = np.meshgrid(*(axis.values for axis in axes), indexing="ij")
    masses = np.meshgrid(*(axis.mass for axis in axes), indexing="ij")
    weight = np.prod(np.stack([one.ravel() for one in masses]), axis=0)
    return PathNodes(k.ravel(), w.ravel(), c.ravel(), b.ravel(), weight / weight.sum())


def prior_nodes(*, is_stated: bool) -> PathNodes:
    """What is believed of a place of which too few lives were read.

    is_stated: whether its readings state their uncertainty.
    """
    spread = STATED_SPREAD if is_stated else UNSTATED_SPREAD
    reach = math.exp(spread if is_stated else 1.4 * spread)
    return nodes_of(
        power_axis(math.exp(-2 * POWER_SPREAD), math.exp(2 * POWER_SPREAD), 5),
        roughness_axis(0.07, 0.25, 2),
        noise_axis(1 / reach, reach, 2 if is_stated else 3, spread),
        shared_axis((0.5,)),
    )

"""Lives of a mode in units of the handbook life, at reference conditions; readings as masses."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.lattice import Axis
from duestroke.inference.modes import ModeLives
from duestroke.inference.observations import Observations
from duestroke.inference.wear import WearPaths

Array = NDArray[np.float64]
Index = NDArray[np.intp]

READING_STEP: Final = 0.02
_READING_REACH: Final = 2.6
"""Lives from 0.07 to 13 times a usual one."""


@dataclass(frozen=True)
class Readings:
    """How likely the readings of each of r lives make each log life: masses on `axis`, (r, k).

    Scaled to a largest value of 1; the last column stands for all longer lives too.
    """

    of: Index
    axis: Axis
    mass: Array


@dataclass(frozen=True)
class Told:
    """What lives say of a mode, aligned arrays over n lives, log ages over the handbook life.

    shift: added to all ages of a life to bring them to reference conditions.
    """

    shares: Observations
    used: NDArray[np.bool_]
    shift: Array
    q: float
    readings: Readings | None

    @property
    def lives(self) -> int:
        """How many rows there are, those that say nothing included."""
        return int(self.used.size)

    def span(self) -> tuple[float, float]:
        """Least and largest log age that occurs; -1 to 1 where there is none."""
        columns = (self.shares.low, self.shares.high, self.shares.entry_low, self.shares.entry)
        ages = [np.log(c[self.used & (c > 0)]) + self.shift[self.used & (c > 0)] for c in columns]
        every = np.concatenate(ages)
        return (float(every.min()), float(every.max())) if every.size else (-1.0, 1.0)


def told_by(mode: ModeLives, handbook_life: float, shift: Array, paths: WearPaths | None) -> Told:
    """The lives of a mode in units of the handbook life, readings made likelihoods."""
    shares_, used = mode.seen.aligned_to(handbook_life)
    readings = None
    if paths is not None and mode.has_readings:
        readings = _readings(mode, shares_, used, shift, handbook_life, paths)
    return Told(shares_, used, shift, mode.q, readings)


def _readings(
    mode: ModeLives,
    seen: Observations,
    used: NDArray[np.bool_],
    shift: Array,
    handbook_life: float,
    paths: WearPaths,
) -> Readings:
    of = np.array([k for k, some in enumerate(mode.readings) if some and used[k]], dtype=np.intp)
    middle = math.log(paths.typical_life / handbook_life)
    axis = Axis.over(middle - _READING_REACH, middle + _READING_REACH, READING_STEP)
    steps = shift[of] / axis.step
    margin = int(np.ceil(np.abs(steps).max(initial=0.0))) + 1
    wide = Axis(axis.low - margin * axis.step, axis.step, axis.size + 2 * margin)
    tools = [mode.readings[k] for k in of]
    own = paths.log_likelihood(tools, wide.points + math.log(handbook_life))
    log_value = _moved(own, margin - steps, axis.size)
    value = np.exp(log_value - log_value.max(axis=1, keepdims=True))
    with np.errstate(divide="ignore"):  # age 0 is -inf on purpose
        good = np.log(np.maximum(mode.good_at[of] / handbook_life, seen.entry_low[of]))
        entry = np.log(seen.entry[of])
    value *= _part_beyond(axis, good + shift[of])
    value *= mode.q + (1 - mode.q) * _part_beyond(axis, entry + shift[of])
    return Readings(of, axis, value)


def _moved(values: Array, starts: Array, size: int) -> Array:
    """Each row from its own (fractional) start on, `size` points, linear in between."""
    first = np.floor(starts).astype(np.intp)
    part = (starts - first)[:, None]
    columns = first[:, None] + np.arange(size)
    rows = np.arange(first.size)[:, None]
    return np.asarray((1 - part) * values[rows, columns] + part * values[rows, columns + 1])


def _part_beyond(axis: Axis, least: Array) -> Array:
    """Part of each cell of the axis above a log age, (n, k)."""
    above = (axis.points + axis.step / 2 - least[:, None]) / axis.step
    return np.clip(above, 0.0, 1.0)

"""Where a life's end falls in the law of its place, when the life itself is left out of the fit.

A node's weight holds the life's own likelihood; divided by it, the weights are those of all other
lives. So one fit serves all lives.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.modes import is_told_by_readings, mode_of
from duestroke.inference.nodes import Nodes
from duestroke.inference.place import PlacePosterior
from duestroke.inference.tool import Alternative, ToolRecord
from duestroke.lives import Life

Array = NDArray[np.float64]

_LATTICE: Final = np.linspace(math.log(0.03), math.log(12.0), 100)
_SPEED_STEP: Final = 0.2
_ROUGHNESS_STEP: Final = 0.02
"""Lives of about one speed and roughness share their law."""
_LEAST: Final = -700.0


def like(life: Life) -> ToolRecord:
    """A new tool of the same press, batch and number, at the same speed."""
    return ToolRecord(
        0.0,
        press=life.press,
        batch=life.batch,
        life_number=life.life_number,
        speed_so_far=_stepped(life.mean_speed_mps, _SPEED_STEP),
        rough_so_far=_stepped(life.mean_roughness, _ROUGHNESS_STEP),
    )


def _stepped(value: float | None, step: float) -> float | None:
    return None if value is None else max(round(value / step), 1) * step


def chance_by_end(place: PlacePosterior, lives: Sequence[Life]) -> list[tuple[float, float]]:
    """Chance to have ended by the last good age and by the end, given the age at first sight.

    By the law of each life's own press, batch and speed without the life itself; both are equal
    where the end was seen or the life was pulled sound.
    """
    log_lives = _LATTICE + math.log(place.handbook_life)
    readings = [life.readings for life in lives]
    if place.paths is None or not any(readings):
        return [_chances(place, life, None) for life in lives]
    path = place.paths.log_likelihood(readings, log_lives)
    return [
        _chances(place, life, row if life.readings else None)
        for life, row in zip(lives, path, strict=True)
    ]


def _chances(place: PlacePosterior, life: Life, path: Array | None) -> tuple[float, float]:
    seen = _Seen.of(life, place.handbook_life, path)
    total = np.zeros(3)
    for each in place.alternatives(like(life), as_fitted=True):
        total += _share(each, seen)
    if not total[0] > 0:
        return 0.5, 0.5
    low, high = 1 - total[1:] / total[0]
    return float(np.clip(low, 0, 1)), float(np.clip(high, 0, 1))


@dataclass(frozen=True, slots=True)
class _Seen:
    """A life's ages as logs of handbook lives, and what it says of each mode.

    is_open: the end lies somewhere between the last good age and the last one.
    """

    life: Life
    ages: Array
    is_open: bool
    path: Array | None

    @staticmethod
    def of(life: Life, unit: float, path: Array | None) -> _Seen:
        low = life.strokes
        if life.end == "worn" and life.strokes_low is not None:
            low = max(life.strokes_low, life.entry_strokes)
        told = path if is_told_by_readings(life) else None
        ages = np.array([life.entry_strokes, low, max(life.strokes, 1e-6 * unit)]) / unit
        with np.errstate(divide="ignore"):  # age 0 is -inf on purpose
            return _Seen(life, np.log(ages), low < life.strokes, told)

    @property
    def ends_wear(self) -> bool:
        return mode_of(self.life) == "wear"


def _share(seen_by: Alternative, seen: _Seen) -> Array:
    """Weight times survival to entry, last good age and end, without the life's own likelihood."""
    one_law = seen_by.sudden is None
    ends_life = seen.life.is_failure if one_law else seen.ends_wear
    survival = _left_out(seen_by.life, seen, ends_life, None if one_law else seen.path)
    if seen_by.sudden is not None:
        ends = seen.life.is_failure and not seen.ends_wear
        survival = survival * _left_out(seen_by.sudden, seen, ends, None)
    return np.asarray(seen_by.weight * survival)


def _left_out(nodes: Sequence[Nodes], seen: _Seen, is_end: bool, path: Array | None) -> Array:
    total = np.zeros(3)
    for each in nodes:
        log_s = each.family.log_survival(seen.ages[:, None] - each.m, each.s)
        own = _own(each, log_s, seen, is_end, path)
        total += np.exp(np.maximum(log_s - own, _LEAST)) @ each.weight
    return total


def _own(nodes: Nodes, log_s: Array, seen: _Seen, is_end: bool, path: Array | None) -> Array:
    """Log likelihood of the life at each node, not below what still can be divided by."""
    entry, low, high = log_s
    if path is not None:
        density = nodes.family.log_density(_LATTICE[:, None] - nodes.m, nodes.s)
        value = np.log(np.exp(path - path.max()) @ np.exp(density) + 1e-300)
    elif not is_end:
        value = high
    elif seen.is_open:
        with np.errstate(divide="ignore", invalid="ignore"):
            value = low + np.log(-np.expm1(high - low))
    else:
        value = nodes.family.log_density(seen.ages[2] - nodes.m, nodes.s)
    return np.asarray(np.maximum(value - entry, value.max() - 30.0 - entry))

"""Strokes left where tables do not reach: tools far beyond all usual lives, one at a time.

The same law as from the tables, worked out in logs at points that close in on the levels asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.nodes import Nodes, log_survival
from duestroke.inference.tool import Alternative, ToolRecord

Array = NDArray[np.float64]

_FIRST: Final = np.linspace(-40.0, 12.0, 240)
"""Logs of strokes ahead, in the larger of the tool's age and the handbook life."""
_ROUNDS: Final = 4
_POINTS: Final = 60
_LEAST: Final = 1e-300
_TOLD: Final = 1e-12


def far_quantiles(
    seen: Sequence[Alternative], tool: ToolRecord, handbook_life: float, levels: Array
) -> Array:
    """Strokes left at the speed so far at levels in (0, 1), (levels,); readings are left out."""
    age = tool.age / handbook_life
    low = age if tool.good_at is None else tool.good_at / handbook_life
    scale = max(age, 1.0)
    at = _FIRST
    due, hazard = _hazard(seen, age, low, scale * np.exp(at))
    wanted = -np.log1p(-np.clip((levels - due) / max(1 - due, _LEAST), 0.0, 1 - 1e-15))
    closer = np.geomspace(max(wanted.min(), 1e-6), max(wanted.max(), 1e-3) * 1.2, _POINTS)
    for _ in range(_ROUNDS):
        more = _inverse(closer, hazard, at)
        at = np.unique(np.concatenate([at, more]))
        _, hazard = _hazard(seen, age, low, scale * np.exp(at))
    ahead = handbook_life * scale * np.exp(_inverse(wanted, hazard, at))
    return np.where(levels > due + 1e-12, ahead, 0.0)


def _inverse(wanted: Array, hazard: Array, at: Array) -> Array:
    """Where the cumulated hazard reaches what is wanted, on log-log scale."""
    told = np.flatnonzero(hazard > _TOLD)
    if not told.size:
        return np.full(wanted.size, at[-1])
    return np.interp(np.log(np.maximum(wanted, _LEAST)), np.log(hazard[told]), at[told])


def _hazard(
    seen: Sequence[Alternative], age: float, low: float, ahead: Array
) -> tuple[float, Array]:
    """Chance that the end is past, and the cumulated hazard of the others by each of `ahead`."""
    due, lasting = 0.0, np.zeros(ahead.size)
    for each in seen:
        gone, staying = _mode(each.life, age, low, each.q, ahead)
        if each.sudden is not None:
            staying = staying * _mode(each.sudden, age, age, 0.0, ahead)[1]
        due += each.weight * gone
        lasting += each.weight * staying
    rest = np.clip(lasting / max(1 - due, _LEAST), _LEAST, 1.0)
    return due, np.maximum.accumulate(-np.log(rest))


def _mode(
    laws: Sequence[Nodes], age: float, low: float, q: float, ahead: Array
) -> tuple[float, Array]:
    due, staying = 0.0, np.zeros(ahead.size)
    for nodes in laws:
        at_low, at_age = log_survival(nodes, np.array([low, age]))
        lasting = np.exp(at_age - at_low)
        gone = q * (1 - lasting) / np.maximum(q + (1 - q) * lasting, _LEAST)
        left = np.exp(np.minimum(log_survival(nodes, age + ahead) - at_age, 0.0))
        due += float((nodes.weight * gone).sum())
        staying += left @ (nodes.weight * (1 - gone))
    return due, staying

"""What is left of tools as curves: the cumulated hazard of the survivors against strokes ahead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_TOLD: Final = 1e-11
"""A cumulated hazard below this is rounding."""
_LEAST: Final = 1e-300


@dataclass(frozen=True)
class Curves:
    """Futures of n tools, each on its own g points.

    due: chance that the end has come already, unseen, (n,).
    ahead: strokes ahead in some unit, rising along a row, (n, g); below 0 where a point is past.
    hazard: cumulated hazard of those whose end is still to come, (n, g), rising; 0 at the past.
    wear: the part of it that is wear, where there is a sudden mode beside it.
    """

    due: Array
    ahead: Array
    hazard: Array
    wear: Array | None = None

    def quantiles(self, levels: Array) -> Array:
        """Strokes ahead at each level, (n, levels), 0 up to `due`; NaN where the curve ends."""
        later = levels[None, :] > self.due[:, None] + 1e-12
        with np.errstate(divide="ignore", invalid="ignore"):
            rest = (levels[None, :] - self.due[:, None]) / (1 - self.due[:, None])
            wanted = np.log(-np.log1p(-np.where(later, rest, 0.5)))
            x, y = np.log(self.hazard), np.log(self.ahead)
        first = np.argmax((self.hazard > _TOLD) & (self.ahead > 0), axis=1)
        ends = np.log(np.maximum(self.hazard[:, -1], _LEAST))
        out = np.zeros(later.shape)
        for row, start in enumerate(first.tolist()):
            found = np.interp(wanted[row], x[row, start:], y[row, start:])
            # Below the first point the hazard is steady: as much less time as chance.
            found += np.minimum(wanted[row] - x[row, start], 0.0)
            out[row] = np.where(wanted[row] > ends[row], np.nan, np.exp(found))
        return np.where(later, out, 0.0)

    def chance_of_wear(self, within: Array) -> Array:
        """Of the ends within `within` (n,), the part that comes by wear, (n,)."""
        assert self.wear is not None  # noqa: S101 - asked only where there are two modes
        worn = np.exp(-self.wear)
        sound = np.exp(-(self.hazard - self.wear))
        by_wear = _fallen(worn, sound)
        by_sudden = _fallen(sound, worn)
        rows = zip(within, self.ahead, by_wear, by_sudden, self.due, strict=True)
        return np.array([_share(*row) for row in rows])


def _fallen(own: Array, other: Array) -> Array:
    """Chance that `own` ends first by each point, (n, g); both are survivals."""
    before = np.ones((len(own), 1))
    own, other = np.hstack([before, own]), np.hstack([before, other])
    return np.asarray(np.cumsum(-np.diff(own) * (other[:, 1:] + other[:, :-1]) / 2, axis=1))


def _share(within: float, ahead: Array, wear: Array, sudden: Array, due: float) -> float:
    worn = due + (1 - due) * float(np.interp(within, ahead, wear))
    gone = (1 - due) * float(np.interp(within, ahead, sudden))
    return worn / (worn + gone) if worn + gone > 0 else 1.0


def mixed(curves: Sequence[Curves], weights: Array) -> Curves:
    """One future out of several ways to see it. weights: (ways, n), columns sum to 1.

    All curves on the points of the first.
    """
    if len(curves) == 1:
        return curves[0]
    ahead = curves[0].ahead
    due = sum((w * c.due for w, c in zip(weights, curves, strict=True)), np.zeros(len(ahead)))
    lasting = np.zeros(ahead.shape)
    for share, curve in zip(weights, curves, strict=True):
        lasting += (share * (1 - curve.due))[:, None] * np.exp(-_on(curve, ahead))
    with np.errstate(divide="ignore", invalid="ignore"):
        hazard = -np.log(np.clip(lasting / (1 - due)[:, None], _LEAST, 1.0))
    return Curves(due, ahead, np.maximum.accumulate(np.nan_to_num(hazard), axis=1))


def _on(curve: Curves, ahead: Array) -> Array:
    if curve.ahead is ahead:
        return curve.hazard
    rows = zip(ahead, curve.ahead, curve.hazard, strict=True)
    return np.array([np.interp(at, x, y) for at, x, y in rows])


def hazard_of(lasting: Array) -> Array:
    """Cumulated hazard of survivals (n, g) along a row; never falling."""
    return np.maximum.accumulate(-np.log(np.clip(lasting, _LEAST, 1.0)), axis=1)

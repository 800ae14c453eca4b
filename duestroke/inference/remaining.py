"""Remaining life of one tool: the posterior's families, conditioned on what the tool survived.

A tool of age `a` that was last found good at `l` has, under each parameter point, reached its end
unseen with chance `q (S(l) - S(a)) / (q S(l) + (1 - q) S(a))`; that is a mass at zero, "due now".
Otherwise its life exceeds `a`. The parameter points keep their posterior weight: the tool's own
survival is already among the lives of the fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator
from scipy.special import expit, logit

from duestroke.errors import BadField
from duestroke.inference.nodes import Nodes, log_survival
from duestroke.inference.table import SurvivalTable

Array = NDArray[np.float64]

_COARSE_POINTS: Final = 28
_FINE_POINTS: Final = 24
_ROUNDS: Final = 4
_MARGIN: Final = 0.3
_WIDE: Final = 6.0
"""A steep law rises within one coarse cell; knots over all levels find it there."""
_LEAST: Final = -16.0
_MOST_DOUBLINGS: Final = 40


class RemainingLife:
    """Law of the strokes that a tool has left.

    nodes: posterior, masses sum to 1 over all families.
    handbook_life: strokes, the unit of the nodes' log ages.
    age: strokes so far, >= 0.  good_at: age at which it was last found good, None: good now.
    q: share of failures that show only at an inspection, 0 to 1.
    table: survival under the same nodes, for quick quantiles.
    Raises BadField naming the argument.
    """

    def __init__(
        self,
        nodes: Sequence[Nodes],
        *,
        handbook_life: float,
        age: float,
        good_at: float | None,
        q: float,
        table: SurvivalTable | None = None,
    ) -> None:
        if not (np.isfinite(age) and age >= 0):
            raise BadField("age", age, "a number of strokes, 0 or more")
        low = age if good_at is None else good_at
        if not 0 <= low <= age:
            raise BadField("good_at", good_at, f"0 to age ({age}), or None")
        if not 0 <= q <= 1:
            raise BadField("q", q, "0 to 1")
        self._nodes, self._table, self._q = nodes, table, q
        self._unit, self._share, self._low = handbook_life, age / handbook_life, low / handbook_life

    @cached_property
    def _parts(self) -> list[_Part]:
        return [_Part.condition(n, self._low, self._share, self._q) for n in self._nodes]

    @property
    def due_now(self) -> float:
        """Chance that the end has come already, unseen."""
        return float(sum((part.weight * part.gone).sum() for part in self._parts))

    def chance_within(self, ahead: ArrayLike) -> Array:
        """Chance that the end comes within `ahead` strokes (>= 0, any shape); same shape.

        Never falls as `ahead` grows; at 0 it is `due_now`.
        """
        strokes = np.asarray(ahead, dtype=np.float64)
        if np.any(~(strokes >= 0)):
            raise BadField("ahead", ahead, "numbers of strokes, 0 or more")
        later = self._share + strokes.ravel() / self._unit
        total = sum((part.ended_by(later) for part in self._parts), np.zeros(strokes.size))
        return np.clip(total, 0.0, 1.0).reshape(strokes.shape)

    def quantiles(self, levels: ArrayLike) -> Array:
        """Strokes within which the end comes with chance `level`, each in (0, 1); same shape.

        Free of random error; never falls as the level grows; 0 up to `due_now`.
        """
        asked = np.asarray(levels, dtype=np.float64)
        if np.any(~((asked > 0) & (asked < 1))):
            raise BadField("levels", levels, "between 0 and 1, both excluded")
        if self._table is not None:
            found = self._table.remaining_quantiles(self._share, self._low, self._q, asked.ravel())
            if found is not None:
                return (found * self._unit).reshape(asked.shape)
        out = np.zeros(asked.size)
        later = asked.ravel() > self.due_now + 1e-12
        if later.any():
            out[later] = self._invert(asked.ravel()[later])
        return out.reshape(asked.shape)

    def draws(self, count: int, rng: np.random.Generator) -> Array:
        """Independent-order draws of the remaining strokes, shape (count,); 0: due now.

        Stratified over parameter points and over chances, so that few draws go far.
        """
        mass = np.concatenate([part.weight for part in self._parts])
        steps = (np.arange(count) + rng.random()) / count * mass.sum()
        place = np.minimum(np.searchsorted(np.cumsum(mass), steps, side="right"), mass.size - 1)
        chance = (rng.permutation(count) + rng.uniform(1e-12, 1.0, count)) / count
        pick = rng.uniform(1e-300, 1.0, count)
        out = np.empty(count)
        start = 0
        for part in self._parts:
            mine = (place >= start) & (place < start + part.weight.size)
            out[mine] = part.draw(place[mine] - start, chance[mine], pick[mine], self._share)
            start += part.weight.size
        return rng.permutation(out) * self._unit

    def _invert(self, levels: Array) -> Array:
        """Invert the mixture on knots in log remaining strokes, dense where the levels lie."""
        # Beyond the mass at zero, so that the logit scale has no corner there.
        gone = self.due_now
        wanted = (levels - gone) / (1 - gone)
        lowest = min(logit(wanted.min()), -_WIDE) - _MARGIN
        highest = max(logit(wanted.max()), _WIDE) + _MARGIN
        spaced = expit(np.linspace(lowest, highest, _ROUNDS * _FINE_POINTS))
        at = np.linspace(_LEAST, self._beyond(float(levels.max())), _COARSE_POINTS)
        reached = self._later(at, gone)
        for start in range(_ROUNDS):
            more = np.interp(spaced[start::_ROUNDS], reached, at)
            at, places = np.unique(np.concatenate([at, more]), return_index=True)
            reached = np.concatenate([reached, self._later(more, gone)])[places]
            reached = np.maximum.accumulate(reached)
        return self._unit * np.exp(_inverse(reached, at, wanted))

    def _later(self, log_share: Array, gone: float) -> Array:
        """Chance that the end comes within each log share, given that it has not come."""
        return (self.chance_within(np.exp(log_share) * self._unit) - gone) / (1 - gone)

    def _beyond(self, level: float) -> float:
        top = 2.0
        for _ in range(_MOST_DOUBLINGS):
            if float(self.chance_within(np.exp(top) * self._unit)) > level:
                break
            top += 2.0
        return top


@dataclass(frozen=True)
class _Part:
    """One family given what the tool survived; `gone` is the chance of an unseen end, (n,)."""

    nodes: Nodes
    weight: Array
    gone: Array
    at_age: Array

    @staticmethod
    def condition(nodes: Nodes, low: float, age: float, q: float) -> _Part:
        at_age = log_survival(nodes, np.array([age]))[0]
        gone = np.zeros_like(at_age)
        if low < age and q > 0:
            at_low = log_survival(nodes, np.array([low]))[0]
            lasting = np.exp(at_age - at_low)
            gone = q * (1 - lasting) / (q + (1 - q) * lasting)
        return _Part(nodes, nodes.weight, gone, at_age)

    def ended_by(self, ages: Array) -> Array:
        """Chance, weighted by the nodes, that the end came by each age; shape of `ages`."""
        lasting = np.exp(np.minimum(log_survival(self.nodes, ages) - self.at_age, 0.0))
        staying = self.weight * (1 - self.gone)
        return np.asarray(self.weight.sum() - np.einsum("n,an->a", staying, lasting))

    def draw(self, place: NDArray[np.intp], chance: Array, pick: Array, age: float) -> Array:
        """Remaining life as a share of the handbook life, one for each node index."""
        m, s, gone = self.nodes.m[place], self.nodes.s[place], self.gone[place]
        is_later = chance > gone
        rest = np.where(is_later, (chance - gone) / np.where(is_later, 1 - gone, 1.0), 0.5)
        rest = np.minimum(rest, 1 - 1e-16)
        u = self.nodes.family.life_beyond(_log(age) - m, s, rest, pick)
        return np.where(is_later, np.maximum(np.exp(m + u) - age, 0.0), 0.0)


def _log(share: float) -> float:
    return float(np.log(share)) if share > 0 else -np.inf


def _inverse(reached: Array, at: Array, levels: Array) -> Array:
    """`at` where `reached` equals each level, by monotone interpolation on the logit scale."""
    inside = (reached > 0) & (reached < 1)
    scale = logit(reached[inside])
    knots, first = np.unique(scale.round(9), return_index=True)
    places = at[inside][first]
    if knots.size < 2:
        return np.full(levels.size, at[min(int(np.searchsorted(reached, 0.5)), at.size - 1)])
    found = PchipInterpolator(knots, places)(np.clip(logit(levels), knots[0], knots[-1]))
    return np.asarray(found, dtype=np.float64)

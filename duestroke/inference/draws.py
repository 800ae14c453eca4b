"""Life laws drawn from the posterior of a place: for bands and intervals of whatever follows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.families import Family
from duestroke.inference.nodes import Nodes
from duestroke.inference.tool import Alternative

Array = NDArray[np.float64]

DRAWS: Final = 500
_HALVINGS: Final = 24
"""A bracket of forty in log life shrinks to 2e-6."""


@dataclass(frozen=True)
class _Part:
    """Laws of one family, or of one family of wear and one of sudden failure: (n,) each."""

    life: tuple[Family, Array, Array]
    sudden: tuple[Family, Array, Array] | None

    @property
    def size(self) -> int:
        return int(self.life[1].size)


@dataclass(frozen=True)
class LawDraws:
    """Equally likely laws of the life of one tool, or of its two modes.

    unit: strokes, the handbook life.
    """

    parts: tuple[_Part, ...]
    unit: float

    @staticmethod
    def of(
        alternatives: Sequence[Alternative],
        unit: float,
        rng: np.random.Generator,
        count: int = DRAWS,
    ) -> LawDraws:
        """Stratified draws: as even over the nodes as their number allows."""
        shares = np.array([each.weight for each in alternatives])
        counts = np.floor(np.cumsum(shares / shares.sum()) * count + 0.5).astype(int)
        parts: list[_Part] = []
        for each, number in zip(alternatives, np.diff(counts, prepend=0), strict=True):
            if number:
                parts += _parts(each, int(number), rng)
        return LawDraws(tuple(parts), unit)

    @property
    def has_modes(self) -> bool:
        """Whether any of the laws tells wear from sudden failure."""
        return any(part.sudden is not None for part in self.parts)

    def survival(self, strokes: Array, mode: str | None = None) -> Array:
        """Survival to each age (k,) under each law, (k, n).

        mode: `wear` or `sudden`, alone, over those laws that tell them apart; None: of all ends.
        """
        with np.errstate(divide="ignore"):  # age 0 is -inf on purpose
            x = np.log(np.asarray(strokes, dtype=np.float64) / self.unit)[:, None]
        return np.concatenate([np.exp(_log_survival(p, x, mode)) for p in self._with(mode)], axis=1)

    def quantile(self, chance: float, mode: str | None = None) -> Array:
        """Life, strokes, by which the end came with `chance`, under each law, (n,), by halving."""
        target = np.log1p(-chance)
        found = []
        for part in self._with(mode):
            low, high = _bracket(part, mode)
            for _ in range(_HALVINGS):
                middle = (low + high) / 2
                early = _log_survival(part, middle[None, :], mode)[0] > target
                low, high = np.where(early, middle, low), np.where(early, high, middle)
            found.append(self.unit * np.exp((low + high) / 2))
        return np.concatenate(found)

    def _with(self, mode: str | None) -> list[_Part]:
        return [part for part in self.parts if mode is None or part.sudden is not None]


def _bracket(part: _Part, mode: str | None) -> tuple[Array, Array]:
    """Log lives between which all usual chances lie."""
    _, m, s = part.life
    if part.sudden is None or mode == "wear":
        return m - 12 * s - 5, m + 12 * s
    _, other_m, other_s = part.sudden
    if mode == "sudden":
        return other_m - 12 * other_s - 5, other_m + 12 * other_s
    first = np.minimum(m - 12 * s - 5, other_m - 12 * other_s - 5)
    return first, np.minimum(m + 12 * s, other_m + 12 * other_s)


def _parts(seen: Alternative, count: int, rng: np.random.Generator) -> list[_Part]:
    life = _Laws.drawn(seen.life, count, rng)
    if seen.sudden is None:
        return [_Part(one, None) for one, _ in life.by_family(np.arange(count))]
    sudden = _Laws.drawn(seen.sudden, count, rng)
    pairing = rng.permutation(count)
    return [
        _Part((wear, m[mine], s[mine]), other)
        for (wear, m, s), rows in life.by_family(np.arange(count))
        for other, mine in sudden.by_family(pairing[rows])
    ]


@dataclass(frozen=True)
class _Laws:
    """Drawn laws, (n,) each: which of the families, log median, spread."""

    families: tuple[Family, ...]
    family: NDArray[np.intp]
    m: Array
    s: Array

    @staticmethod
    def drawn(nodes: Sequence[Nodes], count: int, rng: np.random.Generator) -> _Laws:
        """As even over the nodes as can be, and anywhere in the cell about each."""
        reached = np.cumsum(np.concatenate([each.weight for each in nodes]))
        steps = (np.arange(count) + rng.random()) / count * reached[-1]
        place = np.minimum(np.searchsorted(reached, steps, side="right"), reached.size - 1)
        family = np.repeat(np.arange(len(nodes)), [each.m.size for each in nodes])
        m = np.concatenate([each.m for each in nodes])
        log_s = np.log(np.concatenate([each.s for each in nodes]))
        return _Laws(
            tuple(each.family for each in nodes),
            family[place],
            m[place] + _cell(m) * (rng.random(count) - 0.5),
            np.exp(log_s[place] + _cell(log_s) * (rng.random(count) - 0.5)),
        )

    def by_family(
        self, rows: NDArray[np.intp]
    ) -> Iterator[tuple[tuple[Family, Array, Array], NDArray[np.intp]]]:
        """The laws of these rows, family by family, and where among the rows they stand."""
        for k, family in enumerate(self.families):
            mine = np.flatnonzero(self.family[rows] == k)
            if mine.size:
                own = rows[mine]
                yield (family, self.m[own], self.s[own]), mine


def _cell(values: Array) -> float:
    """Step of an even lattice that the values lie on; 0 for one value."""
    apart = np.diff(np.unique(values.round(9)))
    return float(apart.min()) if apart.size else 0.0


def _log_survival(part: _Part, x: Array, mode: str | None) -> Array:
    family, m, s = part.life
    if mode == "sudden" or part.sudden is None:
        if part.sudden is not None:
            family, m, s = part.sudden
        return family.log_survival(x - m, s)
    wear = family.log_survival(x - m, s)
    if mode == "wear":
        return wear
    other, other_m, other_s = part.sudden
    return wear + other.log_survival(x - other_m, other_s)

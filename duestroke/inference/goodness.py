"""How well a family fits: distance from the step curve, judged by lives drawn from the fitted law.

A table of critical values holds for complete samples. Here lives are censored, first seen late and
found worn at inspections, so the distance is compared with that of samples drawn from the fitted
law, cut off in the same ways and fitted anew (parametric bootstrap).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.errors import BadField
from duestroke.inference.curves import anderson_darling, squared_distance, step_curve
from duestroke.inference.families import Lognormal, Weibull
from duestroke.inference.law import Law
from duestroke.inference.maximum import maximum_likelihood
from duestroke.inference.observations import CENSORED, EXACT, INTERVAL, UNSEEN, Observations

Array = NDArray[np.float64]
Places = NDArray[np.intp]

MOST_REPLICATES: Final = 199
LEAST_REPLICATES: Final = 39
_LIVES_DRAWN: Final = 15_000
_STEP: Final = 1e-3
_ROUNDS: Final = 12
_NEVER: Final = np.inf


@dataclass(frozen=True)
class Goodness:
    """Anderson-Darling distance of a family at its most likely law.

    chance: share of samples from that law that lie as far or farther; small speaks against it.
    replicates: how many samples that rests on.
    """

    distance: float
    chance: float
    replicates: int


def goodness_of_fit(
    observations: Observations, family: Weibull | Lognormal, rng: np.random.Generator
) -> Goodness:
    """Distance and its bootstrap chance; up to 199 samples, fewer with many lives.

    Each sample keeps every life's first sight and the age at which it stopped being watched; for a
    life that ended, that age is drawn from the product-limit law of the others' watching. Ends
    hidden until an inspection keep the share and the gaps of the record.
    Source: Efron 1981, J. Am. Stat. Assoc. 76, 312-319 (censored samples); Davison and Hinkley
    1997, Bootstrap Methods and their Application, section 4.2.3 (from memory).
    Raises BadField when the family has no most likely law.
    """
    fitted = maximum_likelihood(observations, family)
    distance = anderson_darling(fitted.law, observations)
    count = int(np.clip(_LIVES_DRAWN // observations.lives, LEAST_REPLICATES, MOST_REPLICATES))
    samples = _Samples.draw(observations, fitted.law, count, rng)
    distances = samples.distances()
    if not distances.size:
        raise BadField("observations", "too few failures", "failures at different ages")
    farther = int(np.count_nonzero(distances >= distance))
    return Goodness(distance, (farther + 1) / (distances.size + 1), int(distances.size))


@dataclass(frozen=True)
class _Samples:
    """Drawn lives, arrays of shape (samples, lives), ages in medians of the law drawn from."""

    family: Weibull | Lognormal
    spread: float
    q: float
    code: NDArray[np.int8]
    low: Array
    high: Array
    entry: Array

    @staticmethod
    def draw(
        observations: Observations, law: Law, count: int, rng: np.random.Generator
    ) -> _Samples:
        unit, size = law.median, observations.lives
        entry = np.broadcast_to(observations.entry / unit, (count, size))
        chance = rng.uniform(1e-12, 1 - 1e-12, (count, size))
        life = (law.remaining_quantile(observations.entry, chance) + observations.entry) / unit
        watched = _watched_until(observations, count, rng) / unit
        q, gaps = observations.unseen_share, _gaps(observations) / unit
        hidden = np.zeros((count, size), dtype=bool)
        low = high = life
        if gaps.size:
            hidden = rng.random((count, size)) < q
            gap, part = rng.choice(gaps, (count, size)), rng.random((count, size))
            low = np.maximum(np.where(hidden, life - (1 - part) * gap, life), entry)
            high = np.where(hidden, life + part * gap, life)
        running = np.broadcast_to(observations.code == UNSEEN, (count, size))
        code, low, high = _as_recorded(life, low, high, watched, hidden, running)
        return _Samples(law.family, law.spread, q, code, low, high, entry)

    def distances(self) -> Array:
        """Anderson-Darling distance of each sample from its own most likely law."""
        m, log_s, found = self._most_likely()
        told = []
        for k in np.flatnonzero(found):
            law = Law(self.family, float(np.exp(m[k])), float(np.exp(log_s[k])))
            told.append(self._distance(int(k), law))
        return np.array(told)

    def _distance(self, k: int, law: Law) -> float:
        each = Observations(self.code[k], self.low[k], self.high[k], self.entry[k], self.entry[k])
        curve = step_curve(each)
        reached = np.clip(1 - law.survival(curve.age), 1e-300, 1 - 1e-16)
        return each.lives * squared_distance(1 - curve.survival, reached)

    def _most_likely(self) -> tuple[Array, Array, NDArray[np.bool_]]:
        """Log medians and log spreads by Newton's method for all samples at once, (samples,)."""
        terms = _Terms.of(self)
        at = np.tile([0.0, np.log(self.spread)], (len(self.code), 1))
        move = np.zeros_like(at)
        for _ in range(_ROUNDS):
            move = terms.newton_step(at)
            at = at + move
            if np.abs(move).max() < 1e-5:
                break
        ends = (self.code <= INTERVAL).sum(axis=1)
        found = (np.abs(move).max(axis=1) < 1e-2) & (ends >= 2) & np.isfinite(at).all(axis=1)
        return at[:, 0], at[:, 1], found


def _as_recorded(
    life: Array,
    low: Array,
    high: Array,
    watched: Array,
    hidden: NDArray[np.bool_],
    running: NDArray[np.bool_],
) -> tuple[NDArray[np.int8], Array, Array]:
    """Codes and ages as a record would show drawn lives that are watched up to an age.

    A tool pulled for another reason is looked at on the bench, a running one is not.
    """
    ended = life <= watched
    found = ended & (~running | (high <= watched))
    code = np.where(hidden, INTERVAL, EXACT)
    last_good = np.where(hidden & ended, np.minimum(low, watched), watched)
    code = np.where(found, code, np.where(running & hidden, UNSEEN, CENSORED)).astype(np.int8)
    seen_high = np.where(found, np.minimum(high, watched), watched)
    seen_low = np.where(found, np.minimum(low, seen_high), last_good)
    return code, seen_low, seen_high


def _gaps(observations: Observations) -> Array:
    """Strokes between the inspections about the ends that were found at one."""
    rows = observations.code == INTERVAL
    return np.asarray((observations.high - observations.low)[rows])


def _watched_until(observations: Observations, count: int, rng: np.random.Generator) -> Array:
    """Ages at which lives stop being watched: their own, or drawn beyond their end, (count, n)."""
    ended = observations.code <= INTERVAL
    until = np.tile(observations.high, (count, 1))
    age, stopped = np.unique(observations.high[~ended], return_counts=True)
    if not age.size:
        until[:, ended] = _NEVER
        return until
    # A life that ended at an age was gone before others stopped being watched at it.
    beyond = np.where(ended, observations.high > age[:, None], observations.high >= age[:, None])
    there = beyond & (observations.entry < age[:, None])
    lasting = np.cumprod(1 - stopped / np.maximum(there.sum(axis=1), stopped))
    at_end = np.concatenate([[1.0], lasting])[
        np.searchsorted(age, observations.high[ended], "right")
    ]
    level = at_end * rng.random((count, int(ended.sum())))
    place = np.searchsorted(-lasting, -level, side="left")
    until[:, ended] = np.append(age, _NEVER)[place]
    return until


@dataclass(frozen=True)
class _Terms:
    """Log ages of all samples by their contribution, with the sample of each."""

    family: Weibull | Lognormal
    q: float
    samples: int
    exact: tuple[Array, Places]
    survived: tuple[Array, Places]
    entered: tuple[Array, Places]
    between: tuple[Array, Array, Places]
    unseen: tuple[Array, Array, Places]

    @staticmethod
    def of(drawn: _Samples) -> _Terms:
        with np.errstate(divide="ignore"):  # age 0 is -inf on purpose
            low, high, entry = np.log(drawn.low), np.log(drawn.high), np.log(drawn.entry)

        def where(rows: NDArray[np.bool_]) -> Places:
            return np.nonzero(rows)[0]

        exact, survived = drawn.code == EXACT, drawn.code == CENSORED
        between, unseen, entered = drawn.code == INTERVAL, drawn.code == UNSEEN, drawn.entry > 0
        return _Terms(
            drawn.family,
            drawn.q,
            len(drawn.code),
            (high[exact], where(exact)),
            (high[survived], where(survived)),
            (entry[entered], where(entered)),
            (low[between], high[between], where(between)),
            (low[unseen], high[unseen], where(unseen)),
        )

    def newton_step(self, at: Array) -> Array:
        """One step for each sample from (log median, log spread), at most a half in each."""
        h = _STEP
        here = self._at(at)
        value = {}
        for i, j in ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1)):
            value[i, j] = self._at(at + h * np.array([i, j]))
        slope_m, slope_s = value[1, 0] - value[-1, 0], value[0, 1] - value[0, -1]
        mm = value[1, 0] + value[-1, 0] - 2 * here
        ss = value[0, 1] + value[0, -1] - 2 * here
        ms = (value[1, 1] + value[-1, -1] - 2 * here - mm - ss) / 2
        det = mm * ss - ms**2
        safe = np.where((det > 0) & (mm < 0), det, np.inf)
        step = np.stack([ms * slope_s - ss * slope_m, ms * slope_m - mm * slope_s], axis=1)
        newton = step / safe[:, None] * h / 2
        uphill = 0.2 * np.sign(np.stack([slope_m, slope_s], axis=1))
        move = np.where(np.isfinite(safe)[:, None], newton, uphill)
        return np.clip(move, -0.5, 0.5)

    def _at(self, at: Array) -> Array:
        """Log likelihood of each sample at its (log median, log spread)."""
        m, s = at[:, 0], np.exp(np.clip(at[:, 1], -5, 4))
        family = self.family

        def survival(x: Array, rows: Places) -> Array:
            return family.log_survival(x - m[rows], s[rows])

        total = self._sum(
            family.log_density(self.exact[0] - m[self.exact[1]], s[self.exact[1]]), self.exact[1]
        )
        total += self._sum(survival(*self.survived), self.survived[1])
        total -= self._sum(np.maximum(survival(*self.entered), -30.0), self.entered[1])
        low, high, rows = self.between
        first, last = survival(low, rows), survival(high, rows)
        with np.errstate(divide="ignore", invalid="ignore"):
            total += self._sum(first + np.log(-np.expm1(last - first)), rows)
        low, high, rows = self.unseen
        first, last = survival(low, rows), survival(high, rows)
        total += self._sum(first + np.log(self.q + (1 - self.q) * np.exp(last - first)), rows)
        return total

    def _sum(self, values: Array, rows: Places) -> Array:
        total = np.bincount(rows, np.maximum(values, -1e6), self.samples)
        return total.astype(np.float64)

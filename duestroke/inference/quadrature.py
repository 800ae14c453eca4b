"""Posterior of one mode with groups and exponents, by quadrature over all of them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.effects import Exponents
from duestroke.inference.families import Family
from duestroke.inference.lattice import Axis
from duestroke.inference.locate import LEAST_SPREAD, LogPrior, Place, locate
from duestroke.inference.pooled import Pooled, PooledFamily, Slice
from duestroke.inference.pooling import (
    NO_GROUPS,
    SCALES,
    Cells,
    Grouping,
    GroupLikelihood,
    Groups,
    Scale,
    Sums,
    kernel,
    scale_masses,
)
from duestroke.inference.prior import Prior
from duestroke.inference.relative import Told
from duestroke.inference.rows import Rows, covering, rows_on

Array = NDArray[np.float64]

_SPREADS: Final = 22
_MEDIANS: Final = 32
_ROOM: Final = 1.1
"""Own medians of groups are looked for within this of the population's: a factor of three."""
_STEPS: Final = (0.02, 0.1)
_STEPS_A_SPREAD: Final = 0.4
_LESS_WITHIN: Final = 0.7
"""Within groups the spread may be less by this than over all of them."""
_FAMILY_LEFT_OUT: Final = 1e-3
_SLICE_LEFT_OUT: Final = 1e-4
_EDGE: Final = 1e-3
_MOST_ROUNDS: Final = 4
_WIDE_POINTS: Final = 21
_POINTS: Final = 9
_SDS: Final = 3.2
_FEWEST: Final = 6


@dataclass(frozen=True)
class Question:
    """What a mode is fitted to, and under which prior.

    z: log covariate of the rate exponent.  number: reworks before each life.
    kinds: chance of each grouping before any life, those that the lives hold.
    """

    told: Told
    z: Array
    number: Array
    families: Mapping[Family, float]
    log_prior: LogPrior
    rate: Exponents
    number_effect: Exponents
    groups: Mapping[Grouping, Groups]
    kinds: Mapping[Grouping, float]
    prior: Prior
    failures: int


def pool(question: Question) -> Pooled:
    """Posterior of one mode.

    The lives' ages in `told` are already at the prior mean of the rate exponent.
    """
    place = locate(question.told, question.families, question.log_prior)
    work = _Work.about(replace(question, families=_alive(question, place)), place)
    for _ in range(_MOST_ROUNDS):
        widened = work.widened()
        if widened is None:
            break
        work = widened
    return work.posterior()


def _alive(question: Question, place: Place) -> dict[Family, float]:
    best = max(place.log_evidence.values())
    least = best + math.log(_FAMILY_LEFT_OUT)
    return {
        family: weight
        for family, weight in question.families.items()
        if place.log_evidence[family.name] > least
    }


@dataclass(frozen=True)
class _Work:
    """Lattices and sums on the way to a posterior."""

    question: Question
    m: Axis
    log_s: Array
    ranges: Mapping[Grouping, tuple[float, float]]
    sums: Mapping[str, Mapping[Grouping, Sums]]
    rate: Exponents
    number: Exponents

    @staticmethod
    def about(question: Question, place: Place) -> _Work:
        low, high = place.log_s
        least = place.least_log_s
        if any(kind != "none" for kind in question.kinds):
            low = max(low + math.log(_LESS_WITHIN), math.log(LEAST_SPREAD))
            least += math.log(_LESS_WITHIN)
        log_s = np.linspace(low, high, _SPREADS)
        step = float(np.clip(_STEPS_A_SPREAD * math.exp(least), *_STEPS))
        ranges = {kind: _first_range(question, kind, place) for kind in question.kinds}
        return _Work._laid(question, step, log_s, ranges)

    @staticmethod
    def _laid(
        question: Question,
        step: float,
        log_s: Array,
        ranges: Mapping[Grouping, tuple[float, float]],
    ) -> _Work:
        room = _most_shift(question) + (_ROOM if len(ranges) > 1 else 0.0) + 2 * step
        m = Axis.over(
            min(low for low, _ in ranges.values()) - room,
            max(high for _, high in ranges.values()) + room,
            step,
        )
        rows = rows_on(question.told, covering([question.told], m))
        sums = {
            family.name: _sums(question, family, rows, m, np.exp(log_s), ranges)
            for family in question.families
        }
        bare = _Work(question, m, log_s, ranges, sums, question.rate, question.number_effect)
        return bare._with_exponents()

    def _with_exponents(self) -> _Work:
        """Points of the rate exponent where its weight is, and the posterior of the number's."""
        rate, number = self.rate, self.number
        if rate.varies:
            wide = rate.about(rate.mean, math.inf, _WIDE_POINTS)
            found = wide.weighted(np.array([self._evidence(g, 0.0) for g in wide.points]))
            reach = _SDS * math.hypot(found.open_sd, self._sd_of_rate_by_press())
            rate = rate.about(found.centre, reach, _POINTS)
        if number.varies:
            centre = found.centre if rate.varies else rate.mean
            wide = number.about(0.0, math.inf, _WIDE_POINTS)
            found = wide.weighted(np.array([self._evidence(centre, c) for c in wide.points]))
            number = number.about(found.centre, _SDS * found.open_sd, _POINTS)
            number = number.weighted(np.array([self._evidence(centre, c) for c in number.points]))
        return replace(self, rate=rate, number=number)

    def _evidence(self, g: float, c: float) -> float:
        """Log evidence of exponents without groups, up to a constant."""
        at = self._medians("none")
        return float(
            np.logaddexp.reduce(
                [
                    np.logaddexp.reduce((self._prior(at) + self._total(name, g, c, at)).ravel())
                    + math.log(weight)
                    for name, weight in self._weights()
                ]
            )
        )

    def _sd_of_rate_by_press(self) -> float:
        """How far own medians of the presses would leave the exponent open."""
        groups = self.question.groups.get("press")
        if groups is None or "press" not in self.question.kinds:
            return 0.0
        own = groups.of >= 0
        counts = np.bincount(groups.of[own], minlength=len(groups.labels))
        mean = np.bincount(groups.of[own], self.question.z[own], counts.size) / np.maximum(
            counts, 1
        )
        spread = float(np.std(mean)) * math.sqrt(counts.size)
        return min(0.2 / max(spread, 1e-9), self.rate.scale)

    def _weights(self) -> Iterable[tuple[str, float]]:
        return ((family.name, weight) for family, weight in self.question.families.items())

    def _medians(self, kind: Grouping) -> Array:
        return np.linspace(*self.ranges[kind], _MEDIANS)

    def _prior(self, at: Array) -> Array:
        return self.question.log_prior(at, np.exp(self.log_s)[:, None])

    def _total(self, family: str, g: float, c: float, at: Array) -> Array:
        return self.sums[family]["none"].total(g - self.question.rate.mean, c, at)

    def logs(self, rate: Exponents) -> dict[tuple[str, Grouping, Scale, float], Array]:
        """Log posterior mass up to one constant, (s, p): family, grouping, scale, exponent."""
        c, out = self.number.centre, {}
        for family, weight in self.question.families.items():
            for kind, chance in self.question.kinds.items():
                at = self._medians(kind)
                area = (at[1] - at[0]) * (self.log_s[1] - self.log_s[0])
                base = self._prior(at) + math.log(weight * chance * area)
                for g, mass in zip(rate.points, rate.mass, strict=True):
                    for scale, log_value in self._under(family.name, kind, g, c, at):
                        value = base + log_value + math.log(mass)
                        out[family.name, kind, scale, float(g)] = value
        return out

    def _under(
        self, family: str, kind: Grouping, g: float, c: float, at: Array
    ) -> Iterator[tuple[Scale, Array]]:
        if kind == "none":
            yield NO_GROUPS, self._total(family, g, c, at)
            return
        shift = g - self.question.rate.mean
        said = GroupLikelihood.of(self.sums[family][kind], shift, c, at)
        for scale, mass in zip(SCALES, scale_masses(self.question.prior.group_scale), strict=True):
            yield scale, said.log_population(kernel(self.m, at, scale)) + math.log(mass)

    def widened(self) -> _Work | None:
        """Laid anew where weight lies on an edge or fills but a few points; None: it is well."""
        central = self.rate.about(self.rate.centre, 0.0, 1)
        logs = self.logs(replace(central, mass=np.ones(1)))
        ranges = {
            kind: _fitting(
                *self.ranges[kind],
                _profile([v for key, v in logs.items() if key[1] == kind], axis=0),
                (-math.inf, math.inf),
            )
            for kind in self.ranges
        }
        by_kind = [v for kind in self.ranges for v in _marginals(logs, kind)]
        share = _profile(by_kind, axis=1)
        low, high = _fitting(
            float(self.log_s[0]),
            float(self.log_s[-1]),
            share,
            (math.log(LEAST_SPREAD), math.inf),
        )
        same_s = (low, high) == (float(self.log_s[0]), float(self.log_s[-1]))
        if same_s and ranges == dict(self.ranges):
            return None
        inside = self.m.low < min(a for a, _ in ranges.values()) - 2 * self.m.step
        inside = inside and self.m.high > max(b for _, b in ranges.values()) + 2 * self.m.step
        if same_s and inside:
            return replace(self, ranges=ranges)._with_exponents()
        return _Work._laid(
            self.question, self.m.step * 0.8, np.linspace(low, high, _SPREADS), ranges
        )

    def posterior(self) -> Pooled:
        """The posterior on these lattices."""
        question = self.question
        logs = self.logs(self.rate)
        top = max(float(value.max()) for value in logs.values())
        masses = {key: np.exp(value - top) for key, value in logs.items()}
        total = sum(float(mass.sum()) for mass in masses.values())
        least = _SLICE_LEFT_OUT * total / len(masses)
        kept = {key: mass for key, mass in masses.items() if float(mass.sum()) > least}
        kept_total = sum(float(mass.sum()) for mass in kept.values())
        families = tuple(
            PooledFamily(
                family,
                np.exp(self.log_s),
                self.sums[family.name],
                tuple(
                    Slice(kind, scale, g, self._medians(kind), mass / kept_total)
                    for (name, kind, scale, g), mass in kept.items()
                    if name == family.name
                ),
            )
            for family in question.families
        )
        used = question.told.used
        mean_number = float(question.number[used].mean()) if used.any() else 0.0
        found = Pooled(
            tuple(one for one in families if one.slices),
            self.m,
            question.groups,
            self.rate,
            self.number,
            question.rate.mean,
            mean_number,
            top + math.log(total * self.rate.inside),
            question.told.q,
            question.failures,
        )
        return replace(found, rate=replace(self.rate, mass=found.rate_mass()))


def _sums(
    question: Question,
    family: Family,
    rows: Rows,
    m: Axis,
    s: Array,
    kinds: Iterable[Grouping],
) -> dict[Grouping, Sums]:
    out: dict[Grouping, Sums] = {}
    used = question.told.used
    for kind in kinds:
        groups = question.groups.get(kind, Groups.everyone(used.size))
        cells = Cells.of(groups, question.z, question.number, used)
        out[kind] = Sums(cells, m, rows.log_likelihood(family, m, s, cells.gather))
    return out


def _first_range(question: Question, kind: Grouping, place: Place) -> tuple[float, float]:
    if kind == "none":
        return place.m
    count = max(len(question.groups[kind].labels), 1)
    room = min(1.5 / math.sqrt(count), _ROOM)
    return place.m[0] - room, place.m[1] + room


def _most_shift(question: Question) -> float:
    rate = question.rate
    reach = 2.8 * rate.scale if rate.varies else 0.0
    z = float(np.abs(question.z).max(initial=0.0)) + 0.01
    number = float(question.number.max(initial=0.0)) if question.number_effect.varies else 0.0
    return reach * z + 2.8 * question.number_effect.scale * number


def _marginals(
    logs: Mapping[tuple[str, Grouping, Scale, float], Array], kind: Grouping
) -> list[Array]:
    """Those of one grouping, whose columns fit together, as one."""
    some = [value for key, value in logs.items() if key[1] == kind]
    return [np.logaddexp.reduce(np.array(some))] if some else []


def _profile(values: Sequence[Array], axis: int) -> Array:
    """Share of the mass along one axis of the sum of equally shaped log masses."""
    top = max(float(value.max()) for value in values)
    mass = sum(np.exp(value - top) for value in values)
    share = np.asarray(mass).sum(axis=axis)
    return np.asarray(share / share.sum())


def _fitting(
    low: float, high: float, share: Array, bounds: tuple[float, float]
) -> tuple[float, float]:
    """The range widened where mass lies on its edge, or narrowed to where the mass is."""
    width = high - low
    below, above = share[0] > _EDGE, share[-1] > _EDGE
    if below or above:
        low = max(low - 0.6 * width, bounds[0]) if below else low
        high = min(high + 0.6 * width, bounds[1]) if above else high
        return low, high
    near = np.flatnonzero(share > 1e-7 * share.max())
    if near.size >= _FEWEST:
        return low, high
    points = np.linspace(low, high, share.size)
    first, last = max(near[0] - 1, 0), min(near[-1] + 1, share.size - 1)
    return float(points[first]), float(points[last])

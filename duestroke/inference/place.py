"""All that the lives of one kind at one position say: the posterior behind every forecast of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from duestroke.errors import BadField
from duestroke.inference.compared import Compared, compare
from duestroke.inference.effects import Effect, exponents
from duestroke.inference.fit import MODEL_VERSION, check_handbook, fit
from duestroke.inference.joined import joined
from duestroke.inference.laws import PlainLaw
from duestroke.inference.modes import is_told_by_readings, mode_of
from duestroke.inference.own import Conditions
from duestroke.inference.pooled import Pooled
from duestroke.inference.posterior import Interval, Posterior
from duestroke.inference.prior import Prior
from duestroke.inference.told import Seen, parameters, sudden_share
from duestroke.inference.tool import Alternative, ToolRecord
from duestroke.inference.ways import Setting, Way, reference_speed, ways
from duestroke.inference.wear import WearPaths
from duestroke.lives import Life
from duestroke.names import DEFAULT_SPREAD

Array = NDArray[np.float64]

_LEAST_WAY: Final = 1e-3
"""A way to see the place with less weight than this is left out."""
_SPEED_STEP: Final = 200
_ROUGHNESS_STEP: Final = 500
_TELLING_SHARE: Final = 0.3
_LEAST_PATH_SPREAD: Final = 0.5


@dataclass(frozen=True)
class Modes:
    """How wear and sudden failure are told apart.

    two_modes: posterior chance that they are two laws.  worn, sudden: failures by mode.
    sudden_share: part of the ends of new tools that will be sudden, left to run; None: one law.
    """

    two_modes: float
    worn: int
    sudden: int
    sudden_share: float | None


@dataclass(frozen=True)
class PlacePosterior:
    """What the lives of one kind at one position say.

    records: the lives it rests on, stretches of one life joined where they have readings.
    lives, failures: how many were given, and how many of them failed; worn, sudden: by which mode.
    paths: shape of wear; None where no life has readings.
    reference_speed: m/s, at which lives are told; None where no life has a speed.
    """

    handbook_life: float
    handbook_spread: float
    prior: Prior
    unseen_share: float | None
    records: tuple[Life, ...] = field(repr=False)
    lives: int
    failures: int
    worn: int
    sudden: int
    paths: WearPaths | None
    reference_speed: float | None
    ways: tuple[Way, ...] = field(repr=False)
    model_version: str
    _told: dict[tuple[object, ...], tuple[Alternative, ...]] = field(
        default_factory=dict, repr=False, compare=False
    )

    @cached_property
    def one_law(self) -> Posterior:
        """From end codes alone: one law for all ends, nothing pooled, readings left aside."""
        return fit(
            self.records,
            handbook_life=self.handbook_life,
            handbook_spread=self.handbook_spread,
            prior=self.prior,
            unseen_share=self.unseen_share,
        )

    @property
    def prior_only(self) -> bool:
        """Whether no life at all stands behind it."""
        return self.lives == 0

    @cached_property
    def family_weights(self) -> dict[str, float]:
        """Posterior probabilities of `weibull`, `lognormal` and `early-defect`, which sum to 1.

        Of the law of all ends, or of wear where the modes are told apart.
        """
        told = {"weibull": 0.0, "lognormal": 0.0, "early-defect": 0.0}
        for way in self.ways:
            for name, mass in way.life.masses.items():
                key = "early-defect" if name.startswith("early-defect") else name
                told[key] += way.weight * mass
        return told

    @property
    def two_modes(self) -> float:
        """Posterior chance that wear and sudden failure are two laws."""
        return sum(way.weight for way in self.ways if way.sudden is not None)

    def alternatives(self, tool: ToolRecord, *, as_fitted: bool = False) -> tuple[Alternative, ...]:
        """Ways to see the place for this tool, weights summing to 1.

        The nodes are those of the tool's own batch or press, at its speed and roughness so far (a
        new tool's: from now on) and its number of reworks. Tools alike get one and the same object.
        as_fitted: each node weighs as the records' likelihood there has it, for what divides by a
        life's own; else what is open of the press beside that is in the law too.
        """
        speed, rough = self._speed(tool), self._rough(tool)
        # A batch or press that no life came from is any other.
        batch, press = self._known("batch", tool.batch), self._known("press", tool.press)
        key = (batch, press, speed, rough, tool.life_number, as_fitted)
        if key not in self._told:
            at = Conditions(batch, press, speed, tool.life_number, widened=not as_fitted)
            sudden_at = Conditions(z=rough)
            self._told[key] = tuple(
                Alternative(
                    way.weight,
                    way.life.nodes(at),
                    None if way.sudden is None else way.sudden.nodes(sudden_at),
                    way.life.q,
                )
                for way in self.ways
            )
        return self._told[key]

    def middle(self, speed: float | None = None) -> tuple[Alternative, ...]:
        """Ways to see the middle of all groups at a speed, m/s; None: at the reference speed.

        Of the place and not of a tool: what groups differ by is not in it.
        """
        z = self._speed(ToolRecord(0.0, speed_so_far=speed))
        return tuple(
            Alternative(
                way.weight,
                way.life.population(z),
                None if way.sudden is None else way.sudden.population(),
                way.life.q,
            )
            for way in self.ways
        )

    def _known(self, kind: Literal["batch", "press"], label: str | None) -> str | None:
        pools = [way.life.pooled for way in self.ways]
        groups = [pooled.groups.get(kind) for pooled in pools if pooled is not None]
        return label if any(each is not None and label in each.place for each in groups) else None

    def ahead_factor(self, tool: ToolRecord) -> float:
        """Own strokes ahead for each stroke at the speed so far, > 0, as the rate effect has it."""
        past, now = tool.speed_so_far, tool.speed_now
        if not past or not now or not tool.age or self.reference_speed is None:
            return 1.0
        return float((past / now) ** self._mean_exponent(lambda way: way.life.pooled))

    def sudden_ahead_factor(self, tool: ToolRecord) -> float:
        """The same for the sudden mode and the ram ratio."""
        past, now = tool.rough_so_far or 1.0, tool.rough_now
        if not now or not tool.age:
            return 1.0
        exponent = self._mean_exponent(lambda way: way.sudden.pooled if way.sudden else None)
        return float((past / now) ** exponent)

    def effects(self) -> dict[str, Effect]:
        """What the records say of `rate`, `life_number` and `roughness` (of the sudden mode)."""
        return {
            "rate": self._effect(lambda way: way.life.pooled, "rate"),
            "life_number": self._effect(lambda way: way.life.pooled, "number"),
            "roughness": self._effect(
                lambda way: way.sudden.pooled if way.sudden else None, "roughness"
            ),
        }

    def parameters(self) -> dict[str, Interval]:
        """Posterior medians with 90 % intervals, of the middle of all groups at reference.

        Keys and units: see `told.parameters`. One law without groups and exponents: see
        `Posterior.parameters`.
        """
        first = self.ways[0]
        if len(self.ways) == 1 and isinstance(first.life, PlainLaw) and first.sudden is None:
            return first.life.posterior.parameters()
        seen = [
            Seen(
                way.weight,
                way.life.population(),
                None if way.sudden is None else way.sudden.population(),
            )
            for way in self.ways
        ]
        return parameters(seen, self.handbook_life)

    def groups(self, by: Literal["batch", "press"]) -> tuple[Compared, ...]:
        """Each batch or press against the others; none where the lives hold fewer than two."""
        told = [(way.weight, way.life.pooled_by(by)) for way in self.ways]
        known = [(weight, pooled) for weight, pooled in told if pooled is not None]
        if not known:
            return ()
        failed = np.array([self._is_compared(life) for life in self.records], dtype=bool)
        pooled = max(known, key=lambda pair: pair[0])[1]
        return compare(pooled, by, failed, self._log_prior, self.prior.group_scale)

    @cached_property
    def modes(self) -> Modes:
        """How the place is seen, and what part of the ends is sudden."""
        two = next((way for way in self.ways if way.sudden is not None), None)
        share = None
        if two is not None and two.sudden is not None:
            share = sudden_share(two.life.population(), two.sudden.population())
        return Modes(self.two_modes, self.worn, self.sudden, share)

    def to_dict(self) -> dict[str, object]:
        """Plain content, for digests and stored forecasts."""
        return {
            "model_version": self.model_version,
            "handbook_life": self.handbook_life,
            "handbook_spread": self.handbook_spread,
            "prior": self.prior.to_dict(),
            "unseen_share": self.unseen_share,
            "lives": self.lives,
            "failures": self.failures,
            "worn": self.worn,
            "sudden": self.sudden,
            "reference_speed": self.reference_speed,
            "paths": None if self.paths is None else self.paths.to_dict(),
            "ways": [_describe(way) for way in self.ways],
        }

    def _is_compared(self, life: Life) -> bool:
        """Whether a life's end is one of those that groups are compared by."""
        return mode_of(life) == "wear" if self.two_modes > 0.5 else life.is_failure

    def _log_prior(self, m: Array, s: Array) -> Array:
        return self.prior.log_density(m, s, handbook_spread=self.handbook_spread)

    def _speed(self, tool: ToolRecord) -> float:
        speed = _at(tool.age, tool.speed_so_far, tool.speed_now)
        if speed is None or self.reference_speed is None:
            return 0.0
        return round(math.log(speed / self.reference_speed) * _SPEED_STEP) / _SPEED_STEP

    def _rough(self, tool: ToolRecord) -> float:
        rough = _at(tool.age, tool.rough_so_far, tool.rough_now)
        return 0.0 if rough is None else round(math.log(rough) * _ROUGHNESS_STEP) / _ROUGHNESS_STEP

    def _mean_exponent(self, pooled_of: Callable[[Way], Pooled | None]) -> float:
        told = [(way.weight, pooled_of(way)) for way in self.ways]
        known = [(weight, pooled.rate.centre) for weight, pooled in told if pooled is not None]
        total = sum(weight for weight, _ in known)
        return sum(weight * centre for weight, centre in known) / total if total > 0 else 0.0

    def _effect(self, pooled_of: Callable[[Way], Pooled | None], name: str) -> Effect:
        """Of the way with the most weight that speaks of it; else the prior."""
        told = [(way.weight, pooled_of(way)) for way in self.ways]
        known = [(weight, pooled) for weight, pooled in told if pooled is not None]
        if not known:
            return _of_prior(self.prior, name)
        pooled = max(known, key=lambda pair: pair[0])[1]
        return (pooled.number if name == "number" else pooled.rate).told()


def _of_prior(prior: Prior, name: str) -> Effect:
    mean, scale, least = {
        "rate": (prior.rate_exponent, prior.rate_exponent_scale, -math.inf),
        "number": (0.0, prior.number_scale, -math.inf),
        "roughness": (prior.roughness_exponent, prior.roughness_exponent_scale, 0.0),
    }[name]
    return exponents(mean, scale, count=1, varies=False, least=least).told()


def _at(age: float, so_far: float | None, now: float | None) -> float | None:
    if age > 0 and so_far is not None:
        return so_far
    return now if now is not None else so_far


def _describe(way: Way) -> dict[str, object]:
    return {
        "weight": way.weight,
        "life": way.life.to_dict(),
        "sudden": None if way.sudden is None else way.sudden.to_dict(),
    }


def fit_place(
    lives: Sequence[Life],
    *,
    handbook_life: float,
    handbook_spread: float = DEFAULT_SPREAD,
    prior: Prior | None = None,
    unseen_share: float | None = None,
) -> PlacePosterior:
    """Posterior of one kind of tool at one position from all that its lives record.

    handbook_life: the plant's own figure for the median life, strokes, > 0.
    handbook_spread: its figure for the sd of log life, 0.01 to 5.
    unseen_share: share of failures that show only at an inspection, 0 to 1, where the plant knows
        it; None: as the lives say.
    Deterministic: the same lives give the same bytes, in whatever order they come.
    Raises BadField naming the figure that is out of range.
    """
    check_handbook(handbook_life, handbook_spread)
    if unseen_share is not None and not 0 <= unseen_share <= 1:
        raise BadField("unseen_share", unseen_share, "0 to 1")
    records = joined(lives)
    modes = [mode_of(life) for life in records]
    setting = Setting(
        handbook_life,
        handbook_spread,
        prior if prior is not None else Prior(),
        unseen_share,
        reference_speed(records),
        _paths(records, handbook_life, handbook_spread),
    )
    open_ = ways(records, setting)
    kept = [way for way in open_ if way.weight > _LEAST_WAY]
    total = sum(way.weight for way in kept)
    return PlacePosterior(
        handbook_life=handbook_life,
        handbook_spread=handbook_spread,
        prior=setting.prior,
        unseen_share=unseen_share,
        records=tuple(records),
        lives=len(lives),
        failures=sum(life.is_failure for life in lives),
        worn=modes.count("wear"),
        sudden=modes.count("sudden"),
        paths=setting.paths,
        reference_speed=setting.reference_speed,
        ways=tuple(Way(way.weight / total, way.life, way.sudden) for way in kept),
        model_version=MODEL_VERSION,
    )


def _paths(lives: Sequence[Life], handbook_life: float, handbook_spread: float) -> WearPaths | None:
    if not any(is_told_by_readings(life) for life in lives):
        return None
    last = [(life.readings[-1].strokes, life.readings[-1].share) for life in lives if life.readings]
    usual = [strokes / share for strokes, share in last if share >= _TELLING_SHARE and strokes > 0]
    typical = float(np.median(usual)) if usual else handbook_life
    spread = max(handbook_spread, _LEAST_PATH_SPREAD)
    return WearPaths.learn(lives, typical_life=typical, typical_spread=spread)

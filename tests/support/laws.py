"""A life law with closed forms, hand-written for forecasts: a Weibull law known exactly."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from duestroke.calendar import Calendar, Stop, calendar_of
from duestroke.forecast import LifeBasis, PressFacts, Rate, ToolFacts
from duestroke.inference.ahead import PlaceLaw
from duestroke.inference.families import LOG_LOG_2, WEIBULL, WEIBULL_SHAPE_TIMES_SPREAD
from duestroke.inference.nodes import Nodes
from duestroke.inference.tool import Alternative, ToolRecord
from duestroke.inference.wear import WearPaths

Floats = NDArray[np.float64]
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
PRESS = "works/1/01"


@dataclass(frozen=True)
class WeibullLaw:
    """Shape and scale (strokes). A share of `seen` of tools past `good_at` is worn unseen."""

    shape: float = 2.5
    scale: float = 50e6
    unseen: float = 0.0

    handbook_life: float = 60e6
    paths: WearPaths | None = None

    def survival(self, strokes: Floats) -> Floats:
        return np.exp(-((np.asarray(strokes) / self.scale) ** self.shape))

    def remaining_quantiles(self, age: float, good_at: float | None, levels: Floats) -> Floats:
        gone = 0.0
        if good_at is not None and good_at < age:
            lasting = float(self.survival(age) / self.survival(good_at))
            gone = self.unseen * (1 - lasting) / (self.unseen + (1 - self.unseen) * lasting)
        rest = np.clip((np.asarray(levels) - gone) / (1 - gone), 0.0, None)
        hazard = (age / self.scale) ** self.shape - np.log1p(-rest)
        return np.asarray(np.maximum(self.scale * hazard ** (1 / self.shape) - age, 0.0))

    def alternatives(self, tool: ToolRecord) -> tuple[Alternative, ...]:
        spread = WEIBULL_SHAPE_TIMES_SPREAD / self.shape
        median = np.log(self.scale / self.handbook_life) + LOG_LOG_2 / self.shape
        node = Nodes(WEIBULL, np.array([median]), np.array([spread]), np.ones(1))
        return (Alternative(1.0, (node,), None, self.unseen),)

    def ahead_factor(self, tool: ToolRecord) -> float:
        return 1.0

    def sudden_ahead_factor(self, tool: ToolRecord) -> float:
        return 1.0


def basis(law: PlaceLaw | None = None, **more: object) -> LifeBasis:
    """The basis of a ring 3."""
    known: dict[str, object] = {"fit": "test", "lives": 40, "failures": 30, "prior_only": False}
    return LifeBasis("ironing-ring", "ring-3", law, **(known | more))  # type: ignore[arg-type]


def rate(strokes_per_day: float = 500_000, *, variance: float = 0.05, days: float = 180) -> Rate:
    """A rate seen over some days up to now."""
    return Rate(strokes_per_day, variance, days, 0.002, NOW - timedelta(days=days), NOW)


def weekly(count: int = 6, first_in_days: float = 2) -> Calendar:
    """A clean of four hours each week."""
    begins = [NOW + timedelta(days=first_in_days + 7 * week) for week in range(count)]
    stops = [
        Stop(f"w{week}", "works/1", at, at + timedelta(hours=4), 8)
        for week, at in enumerate(begins)
    ]
    return calendar_of(PRESS, stops)


def press(**more: object) -> PressFacts:
    """A press that has just reported."""
    known: dict[str, object] = {
        "press": PRESS,
        "as_of": NOW - timedelta(minutes=1),
        "max_spm": 480,
        "rate": rate(),
        "calendar": weekly(),
        "registered": NOW - timedelta(days=400),
    }
    return PressFacts(**(known | more))  # type: ignore[arg-type]


def tool(strokes: float | None = 20e6, **more: object) -> ToolFacts:
    """A ring 3 of an age in strokes."""
    known: dict[str, object] = {
        "position": "ring-3",
        "kind": "ironing-ring",
        "serial": "IR-1",
        "strokes": strokes,
        "strokes_since_fit": strokes or 0.0,
        "began": NOW - timedelta(days=50),
    }
    return ToolFacts(**(known | more))  # type: ignore[arg-type]

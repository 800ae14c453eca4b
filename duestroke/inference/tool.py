"""One tool of which the strokes left are asked, and one way to see the place it works in."""

from __future__ import annotations

import math
from dataclasses import dataclass

from duestroke.errors import BadField
from duestroke.inference.nodes import Nodes
from duestroke.lives import WearReading


@dataclass(frozen=True, slots=True)
class ToolRecord:
    """What is known of one tool.

    age: strokes since new or the last rework, >= 0.
    good_at: age at which it was last found good, at most `age`; None: good now.
    readings: its wear as measured, in order of age.
    press, batch: where it works and what it came with; None: not known, or a tool in general.
    life_number: reworks before this life, 0 for a new tool's first.
    speed_so_far, speed_now: mean peak punch speed over its life, and from now on, m/s, > 0; None:
        as at the place's reference speed, and as so far.
    rough_so_far, rough_now: ram ratio K over the press's own baseline, > 0; None: 1, and as so far.

    Raises BadField naming the field.
    """

    age: float
    good_at: float | None = None
    readings: tuple[WearReading, ...] = ()
    press: str | None = None
    batch: str | None = None
    life_number: int = 0
    speed_so_far: float | None = None
    speed_now: float | None = None
    rough_so_far: float | None = None
    rough_now: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.age) and self.age >= 0):
            raise BadField("age", self.age, "a number of strokes, 0 or more")
        if self.good_at is not None and not 0 <= self.good_at <= self.age:
            raise BadField("good_at", self.good_at, f"0 to age ({self.age}), or None")
        if self.life_number < 0:
            raise BadField("life_number", self.life_number, "0 or more")
        for name in ("speed_so_far", "speed_now", "rough_so_far", "rough_now"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise BadField(name, value, "above 0, or None")


@dataclass(frozen=True)
class Alternative:
    """One way to see the place for one tool, with its posterior weight.

    life: law of the life, or of wear alone where `sudden` is given; weights sum to 1.
    sudden: law of the sudden failure, an independent competing risk; None: one law for all ends.
    q: share of the ends of `life` that show only at an inspection, 0 to 1.
    """

    weight: float
    life: tuple[Nodes, ...]
    sudden: tuple[Nodes, ...] | None
    q: float

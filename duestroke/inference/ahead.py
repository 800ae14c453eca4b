"""The strokes that tools have left, as the posterior of their place sees each of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.remaining import RemainingLife
from duestroke.inference.tool import Alternative, ToolRecord

Array = NDArray[np.float64]


class PlaceLaw(Protocol):
    """What is asked of the posterior of a place; `PlacePosterior` gives it."""

    @property
    def handbook_life(self) -> float:
        """Strokes, the unit of the nodes' log ages."""
        ...

    def alternatives(self, tool: ToolRecord) -> tuple[Alternative, ...]:
        """Ways to see the place for this tool, with weights that sum to 1."""
        ...

    def ahead_factor(self, tool: ToolRecord) -> float:
        """Own strokes ahead for each stroke at the speed so far, > 0."""
        ...


def remaining_quantiles(place: PlaceLaw, tools: Sequence[ToolRecord], levels: Array) -> Array:
    """Strokes left at each level in (0, 1) for each tool, (tools, levels); 0 is due now.

    Rows never fall as the level grows, and do not depend on the other tools.
    """
    rows = [place.ahead_factor(tool) * _life(place, tool).quantiles(levels) for tool in tools]
    return np.array(rows, dtype=float).reshape(len(tools), len(levels))


def survival(place: PlaceLaw, strokes: Array, tool: ToolRecord | None = None) -> Array:
    """Chance that a new tool, or one of `tool`'s press, batch and speed, lasts beyond strokes."""
    known = tool or ToolRecord(0.0)
    new = ToolRecord(
        0.0,
        press=known.press,
        batch=known.batch,
        life_number=known.life_number,
        speed_so_far=known.speed_so_far,
        rough_so_far=known.rough_so_far,
    )
    return 1.0 - _life(place, new).chance_within(strokes)


def _life(place: PlaceLaw, tool: ToolRecord) -> RemainingLife:
    (seen,) = place.alternatives(tool)
    return RemainingLife(
        seen.life, handbook_life=place.handbook_life, age=tool.age, good_at=tool.good_at, q=seen.q
    )

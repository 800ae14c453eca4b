"""Life left in tools that were pulled sound: which are pulled too early, which too late."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.ahead import remaining_quantiles
from duestroke.inference.modes import is_told_by_readings
from duestroke.inference.place import PlacePosterior
from duestroke.inference.tool import ToolRecord
from duestroke.lives import Life

Array = NDArray[np.float64]

_LEVELS: Final = np.array([0.1, 0.5, 0.9])


@dataclass(frozen=True, slots=True)
class LifeLeft:
    """A planned pull and the share of its life that the tool still had, (10 %, 50 %, 90 %)."""

    life: Life
    strokes: tuple[float, float, float]
    share: tuple[float, float, float]


def as_tool(life: Life) -> ToolRecord:
    """The tool of a life as it was at its end."""
    # Told by its readings, it is known to be good where the fit knows it too.
    good_at = life.strokes_low if is_told_by_readings(life) else life.strokes
    return ToolRecord(
        life.strokes,
        good_at=good_at,
        readings=life.readings,
        press=life.press,
        batch=life.batch,
        life_number=life.life_number,
        speed_so_far=life.mean_speed_mps,
        rough_so_far=life.mean_roughness,
    )


def life_left_when_pulled(place: PlacePosterior, lives: Sequence[Life]) -> list[LifeLeft]:
    """Predicted life left in each tool that was pulled as planned, in the order of the lives.

    The share is of the whole life: strokes left over strokes run and left.
    """
    pulled = [life for life in lives if life.end == "planned" and life.strokes > 0]
    if not pulled:
        return []
    left = remaining_quantiles(place, [as_tool(life) for life in pulled], _LEVELS)
    age = np.array([life.strokes for life in pulled])[:, None]
    share = left / (age + left)
    return [
        LifeLeft(life, _three(strokes), _three(part))
        for life, strokes, part in zip(pulled, left, share, strict=True)
    ]


def _three(row: Array) -> tuple[float, float, float]:
    low, middle, high = row.tolist()
    return low, middle, high

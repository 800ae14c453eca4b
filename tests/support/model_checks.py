"""What any model of a place has to hold, whatever it was fitted to: one suite for all of them.

A model is anything that fits lives and tells strokes left; the checks know nothing else of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np
import pytest
from numpy.typing import NDArray

from duestroke.inference.tool import ToolRecord
from duestroke.lives import Life, WearReading

Array = NDArray[np.float64]

LEVELS = np.array([0.001, 0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99, 0.999])


class Fitted(Protocol):
    """A model fitted to the lives of a place."""

    def remaining_quantiles(self, tools: Sequence[ToolRecord], levels: Array) -> Array:
        """Strokes left, (tools, levels); 0 is due now."""
        ...

    def survival(self, strokes: Array) -> Array:
        """Chance that a new tool lasts beyond strokes."""
        ...

    def content(self) -> str:
        """All that it holds, as text: equal for equal models."""
        ...


class Model(Protocol):
    """Fits lives under a handbook life, both in the same unit."""

    def __call__(self, lives: Sequence[Life], handbook_life: float) -> Fitted: ...


def tools_of(lives: Sequence[Life], handbook_life: float) -> list[ToolRecord]:
    """New tools, tools as old as the lives and beyond all of them, with what the lives hold."""
    oldest = max((life.strokes for life in lives), default=handbook_life)
    readings = next((life.readings for life in lives if life.readings), ())
    age = max((one.strokes for one in readings), default=0.6 * handbook_life)
    bare = [
        ToolRecord(0.0),
        ToolRecord(0.3 * handbook_life, 0.2 * handbook_life),
        ToolRecord(3 * oldest + handbook_life),
        ToolRecord(age, 0.5 * age, readings=readings),
    ]
    some = lives[0] if lives else None
    if some is None:
        return bare
    known = ToolRecord(
        0.5 * handbook_life,
        press=some.press,
        batch=some.batch,
        life_number=some.life_number,
        speed_so_far=some.mean_speed_mps,
        rough_so_far=some.mean_roughness,
    )
    faster = None if some.mean_speed_mps is None else 1.1 * some.mean_speed_mps
    return [*bare, known, replace(known, batch="new", press="new/1/01", speed_now=faster)]


def check_prediction_is_pure(fitted: Fitted, tools: Sequence[ToolRecord]) -> None:
    """Asking changes nothing: neither the model nor the next answer."""
    before = fitted.content()
    first = fitted.remaining_quantiles(tools, LEVELS)
    fitted.survival(np.array([1.0, 1e9]))
    assert fitted.remaining_quantiles(tools, LEVELS).tobytes() == first.tobytes()
    assert fitted.content() == before


def check_batch_equals_stream(fitted: Fitted, tools: Sequence[ToolRecord]) -> None:
    """All tools at once and one by one: the same figures."""
    together = fitted.remaining_quantiles(tools, LEVELS)
    for row, tool in zip(together, tools, strict=True):
        assert fitted.remaining_quantiles([tool], LEVELS)[0].tobytes() == row.tobytes()


def check_repeatable(model: Model, lives: Sequence[Life], handbook_life: float) -> None:
    """The same lives in any order give the same bytes."""
    tools = tools_of(lives, handbook_life)
    one, other = model(lives, handbook_life), model(list(lives)[::-1], handbook_life)
    assert one.content() == other.content()
    told = [fitted.remaining_quantiles(tools, LEVELS).tobytes() for fitted in (one, other)]
    assert told[0] == told[1]


def check_monotone(fitted: Fitted, tools: Sequence[ToolRecord], handbook_life: float) -> None:
    """Survival falls from 1, quantiles rise, nothing is negative or not a number."""
    strokes = np.concatenate([[0.0], handbook_life * np.geomspace(1e-5, 1e3, 90)])
    survival = fitted.survival(strokes)
    assert survival[0] == pytest.approx(1.0, abs=1e-9)
    assert np.all(np.diff(survival) <= 1e-12)
    assert np.all((survival >= 0) & (survival <= 1))
    left = fitted.remaining_quantiles(tools, LEVELS)
    assert left.shape == (len(tools), LEVELS.size)
    assert np.all(np.isfinite(left))
    assert np.all(left >= 0)
    assert np.all(np.diff(left, axis=1) >= 0)


def check_survival_and_quantiles_agree(fitted: Fitted) -> None:
    """A new tool: the chance to last beyond a quantile is what is left of its level."""
    new = fitted.remaining_quantiles([ToolRecord(0.0)], LEVELS)[0]
    assert fitted.survival(new) == pytest.approx(1 - LEVELS, abs=3e-3)


def check_scale_is_only_a_unit(
    model: Model, lives: Sequence[Life], handbook_life: float, factor: float
) -> None:
    """All ages in another unit: all strokes in that unit."""
    tools = tools_of(lives, handbook_life)
    plain = model(lives, handbook_life).remaining_quantiles(tools, LEVELS)
    scaled = model([scaled_life(life, factor) for life in lives], handbook_life * factor)
    again = scaled.remaining_quantiles([scaled_tool(tool, factor) for tool in tools], LEVELS)
    assert again / factor == pytest.approx(plain, rel=1e-5, abs=1e-6 * handbook_life)


def scaled_life(life: Life, factor: float) -> Life:
    """A life with all ages in another unit."""
    return replace(
        life,
        entry_strokes=life.entry_strokes * factor,
        entry_low=None if life.entry_low is None else life.entry_low * factor,
        strokes=life.strokes * factor,
        strokes_low=None if life.strokes_low is None else life.strokes_low * factor,
        readings=_scaled(life.readings, factor),
    )


def scaled_tool(tool: ToolRecord, factor: float) -> ToolRecord:
    """A tool with all ages in another unit."""
    return replace(
        tool,
        age=tool.age * factor,
        good_at=None if tool.good_at is None else tool.good_at * factor,
        readings=_scaled(tool.readings, factor),
    )


def _scaled(readings: Sequence[WearReading], factor: float) -> tuple[WearReading, ...]:
    return tuple(replace(one, strokes=one.strokes * factor) for one in readings)

"""Forecasts as the engine makes them: the place's posterior, strokes left, due dates."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from benchmarks.cases import Case, RunningTool
from duestroke.calendar import Calendar
from duestroke.forecast import (
    DayStrokes,
    LifeBasis,
    PressFacts,
    ToolFacts,
    due_at,
    forecast_presses,
    rate_of,
)
from duestroke.inference.ahead import remaining_quantiles, survival
from duestroke.inference.fit import fit
from duestroke.inference.place import PlacePosterior, fit_place
from duestroke.inference.tool import ToolRecord

Array = NDArray[np.float64]

NOW = datetime(2026, 6, 1, 6, tzinfo=UTC)
_HALVINGS = 50


def fitted(case: Case) -> PlacePosterior:
    """What the place's lives say."""
    return fit_place(case.lives, handbook_life=case.handbook_life)


def strokes_left(place: PlacePosterior, tools: Sequence[RunningTool], levels: Array) -> Array:
    """Strokes left at levels, (tools, levels), growing; 0 is due now."""
    order = np.argsort(levels)
    left = np.empty((len(tools), levels.size))
    left[:, order] = remaining_quantiles(place, [tool.record for tool in tools], levels[order])
    return left


def without_readings(place: PlacePosterior, tools: Sequence[RunningTool], levels: Array) -> Array:
    """The same where nothing of a tool was measured: from the place's lives alone."""
    bare = [replace(tool.record, readings=()) for tool in tools]
    return remaining_quantiles(place, bare, levels)


def median_life(place: PlacePosterior, tool: ToolRecord | None = None) -> float:
    """Life that half of new tools reach, strokes: in general, or at a tool's press and speed."""
    low, high = 1e-3 * place.handbook_life, 1e3 * place.handbook_life
    for _ in range(_HALVINGS):
        middle = math.sqrt(low * high)
        is_early = float(survival(place, np.array([middle]), tool)[0]) > 0.5
        low, high = (middle, high) if is_early else (low, middle)
    return math.sqrt(low * high)


def median_by_end_codes(case: Case) -> float:
    """The same from end codes alone: one law for all ends, nothing measured."""
    bare = [replace(life, readings=()) for life in case.lives]
    return float(fit(bare, handbook_life=case.handbook_life).quantile(0.5))


def due_days(
    place: PlacePosterior, tools: Sequence[RunningTool], paths: Sequence[Array], levels: Array
) -> Array:
    """Days from now until each tool is due, (tools, levels); inf where beyond the horizon.

    paths: the daily strokes of each one's press up to now.
    """
    basis = LifeBasis("punch", "punch", place, "benchmark", place.lives, place.failures)
    presses = [
        (_press(tool, path), [(_facts(tool), basis)])
        for tool, path in zip(tools, paths, strict=True)
    ]
    made = forecast_presses(presses, NOW)
    return np.array([[_days(at) for at in due_at(f[0], levels.tolist())] for f in made])


def _press(tool: RunningTool, path: Array) -> PressFacts:
    first = NOW - timedelta(days=path.size)
    days = [
        DayStrokes(first + timedelta(days=k), first + timedelta(days=k + 1), round(strokes))
        for k, strokes in enumerate(path)
    ]
    name = tool.record.press or "plant/1/01"
    return PressFacts(name, NOW, 480, rate_of(days, Calendar()), Calendar(), first)


def _facts(tool: RunningTool) -> ToolFacts:
    record = tool.record
    return ToolFacts(
        position="punch",
        kind="punch",
        serial="T-1",
        strokes=record.age,
        strokes_since_fit=record.age,
        began=NOW,
        good_at=record.good_at,
        readings=record.readings,
        batch=record.batch,
        speed_so_far=record.speed_so_far,
        speed_now=record.speed_now,
    )


def _days(at: datetime | None) -> float:
    return math.inf if at is None else (at - NOW) / timedelta(days=1)

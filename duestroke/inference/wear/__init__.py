"""Wear paths: what readings of wear say of the life of a tool and of the wear of a place."""

from __future__ import annotations

from duestroke.inference.wear.alone import (
    QUANTILES,
    ReadingsAlone,
    passage_quantiles,
    readings_alone,
)
from duestroke.inference.wear.passage import FirstPassage, passage_chance
from duestroke.inference.wear.paths import MISFIT, WearPaths
from duestroke.inference.wear.trend import OwnTrend, own_trend

__all__ = [
    "MISFIT",
    "QUANTILES",
    "FirstPassage",
    "OwnTrend",
    "ReadingsAlone",
    "WearPaths",
    "own_trend",
    "passage_chance",
    "passage_quantiles",
    "readings_alone",
]

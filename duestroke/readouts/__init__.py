"""What an engineer reads off a place: curves, parameters, comparisons and cautions as content."""

from __future__ import annotations

from duestroke.readouts.model import BAND_LEVEL, told_model
from duestroke.readouts.more import MORE, told_more
from duestroke.readouts.what_if import Assumptions, Change, Sitting, what_if

__all__ = [
    "BAND_LEVEL",
    "MORE",
    "Assumptions",
    "Change",
    "Sitting",
    "told_model",
    "told_more",
    "what_if",
]

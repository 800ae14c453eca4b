"""From strokes to dates: remaining strokes, due times, chances before stops, states.

Everything is a plain function of facts: the time, the fitted lives and the press's record come in
as arguments. `forecast_press` makes the forecasts of one press, `forecast_presses` those of many at
once; `answer` gives one as the contract writes it.
"""

from duestroke.forecast.facts import (
    MODEL_VERSION,
    SILENT_AFTER,
    STATES,
    LifeBasis,
    PressFacts,
    State,
    ToolFacts,
)
from duestroke.forecast.rate import DayStrokes, Rate, rate_of, whole_record
from duestroke.forecast.result import (
    DEFAULT_LEVELS,
    Chance,
    Forecast,
    Interval,
    answer,
    due_at,
    remaining_at,
)
from duestroke.forecast.states import worst
from duestroke.forecast.tools import forecast_press, forecast_presses

__all__ = [
    "DEFAULT_LEVELS",
    "MODEL_VERSION",
    "SILENT_AFTER",
    "STATES",
    "Chance",
    "DayStrokes",
    "Forecast",
    "Interval",
    "LifeBasis",
    "PressFacts",
    "Rate",
    "State",
    "ToolFacts",
    "answer",
    "due_at",
    "forecast_press",
    "forecast_presses",
    "rate_of",
    "remaining_at",
    "whole_record",
    "worst",
]

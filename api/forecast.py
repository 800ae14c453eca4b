"""A forecast as the API answers it, wherever it stands."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from pydantic import ConfigDict, Field

from api.types import Answer, Time
from duestroke.forecast.facts import State

_LEVELS = {"0.1": 1.2e6, "0.5": 6.1e6, "0.9": 14.8e6}


class ChanceOut(Answer):
    """Chance that the tool has reached its end before a stop."""

    stop: Annotated[str | None, Field(description="null where a day stands in for a stop")]
    at: Time
    chance: Annotated[float, Field(ge=0, le=1)]


class RateOut(Answer):
    """Pace of the press over a window of its record."""

    strokes_per_day: float
    start: Annotated[Time, Field(alias="from")]
    end: Annotated[Time, Field(alias="to")]


class IntervalOut(Answer):
    """A fixed interval that the plant keeps; no life is in it."""

    strokes_left: float | None
    due: Mapping[str, Time | None]


class BasisOut(Answer):
    """What a forecast rests on."""

    model_config = ConfigDict(extra="allow")

    lives: int
    failures: int
    families: Mapping[str, float]
    wear: Mapping[str, object] | None
    prior_only: bool
    fit: str | None
    as_of: Annotated[Time | None, Field(description="time of the last report in it")]
    cautions: list[str]


class ForecastOut(Answer):
    """When one tool reaches the end of its life, as a range, and what to do about it."""

    press: str
    position: str
    serial: str
    state: Annotated[State, Field(description="`cant-tell` where there is no basis")]
    strokes: Annotated[float | None, Field(description="strokes since fit or rework")]
    remaining_strokes: Annotated[
        Mapping[str, float | None],
        Field(
            description="by level `q`: the point by which it has ended with chance `q`",
            examples=[_LEVELS],
        ),
    ]
    due: Annotated[Mapping[str, Time | None], Field(description="by level; null beyond 50 years")]
    chance_before: list[ChanceOut]
    rate: RateOut | None
    interval: IntervalOut | None
    basis: BasisOut

"""How past forecasts came out, as the API answers it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import Field

from api.types import Answer, Time

Share = Annotated[float | None, Field(ge=0, le=1)]


class CoverageOut(Answer):
    """Outcomes inside a range, below it and above it, with 95 % bounds."""

    share: Annotated[Share, Field(description="null where outcomes do not tell")]
    low: Annotated[float, Field(description="bound that takes the forecasts of a life together")]
    high: float
    binomial_low: Annotated[float, Field(description="Wilson's, as if all were independent")]
    binomial_high: float
    below: Annotated[Share, Field(description="share that ended before the range")]
    above: Annotated[Share, Field(description="share that outlasted it")]


class StrokesCoverageOut(CoverageOut):
    """The same of a range in strokes."""

    mean_width: Annotated[float | None, Field(description="strokes between the ends of the range")]


class OutcomesOut(Answer):
    """Forecasts by how the end is known."""

    exact: Annotated[int, Field(description="seen when it came")]
    interval: Annotated[int, Field(description="found between two looks")]
    censored: Annotated[int, Field(description="pulled before it came")]
    running: Annotated[int, Field(description="still in")]


class ReliabilityCellOut(Answer):
    """Forecasts whose chance lay in a tenth of the scale."""

    start: Annotated[float, Field(alias="from")]
    end: Annotated[float, Field(alias="to")]
    n: int
    said: Share
    came: Share
    low: Share
    high: Share


class ReliabilityOut(Answer):
    """Chances of the end before the next stop against what came."""

    n: int
    unknown: Annotated[int, Field(description="left out: the record does not tell")]
    brier: float | None
    base_rate: Share
    cells: list[ReliabilityCellOut]


class PitCellOut(Answer):
    """Share of outcomes in a tenth of their forecasts' chance."""

    share: Share
    low: float
    high: float


class UniformityOut(Answer):
    """Tests of one transform a life against the uniform law, with what a right one stays below."""

    n: int
    chi_square: float
    chi_square_chance: float
    chi_square_95: float
    chi_square_999: float
    ks: float
    ks_chance: float
    ks_95: float
    ks_999: float


class PitOut(Answer):
    """Where in their forecasts the outcomes lay: even where forecasts are right."""

    cells: list[PitCellOut]
    uniformity: UniformityOut | None


class PlaceScoreOut(Answer):
    """How the forecasts of a place came out."""

    n: Annotated[int, Field(description="forecasts")]
    lives: Annotated[int, Field(description="lives that they are of")]
    outcomes: OutcomesOut
    coverage: Annotated[
        Mapping[str, StrokesCoverageOut], Field(description="by nominal coverage: `0.8`, `0.9`")
    ]
    crps: Annotated[
        float | None, Field(description="mean ranked probability score, strokes; low is good")
    ]
    crps_handbook_rule: Annotated[
        float | None, Field(description="the same of the handbook life, give or take 20 %")
    ]
    skill: Annotated[
        float | None, Field(description="share of the rule's score that the forecasts save")
    ]
    brier: Annotated[
        float | None, Field(description="of the chances of the end before the next stop")
    ]


class NamedPlaceScoreOut(PlaceScoreOut):
    """The same with its place."""

    kind: str
    position: str


class ForecastScoreOut(PlaceScoreOut):
    """How past forecasts came out."""

    source: Literal["live", "backtest"]
    scored_at: Time | None
    due_coverage: Mapping[str, CoverageOut]
    chance_before: ReliabilityOut
    pit: PitOut
    words: Annotated[list[str], Field(description="what to mind when reading these figures")]
    places: list[NamedPlaceScoreOut]

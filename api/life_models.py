"""A life model as the API answers it, and the read-outs that are worked out when asked for."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import ConfigDict, Field

from api.types import Answer, Time
from duestroke.errors import BadField
from duestroke.forecast.kept import life_of
from duestroke.inference.place import PlacePosterior, fit_place
from duestroke.inference.prior import Prior
from duestroke.lives import Life
from duestroke.readouts import MORE, told_more
from store.forecasts import LifeModel
from store.unit import Unit

CURVES = "curves"
WITH = (CURVES, *MORE)
"""What `with` may ask for."""


class ParameterOut(Answer):
    """A parameter's median and interval, at `interval_level`."""

    median: float
    low: float
    high: float


class StepOut(Answer):
    """One step of the product-limit estimate."""

    strokes: float
    survival: float
    low: float
    high: float
    at_risk: int
    ends: int


class CurvePointOut(Answer):
    """One point of the model's survival curve with its band."""

    strokes: float
    survival: float
    low: float
    high: float


class PullsOut(Answer):
    """Planned pulls, those with a reading, and those whose last reading was above 85 %."""

    pulls: int
    with_reading: int
    close_to_limit: int


class LineOut(Answer):
    """A line at its own speed: the place's model, and what end codes alone would give."""

    line: str
    mean_speed_mps: float | None
    lives: int
    failures: int
    median_life: ParameterOut
    b10: ParameterOut
    end_codes_alone: Annotated[
        ParameterOut | None,
        Field(description="median of the likeliest Weibull law on the end codes; null: too few"),
    ]
    planned_pulls: PullsOut


class EffectOut(Answer):
    """An effect on life with its interval, told only where the records narrow the prior's."""

    known: bool
    interval: ParameterOut | None
    prior: ParameterOut
    words: str


class GroupOut(Answer):
    """A batch or press against the others."""

    label: str
    lives: int
    failures: int
    ratio: Annotated[ParameterOut, Field(description="its median life over that of the others")]
    differs: Annotated[bool, Field(description="the interval of the ratio leaves out 1")]
    needed: Annotated[
        Mapping[str, int | None],
        Field(
            description="by true ratio: failures of its own (or tools with telling readings) at "
            "which it could be told from the others; null: not with 500"
        ),
    ]


class GroupsOut(Answer):
    """All batches, or all presses, and what to make of them."""

    groups: list[GroupOut]
    words: list[str]


class ModesOut(Answer):
    """Wear and sudden failure: how likely they are two laws, and what part of ends is sudden."""

    chance_of_two_laws: float
    worn: int
    sudden: int
    sudden_share: Annotated[float | None, Field(description="left to run; null: one law")]


class LifeModelOut(Answer):
    """The life model of one kind at one position, in strokes."""

    model_config = ConfigDict(extra="allow")

    kind: str
    position: str
    fit: Annotated[str | None, Field(description="reference that forecasts name in `basis.fit`")]
    made_at: Time
    lives: int
    failures: int
    prior_only: bool
    families: Annotated[Mapping[str, float], Field(description="weights, in all 1")]
    parameters: Mapping[str, ParameterOut]
    interval_level: float
    median_life: ParameterOut
    b10: Annotated[ParameterOut, Field(description="age by which 10 % have ended")]
    step_curve: list[StepOut]
    model_curve: list[CurvePointOut]
    goodness: Annotated[
        Mapping[str, float | None],
        Field(description="Anderson-Darling distance of each family at its likeliest law"),
    ]
    most_likely: Annotated[
        Mapping[str, Any],
        Field(
            description="by family on the end codes alone: `parameters` with Wald's 90 % bounds "
            "on the log scale, `log_likelihood`, `aic`; null without failures at different ages",
            default_factory=dict,
        ),
    ]
    end_codes_alone: Annotated[
        ParameterOut | None, Field(description="median of the likeliest Weibull law; null: too few")
    ] = None
    planned_pulls: PullsOut | None = None
    by_line: Annotated[list[LineOut], Field(default_factory=list)]
    effects: Annotated[
        Mapping[str, EffectOut],
        Field(
            default_factory=dict,
            description="exponents: life goes as speed to the power of -`rate`, as the ram ratio "
            "to -`roughness` (sudden mode), as exp(-`life_number` * reworks)",
        ),
    ]
    groups: Annotated[
        Mapping[str, GroupsOut], Field(default_factory=dict, description="by `batch` and `press`")
    ]
    modes: ModesOut | None = None
    cautions: Annotated[list[str], Field(default_factory=list)]


class OneLifeModel(LifeModelOut):
    """The model of the position asked for; it also stands in `items`, as in any other answer.

    What `with` asked for stands beside it under the same names.
    """

    items: list[LifeModelOut]
    next: str | None
    curves: Annotated[
        Mapping[str, Any] | None,
        Field(
            description="`modes` (step and model curve of each), `incidence` by mode "
            "(Aalen-Johansen and model), `hazard` (Nelson-Aalen), `probability_plot`"
        ),
    ] = None
    goodness_of_fit: Annotated[
        Mapping[str, Any] | None,
        Field(description="by mode and family: distance, its bootstrap chance, samples drawn"),
    ] = None
    likelihood_ratio_bounds: Annotated[
        Mapping[str, Any] | None, Field(description="90 % bounds by family and parameter")
    ] = None
    regression: Annotated[
        Mapping[str, Any] | None,
        Field(description="effects of rate, life number and ram ratio by the end codes alone"),
    ] = None
    surprises: Annotated[
        Mapping[str, Any] | None,
        Field(description="the last lives outside their 80 % range and what they share"),
    ] = None
    pulls: Annotated[
        Mapping[str, Any] | None, Field(description="life left in tools pulled as planned")
    ] = None


def wanted(text: str | None, position: str | None) -> list[str]:
    """What `with` asks for; 422 for what there is none of, and without a position."""
    if text is None:
        return []
    asked = text.split(",")
    for name in asked:
        if name not in WITH:
            raise BadField("with", text, "some of " + ", ".join(WITH) + ", by comma")
    if position is None:
        raise BadField("with", text, "null where no position is asked for")
    return asked


def base_of(answer: Mapping[str, Any]) -> dict[str, Any]:
    """The answer as kept, without the curves that are answered on request."""
    return {name: value for name, value in answer.items() if name != CURVES}


def more_of(unit: Unit, model: LifeModel, asked: list[str]) -> dict[str, Any]:
    """What was asked for beside the model: kept curves, and what is worked out from its lives."""
    answer = model.answer or {}
    told = {CURVES: answer.get(CURVES)} if CURVES in asked else {}
    names = [name for name in asked if name in MORE]
    if names:
        lives, place = lives_of(unit, model), place_of(unit, model)
        jams = unit.lives.collateral_pulls() if "surprises" in names else {}
        told |= {name: told_more(place, lives, jams, name) for name in names}
    return told


def lives_of(unit: Unit, model: LifeModel) -> list[Life]:
    """The lives that a model was fitted to, by id."""
    chunks = unit.forecasts.lives_of(model)
    lives = [life_of(content) for chunk in chunks for content in json.loads(chunk)]
    return sorted(lives, key=lambda life: life.id)


def place_of(unit: Unit, model: LifeModel) -> PlacePosterior:
    """A model's posterior, fitted again to the lives that were kept with it."""
    settings = model.content["settings"]
    return fit_place(
        lives_of(unit, model),
        handbook_life=settings["handbook_life"],
        handbook_spread=settings["handbook_spread"],
        prior=Prior(**settings["prior"]),
    )

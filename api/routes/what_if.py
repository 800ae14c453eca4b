"""What if: a place reckoned again with something changed; nothing is kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Annotated, Any, Final

from fastapi import APIRouter, HTTPException
from pydantic import ConfigDict, Field, JsonValue

from api.deps import Now, UnitDep, Viewer
from api.life_models import ParameterOut, lives_of
from api.problems import documented
from api.types import Answer, Model, Name, PressName, Serial, said
from duestroke.calendar import Stop, calendar_of
from duestroke.errors import BadField
from duestroke.forecast import LifeBasis
from duestroke.forecast.kept import press_of, tool_of
from duestroke.inference.prior import Prior
from duestroke.readouts import Assumptions, Change, Sitting, what_if
from store.forecasts import LifeModel
from store.unit import Unit

router = APIRouter(
    prefix="/life-models", tags=["forecasts"], responses=documented(400, 401, 403, 404, 422, 503)
)
MOST_LEFT_OUT: Final = 2_000
_MOST_TOOLS: Final = 1_000
_EXAMPLE: Final[dict[str, JsonValue]] = {
    "kind": "ironing-ring",
    "position": "ring-3",
    "rate_factor": 1.08,
}
Factor = Annotated[float, Field(ge=0.2, le=5)]
Positive = Annotated[float, Field(gt=0, le=1000)]
Chance = Annotated[float, Field(ge=0, le=1)]


class PriorIn(Model):
    """What is believed before any life was seen; what is left out stays as it is."""

    median_df: Positive | None = None
    median_scale: Positive | None = None
    spread_scale: Positive | None = None
    families: Annotated[
        dict[str, Chance] | None, Field(description="weight of each family, in all 1")
    ] = None
    two_modes: Chance | None = None
    sudden_ratio: Positive | None = None
    sudden_ratio_scale: Positive | None = None
    sudden_shape: Positive | None = None
    sudden_shape_scale: Positive | None = None
    rate_exponent: Annotated[float | None, Field(ge=-20, le=20)] = None
    rate_exponent_scale: Positive | None = None
    number_scale: Positive | None = None
    roughness_exponent: Annotated[float | None, Field(ge=-20, le=50)] = None
    roughness_exponent_scale: Positive | None = None
    batch: Chance | None = None
    press: Chance | None = None
    group_scale: Positive | None = None


class WhatIfIn(Model):
    """A place and what is to be otherwise there; at least one change."""

    model_config = ConfigDict(json_schema_extra={"examples": [_EXAMPLE]})

    kind: Name
    position: Name
    rate_factor: Annotated[
        Factor | None,
        Field(description="strokes a minute over those of now: speed and strokes a day move"),
    ] = None
    strokes_per_day: Annotated[
        float | None,
        Field(gt=0, le=5e6, description="on a running day from now on, at the same speed"),
    ] = None
    limit_factor: Annotated[
        Factor | None, Field(description="the wear limit over the one of now")
    ] = None
    handbook_life: Annotated[float | None, Field(gt=0, le=1e15)] = None
    handbook_spread: Annotated[float | None, Field(ge=0.01, le=5)] = None
    prior: PriorIn | None = None
    leave_out: Annotated[
        list[str],
        Field(
            default_factory=list, max_length=MOST_LEFT_OUT, description="ids of lives not to count"
        ),
    ]
    press: Annotated[PressName | None, Field(description="tools of this press only")] = None
    serial: Annotated[Serial | None, Field(description="this tool only")] = None


class SideOut(Answer):
    """The place in one of the two calculations, at the mean speed of its lives."""

    model_config = ConfigDict(extra="allow")

    lives: int
    failures: int
    mean_speed_mps: float | None
    median_life: ParameterOut
    b10: ParameterOut
    spread: ParameterOut
    families: Mapping[str, float]
    handbook_life: float
    handbook_spread: float


class ApartOut(Answer):
    """Changed less now, in strokes and as a ratio."""

    strokes: float
    ratio: float


class ToolOut(Answer):
    """A running tool now and changed: state, strokes left and due times by level."""

    press: str
    serial: str
    strokes: float | None
    now: Mapping[str, Any]
    changed: Mapping[str, Any]
    difference: Annotated[
        Mapping[str, Any], Field(description="`remaining_strokes` and `due_days` by level")
    ]


class WhatIfOut(Answer):
    """Both calculations and what differs."""

    kind: str
    position: str
    now: SideOut
    changed: SideOut
    difference: Mapping[str, ApartOut]
    tools: list[ToolOut]
    tools_not_told: int
    words: list[str]


@router.post("/what-if")
def ask_what_if(body: WhatIfIn, _: Viewer, unit: UnitDep, now: Now) -> WhatIfOut:
    """The same calculation as things stand and changed, with the difference. Nothing is kept.

    404 where the place has no model; 422 where the change cannot be, or names no tool that runs.
    """
    model = unit.forecasts.model(body.kind, body.position)
    if model is None or not model.chunks:
        raise HTTPException(404, f"no life model stands for {body.kind} at {body.position}")
    settings = model.content["settings"]
    assumed = Assumptions(
        settings["handbook_life"], settings["handbook_spread"], Prior(**settings["prior"])
    )
    told = what_if(
        lives_of(unit, model),
        assumed,
        _basis(model),
        _change(body, assumed.prior),
        _tools(unit, body),
        now,
    )
    return WhatIfOut.model_validate({"kind": body.kind, "position": body.position, **told})


def _change(body: WhatIfIn, prior: Prior) -> Change:
    plain = said(body, "kind", "position", "press", "serial", "prior", "leave_out")
    given = said(body.prior) if body.prior else {}
    other = {name: value for name, value in given.items() if value is not None}
    if not (other or body.leave_out or any(value is not None for value in plain.values())):
        raise BadField("body", "no change", "at least one change")
    return Change(
        **plain,
        prior=replace(prior, **other) if other else None,
        leave_out=frozenset(body.leave_out),
    )


def _basis(model: LifeModel) -> LifeBasis:
    answer = model.answer or {}
    return LifeBasis(
        kind=model.kind,
        position=model.position,
        law=None,
        fit="what-if",
        prior_only=answer.get("prior_only", True),
        handbook_is_default=answer.get("handbook_is_default", False),
    )


def _tools(unit: Unit, body: WhatIfIn) -> Sequence[Sitting]:
    """The running tools that were asked for, from what their forecasts that stand were made of."""
    rows = [
        row
        for row in unit.forecasts.current(body.press, body.position, _MOST_TOOLS)
        if row.kind == body.kind and body.serial in (None, row.serial)
    ]
    if not rows and (body.press or body.serial):
        field = "serial" if body.serial else "press"
        raise BadField(field, body.serial or body.press, f"where a tool runs at {body.position}")
    stops = [
        Stop(row.id, row.scope, row.starts_at, row.ends_at, row.max_changes)
        for row in unit.stops.all()
    ]
    calendars = {row.press: calendar_of(row.press, stops) for row in rows}
    return [(press_of(row.inputs, calendars[row.press]), tool_of(row.inputs)) for row in rows]

"""Fitted life models, as the engine keeps them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, HTTPException, Query
from pydantic import ConfigDict, Field

from api.deps import UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.types import Answer, Name, Page, Time

router = APIRouter(
    prefix="/life-models", tags=["forecasts"], responses=documented(401, 403, 404, 422, 503)
)


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


class OneLifeModel(LifeModelOut):
    """The model of the position asked for; it also stands in `items`, as in any other answer."""

    items: list[LifeModelOut]
    next: str | None


@router.get("")
def read_life_models(
    _: Viewer,
    unit: UnitDep,
    paging: PagingDep,
    kind: Annotated[Name | None, Query()] = None,
    position: Annotated[Name | None, Query()] = None,
) -> OneLifeModel | Page[LifeModelOut]:
    """The model of one position (`position` given), or all that stand, by kind and position.

    404 where the position has no model: no basis yet, or the engine has not come round.
    """
    after = paging.after(str, str)
    rows = [row for row in unit.forecasts.models(kind, position) if row.answer]
    rows = [row for row in rows if after is None or (row.kind, row.position) > after]
    page = paging.page(rows[: paging.fetch], lambda row: [row.kind, row.position])
    items = [LifeModelOut.model_validate(row.answer) for row in page.items]
    if position is None:
        return Page(items=items, next=page.next)
    if len(items) != 1:
        raise HTTPException(404, f"no life model stands for {position}")
    return OneLifeModel(**items[0].model_dump(), items=items, next=None)

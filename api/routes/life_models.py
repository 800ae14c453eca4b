"""Fitted life models, as the engine keeps them, with read-outs worked out from their lives."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, HTTPException, Query

from api.deps import UnitDep, Viewer
from api.life_models import WITH, LifeModelOut, OneLifeModel, base_of, more_of, wanted
from api.paging import PagingDep
from api.problems import documented
from api.types import Name, Page

router = APIRouter(
    prefix="/life-models", tags=["forecasts"], responses=documented(401, 403, 404, 422, 503)
)


@router.get("")
def read_life_models(
    _: Viewer,
    unit: UnitDep,
    paging: PagingDep,
    kind: Annotated[Name | None, Query()] = None,
    position: Annotated[Name | None, Query()] = None,
    more: Annotated[
        str | None,
        Query(
            alias="with",
            max_length=200,
            description="with a position, by comma: " + ", ".join(WITH),
        ),
    ] = None,
) -> OneLifeModel | Page[LifeModelOut]:
    """The model of one position (`position` given), or all that stand, by kind and position.

    404 where the position has no model: no basis yet, or the engine has not come round.
    """
    asked = wanted(more, position)
    after = paging.after(str, str)
    rows = [row for row in unit.forecasts.models(kind, position) if row.answer]
    rows = [row for row in rows if after is None or (row.kind, row.position) > after]
    page = paging.page(rows[: paging.fetch], lambda row: [row.kind, row.position])
    items = [LifeModelOut.model_validate(base_of(row.answer or {})) for row in page.items]
    if position is None:
        return Page(items=items, next=page.next)
    if len(items) != 1:
        raise HTTPException(404, f"no life model stands for {position}")
    told = more_of(unit, page.items[0], asked)
    return OneLifeModel(**items[0].model_dump() | told, items=items, next=None)

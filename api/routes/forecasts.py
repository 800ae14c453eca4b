"""Forecasts as the engine keeps them, at any levels asked."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from fastapi import APIRouter, Query

from api.deps import UnitDep, Viewer
from api.forecast import ForecastOut
from api.paging import PagingDep
from api.problems import documented
from api.score import ForecastScoreOut
from api.types import Name, Page, PressName
from duestroke.errors import BadField
from duestroke.forecast import DEFAULT_LEVELS, answer
from duestroke.score import score_answer

router = APIRouter(
    prefix="/forecasts", tags=["forecasts"], responses=documented(401, 403, 422, 503)
)
MOST_LEVELS = 99


@router.get("")
def list_forecasts(
    _: Viewer,
    unit: UnitDep,
    paging: PagingDep,
    press: Annotated[PressName | None, Query()] = None,
    position: Annotated[Name | None, Query()] = None,
    levels: Annotated[
        str | None,
        Query(max_length=2_000, description="above 0 and below 1, by comma; left out: 0.1,0.5,0.9"),
    ] = None,
) -> Page[ForecastOut]:
    """Every tool that is in, by press and position, with when it reaches its end as a range."""
    asked = _levels(levels)
    after = paging.after(str, str)
    key = None if after is None else (after[0], after[1])
    rows = unit.forecasts.current(press, position, paging.fetch, key)
    page = paging.page(rows, lambda row: [row.press, row.position])
    items = [ForecastOut.model_validate(answer(row, asked)) for row in page.items]
    return Page(items=items, next=page.next)


@router.get("/score")
def read_score(
    _: Viewer,
    unit: UnitDep,
    kind: Annotated[Name | None, Query()] = None,
    position: Annotated[Name | None, Query()] = None,
    source: Annotated[
        Literal["live", "backtest"],
        Query(description="forecasts as they were made, or made again by `duestroke backtest`"),
    ] = "live",
) -> ForecastScoreOut:
    """How past forecasts came out, in all and by place.

    Of the forecasts on record the first of each week counts for each tool.
    """
    told = score_answer(unit.scores.all(source, kind, position))
    return ForecastScoreOut.model_validate(
        told | {"source": source, "scored_at": unit.scores.newest(source)}
    )


def _levels(text: str | None) -> tuple[float, ...]:
    if text is None:
        return tuple(DEFAULT_LEVELS)
    parts = text.split(",")
    if len(parts) > MOST_LEVELS:
        raise BadField("levels", text, f"at most {MOST_LEVELS} levels")
    return tuple(sorted({_level(part) for part in parts}))


def _level(text: str) -> float:
    try:
        level = float(text)
    except ValueError as fault:
        raise BadField("levels", text, "numbers above 0 and below 1, by comma") from fault
    if not (math.isfinite(level) and 0 < level < 1):
        raise BadField("levels", text, "numbers above 0 and below 1, by comma")
    return level

"""What was ever forecast of one tool, and how it came out."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Final, Literal

import numpy as np
from fastapi import APIRouter, Query
from pydantic import Field

from api.deps import UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.types import Answer, Page, Serial, Time
from duestroke.forecast.dates import LEVELS
from duestroke.forecast.result import DEFAULT_LEVELS, level_key
from duestroke.times import from_micros
from store.past import PastForecast, of_serial

router = APIRouter(
    prefix="/forecasts", tags=["forecasts"], responses=documented(401, 403, 422, 503)
)
_PLACES: Final = [int(np.abs(LEVELS - level).argmin()) for level in DEFAULT_LEVELS]


class OutcomeOut(Answer):
    """How a forecast came out."""

    known: Annotated[
        Literal["exact", "interval", "censored", "running"],
        Field(description="seen when it came, found between two looks, pulled before, still in"),
    ]
    strokes_left: Annotated[float, Field(description="as it came out; at least that many")]
    strokes_left_to: Annotated[float | None, Field(description="null: the end was still to come")]
    level: Annotated[float, Field(description="chance that the forecast gave to less than that")]
    level_to: float


class PastOut(Answer):
    """A forecast as it was made."""

    source: Annotated[Literal["live", "backtest"], Field(description="on record, or made again")]
    press: str
    position: str
    as_of: Time
    state: str | None
    strokes: float | None
    remaining_strokes: dict[str, float] | None
    due: dict[str, Time | None] | None
    width_80: Annotated[float | None, Field(description="strokes from its 10 % to its 90 % mark")]
    outcome: Annotated[OutcomeOut | None, Field(description="null: not scored; one a week is")]


@router.get("/past")
def list_past(
    _: Viewer, unit: UnitDep, paging: PagingDep, serial: Annotated[Serial, Query()]
) -> Page[PastOut]:
    """Forecasts that were made of a tool, oldest first, and how they came out."""
    after = paging.after(datetime, str, int)
    key = None if after is None else (after[0], after[1], after[2])
    rows = of_serial(unit.conn, serial, paging.fetch, key)
    page = paging.page(rows, lambda row: [row.as_of, row.source, row.id])
    return Page(items=[_past(row) for row in page.items], next=page.next)


def _past(row: PastForecast) -> PastOut:
    return PastOut(
        source=row.source,
        press=row.press,
        position=row.position,
        as_of=row.as_of,
        state=row.state,
        strokes=row.strokes,
        remaining_strokes=None if row.remaining is None else _at_levels(row.remaining),
        due=None if row.due_us is None else _due(row.due_us),
        width_80=row.width_80,
        outcome=_outcome(row),
    )


def _at_levels(kept: Sequence[float]) -> dict[str, float]:
    return {
        level_key(level): kept[place] for level, place in zip(DEFAULT_LEVELS, _PLACES, strict=True)
    }


def _due(kept: Sequence[int | None]) -> dict[str, datetime | None]:
    at = [kept[place] for place in _PLACES]
    return {
        level_key(level): None if each is None else from_micros(each)
        for level, each in zip(DEFAULT_LEVELS, at, strict=True)
    }


def _outcome(row: PastForecast) -> OutcomeOut | None:
    if row.outcome is None or row.left_low is None or row.pit_low is None or row.pit_high is None:
        return None
    return OutcomeOut(
        known=row.outcome,  # type: ignore[arg-type]
        strokes_left=row.left_low,
        strokes_left_to=row.left_high,
        level=row.pit_low,
        level_to=row.pit_high,
    )

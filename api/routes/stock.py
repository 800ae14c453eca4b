"""Spares: what is on the shelf, on the bench, out and on order; what will be wanted by when."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Annotated, Any, Final

import numpy as np
from fastapi import APIRouter, Path, Query, Response
from pydantic import ConfigDict, Field, JsonValue

from api.deps import Engineer, Now, UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.types import Answer, Model, Name, Page, Time
from duestroke import names
from duestroke.demand import MOST_WEEKS, Wanted, by_week, chance_at
from duestroke.errors import BadField
from duestroke.forecast.dates import LEVELS
from duestroke.forecast.result import DEFAULT_LEVELS
from duestroke.times import to_micros
from store.positions import Position, ScopedSize
from store.stock import Due, Order, Stock
from store.tools import ToolRow
from store.unit import Unit

router = APIRouter(prefix="/stock", tags=["spares"], responses=documented(401, 403, 422, 503))
demand_router = APIRouter(
    prefix="/demand", tags=["spares"], responses=documented(401, 403, 422, 503)
)
WEEK: Final = timedelta(days=7)
FEWEST_DELAYS: Final = 5
"""Past reworks from which a usual lateness is told."""
_MOST: Final = 100_000
_EXAMPLE: Final[dict[str, JsonValue]] = {
    "lead_days": 70,
    "on_order": [{"quantity": 4, "size_mm": 66.105, "due_at": "2026-04-20T00:00:00Z"}],
}


class OrderIn(Model):
    """New tools on order."""

    quantity: Annotated[int, Field(ge=1, le=10_000)]
    size_mm: Annotated[float | None, Field(gt=0, le=10_000)] = None
    due_at: Time


class StockIn(Model):
    """What the plant says of a kind's spares; a field left out keeps its value."""

    model_config = ConfigDict(json_schema_extra={"examples": [_EXAMPLE]})

    lead_days: Annotated[
        float | None, Field(ge=0, le=10_000, description="until a new one is here; null: unknown")
    ] = None
    on_order: Annotated[list[OrderIn], Field(default_factory=list, max_length=1_000)]


class OrderOut(Answer):
    """New tools on order."""

    quantity: int
    size_mm: float | None
    due_at: Time


class HeldOut(Answer):
    """A tool that is held: on the shelf, or on the bench."""

    serial: str
    size_mm: float | None
    batch: str | None
    reworks: int


class AwayOut(HeldOut):
    """A tool that is out for rework."""

    sent_at: Time | None
    back_at: Annotated[Time | None, Field(description="as promised; null: no promise")]
    back_by_90: Annotated[
        Time | None,
        Field(description="by then with chance 0.9, as past promises of the kind were kept"),
    ]


class LatenessOut(Answer):
    """Days by which past reworks came after their promise; early is negative."""

    reworks: int
    median_days: float
    days_90: float


class StockOut(Answer):
    """Spares of one kind. All but lead time and orders follows from the tools' events."""

    kind: str
    lead_days: float | None
    on_order: list[OrderOut]
    entered_at: Time | None
    entered_by: str | None
    shelf: list[HeldOut]
    bench: Annotated[list[HeldOut], Field(description="to be measured, sent or scrapped")]
    out: list[AwayOut]
    usual_lateness: Annotated[
        LatenessOut | None, Field(description="null: fewer than five past reworks with a promise")
    ]


class WantedOut(Answer):
    """A number of spares: its mean, and what is enough with chance 0.5 and 0.9."""

    expected: float
    level_50: int
    level_90: int


class WeekOut(Answer):
    """Seven days from now on: wanted in them, and in all by their end."""

    start: Annotated[Time, Field(alias="from")]
    end: Annotated[Time, Field(alias="to")]
    wanted: WantedOut
    wanted_by_then: WantedOut
    back_by_then: Annotated[int, Field(description="promised back from rework by the end")]
    ordered_by_then: Annotated[int, Field(description="on order, due by the end")]


class DemandOut(Answer):
    """Spares wanted of one kind and size."""

    kind: str
    size_mm: Annotated[float | None, Field(description="null: any size serves")]
    size_tolerance_mm: float | None
    positions: Annotated[list[str], Field(description="that ask for it")]
    tools: Annotated[int, Field(description="in presses, each with a range")]
    without_range: Annotated[int, Field(description="in presses, but nothing to forecast from")]
    shelf: Annotated[list[str], Field(description="serials that suit, on the shelf")]
    weeks: list[WeekOut]


class DemandList(Answer):
    """Wanted by kind and size. Only the next change of each place is counted."""

    items: list[DemandOut]
    made_at: Annotated[Time | None, Field(description="of the oldest forecast in it")]


@router.put(
    "/{kind}",
    responses={201: {"model": StockOut, "description": "First said"}, **documented(400, 413)},
)
def say_stock(
    kind: Annotated[str, Path(pattern=rf"^{names.PART}$", examples=["ironing-ring"])],
    body: StockIn,
    caller: Engineer,
    unit: UnitDep,
    now: Now,
    response: Response,
) -> StockOut:
    """Say how long a new one takes and what is on order. A field left out keeps its value."""
    known = unit.stock.get(kind)
    if known is None:
        raise BadField("kind", kind, "a kind that some position takes")
    said = body.model_fields_set
    orders = tuple(Order(one.quantity, one.due_at, one.size_mm) for one in body.on_order)
    stock = Stock(
        kind,
        body.lead_days if "lead_days" in said else known.lead_days,
        orders if "on_order" in said else known.on_order,
        now,
        caller.name,
    )
    response.status_code = 201 if unit.stock.put(stock) else 200
    answer = _stocks(unit, [stock])[0]
    unit.commit()
    return answer


@router.get("")
def list_stock(_: Viewer, unit: UnitDep, paging: PagingDep) -> Page[StockOut]:
    """Spares by kind: on the shelf, on the bench, out for rework, on order."""
    after = paging.after(str)
    rows = unit.stock.page(paging.fetch, after=None if after is None else after[0])
    page = paging.page(rows, lambda row: [row.kind])
    return Page(items=_stocks(unit, page.items), next=page.next)


@demand_router.get("")
def list_demand(
    _: Viewer,
    unit: UnitDep,
    now: Now,
    kind: Annotated[Name | None, Query()] = None,
    weeks: Annotated[int, Query(ge=1, le=MOST_WEEKS)] = 6,
) -> DemandList:
    """Spares wanted week by week, by kind and size, against shelf, rework and orders."""
    dues = unit.stock.dues(kind)
    stock = {row.kind: row for row in unit.stock.page(_MOST, kind=kind)}
    tools = unit.tools.page(_MOST, kind=kind)
    groups = _groups(dues, unit.positions.by_name())
    items = [
        _demand(group, dues, tools, stock.get(group[0], Stock(group[0])), now, weeks)
        for group, dues in sorted(groups.items(), key=lambda item: (item[0][0], item[0][1] or 0))
    ]
    return DemandList(items=items, made_at=min((due.made_at for due in dues), default=None))


Group = tuple[str, float | None, float | None]
"""Kind, size and tolerance."""


def _groups(dues: Iterable[Due], positions: dict[str, Position]) -> dict[Group, list[Due]]:
    groups: dict[Group, list[Due]] = {}
    for due in dues:
        size = positions[due.position].size_for(due.press)
        groups.setdefault((due.kind, size.size_mm, size.size_tolerance_mm), []).append(due)
    return groups


def _demand(
    group: Group,
    dues: Sequence[Due],
    tools: Sequence[ToolRow],
    stock: Stock,
    now: datetime,
    weeks: int,
) -> DemandOut:
    kind, size_mm, tolerance = group
    size = ScopedSize("", size_mm, tolerance)
    edges = [now + week * WEEK for week in range(weeks + 1)]
    ranged = [due for due in dues if due.due_us is not None or due.interval_us is not None]
    chances = np.array([_chance_by(due, edges) for due in ranged]).reshape(-1, weeks + 1)
    each, in_all = by_week(chances)
    mine = [tool for tool in tools if tool.kind == kind]
    return DemandOut(
        kind=kind,
        size_mm=size_mm,
        size_tolerance_mm=tolerance,
        positions=list(dict.fromkeys(due.position for due in dues)),
        tools=len(ranged),
        without_range=len(dues) - len(ranged),
        shelf=[tool.serial for tool in mine if tool.state == "shelf" and _suits(tool, size)],
        weeks=[
            WeekOut(
                start=edges[week],
                end=edges[week + 1],
                wanted=_wanted(each[week]),
                wanted_by_then=_wanted(in_all[week]),
                back_by_then=sum(_is_back(tool, edges[week + 1]) for tool in mine),
                ordered_by_then=_ordered(stock, size, edges[week + 1]),
            )
            for week in range(weeks)
        ],
    )


def _chance_by(due: Due, edges: Sequence[datetime]) -> Sequence[float]:
    """Chance of the end, or of the fixed interval, by each instant: the earlier of the two."""
    at = [to_micros(edge) for edge in edges]
    found = np.zeros(len(at))
    if due.due_us is not None:
        found = chance_at(due.due_us, LEVELS, at)
    if due.interval_us is not None:
        levels = np.array(DEFAULT_LEVELS)
        found = np.maximum(found, chance_at(due.interval_us, levels, at))
    return [float(chance) for chance in found]


def _suits(tool: ToolRow, size: ScopedSize) -> bool:
    """Whether a spare serves where that size is asked for; any does where none or no tolerance."""
    if size.size_mm is None or size.size_tolerance_mm is None:
        return True
    return (
        tool.current_mm is not None
        and abs(tool.current_mm - size.size_mm) <= size.size_tolerance_mm + 1e-9
    )


def _is_back(tool: ToolRow, by: datetime) -> bool:
    return tool.state == "out" and tool.back_at is not None and tool.back_at <= by


def _ordered(stock: Stock, size: ScopedSize, by: datetime) -> int:
    serves = (
        order
        for order in stock.on_order
        if size.size_mm is None or order.size_mm is None or order.size_mm == size.size_mm
    )
    return sum(order.quantity for order in serves if order.due_at <= by)


def _wanted(number: Wanted) -> WantedOut:
    return WantedOut(**asdict(number))


def _stocks(unit: Unit, rows: Sequence[Stock]) -> list[StockOut]:
    if not rows:
        return []
    kinds = {row.kind for row in rows}
    tools = [tool for tool in unit.tools.page(_MOST) if tool.kind in kinds]
    sent, late = unit.stock.out_since(), unit.stock.lateness()
    return [_stock(row, tools, sent, late.get(row.kind, [])) for row in rows]


def _stock(
    row: Stock, tools: Sequence[ToolRow], sent: dict[str, datetime], late: Sequence[float]
) -> StockOut:
    mine = [tool for tool in tools if tool.kind == row.kind]
    usual = _lateness(late)
    return StockOut(
        kind=row.kind,
        lead_days=row.lead_days,
        on_order=[OrderOut(**asdict(order)) for order in row.on_order],
        entered_at=row.entered_at,
        entered_by=row.entered_by,
        shelf=[HeldOut(**_held(tool)) for tool in mine if tool.state == "shelf"],
        bench=[HeldOut(**_held(tool)) for tool in mine if tool.state == "bench"],
        out=[_away(tool, sent, usual) for tool in mine if tool.state == "out"],
        usual_lateness=usual,
    )


def _held(tool: ToolRow) -> dict[str, Any]:
    named = {"serial": tool.serial, "size_mm": tool.current_mm, "batch": tool.batch}
    return named | {"reworks": tool.life}


def _away(tool: ToolRow, sent: dict[str, datetime], usual: LatenessOut | None) -> AwayOut:
    late = None
    if tool.back_at is not None and usual is not None:
        late = tool.back_at + timedelta(days=max(usual.days_90, 0.0))
    return AwayOut(
        **_held(tool), sent_at=sent.get(tool.serial), back_at=tool.back_at, back_by_90=late
    )


def _lateness(days: Sequence[float]) -> LatenessOut | None:
    if len(days) < FEWEST_DELAYS:
        return None
    median, late = np.quantile(np.array(days), (0.5, 0.9))
    return LatenessOut(
        reworks=len(days), median_days=round(float(median), 2), days_90=round(float(late), 2)
    )

"""Positions: what each takes, how long a tool should last there, its limit, size and interval."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any, Final

from fastapi import APIRouter, Path, Query, Response
from pydantic import ConfigDict, Field, JsonValue

from api.deps import Engineer, UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.types import Answer, Model, Name, Page, Scope, Text
from duestroke import names
from duestroke.errors import BadField
from store.inspections import LEAST_LIMIT, MOST_READING
from store.positions import Position, ScopedSize
from store.unit import Unit

router = APIRouter(prefix="/positions", tags=["plan"], responses=documented(401, 403, 422, 503))
_EXAMPLE: Final[dict[str, JsonValue]] = {
    "kind": "hold-ring",
    "handbook_life": 105_000_000,
    "handbook_spread": 0.35,
    "quantity": "face",
    "unit": "um",
    "limit": 20,
    "order": 75,
}
_STORED: Final = {"limit": "wear_limit", "order": "sort_order"}
_SCOPED: Final = frozenset({"size_mm", "size_tolerance_mm"})
_NEVER_NULL: Final = ("kind", "handbook_spread", "order")
LAST_ORDER: Final = 800
"""Where a new position stands from cup to dome when nobody says: last, before the press itself."""


class PositionIn(Model):
    """What a position is. A field left out keeps its value; `null` takes it away."""

    model_config = ConfigDict(json_schema_extra={"examples": [_EXAMPLE]})

    kind: Annotated[Name | None, Field(description="a new position needs it")] = None
    handbook_life: Annotated[
        float | None, Field(ge=1, le=1e15, description="strokes, the plant's own median life")
    ] = None
    handbook_spread: Annotated[
        float | None, Field(ge=0.01, le=3, description="standard deviation of log life")
    ] = None
    quantity: Annotated[Text | None, Field(min_length=1, max_length=64)] = None
    unit: Annotated[Text | None, Field(min_length=1, max_length=16)] = None
    limit: Annotated[
        float | None,
        Field(description="change since fit or rework at its end; the sign is its direction"),
    ] = None
    size_mm: Annotated[float | None, Field(gt=0, le=10_000)] = None
    size_tolerance_mm: Annotated[float | None, Field(ge=0, le=10_000)] = None
    order: Annotated[int | None, Field(ge=0, le=10_000, description="from cup to dome")] = None
    interval_strokes: Annotated[int | None, Field(ge=1, le=2**53)] = None
    interval_days: Annotated[float | None, Field(ge=0.01, le=36_500)] = None


class SizeOut(Answer):
    """Size of a position in one site, line or press."""

    scope: str
    size_mm: float | None
    size_tolerance_mm: float | None


class PositionOut(Answer):
    """A position as the plant has defined it."""

    position: str
    kind: str
    handbook_life: float | None
    handbook_spread: float
    handbook_own: Annotated[
        bool, Field(description="the plant's own figure; false: a default, not your plant's")
    ]
    quantity: str | None
    unit: str | None
    limit: float | None
    size_mm: float | None
    size_tolerance_mm: float | None
    sizes: Annotated[list[SizeOut], Field(description="where a line or press differs")]
    order: int
    interval_strokes: int | None
    interval_days: float | None


@router.put(
    "/{position}",
    status_code=201,
    responses={200: {"model": PositionOut, "description": "Changed"}, **documented(400, 409, 413)},
)
def put_position(
    position: Annotated[str, Path(pattern=rf"^{names.PART}$", examples=["hold-ring"])],
    body: PositionIn,
    _: Engineer,
    unit: UnitDep,
    response: Response,
    scope: Annotated[
        Scope | None, Query(description="`size_mm` and `size_tolerance_mm` for this line or press")
    ] = None,
) -> PositionOut:
    """Define a position (201) or change it (200)."""
    given = {name: getattr(body, name) for name in body.model_fields_set}
    _check(position, given)
    known = unit.positions.by_name().get(position)
    if scope is None:
        made = unit.positions.put(_merged(position, given, known))
    else:
        made = _put_size(position, given, known, scope, unit)
    unit.commit()
    response.status_code = 201 if made else 200
    return _out(unit.positions.by_name()[position])


def _check(position: str, given: dict[str, Any]) -> None:
    for name in _NEVER_NULL:
        if name in given and given[name] is None:
            raise BadField(name, None, "a value, or left out")
    limit = given.get("limit")
    if limit is not None and not LEAST_LIMIT <= abs(limit) <= MOST_READING:
        allowed = f"{LEAST_LIMIT:g} to {MOST_READING:g} above or below 0, or null"
        raise BadField("limit", limit, allowed)
    is_press = position == names.PRESS_POSITION
    if given.get("kind", position if is_press else None) == names.PRESS_POSITION and not is_press:
        raise BadField("kind", "press", "a kind of tool; `press` is the press itself")
    if is_press and given.get("kind", names.PRESS_POSITION) != names.PRESS_POSITION:
        raise BadField("kind", given["kind"], "press")


def _merged(position: str, given: dict[str, Any], known: Position | None) -> Position:
    if known is None:
        if "kind" not in given:
            raise BadField("kind", None, "a kind: the position is new")
        known = Position(position, str(given["kind"]), LAST_ORDER)
    change = {_STORED.get(name, name): value for name, value in given.items()}
    if "handbook_life" in given:
        change["handbook_own"] = given["handbook_life"] is not None
    return replace(known, **change)


def _put_size(
    position: str, given: dict[str, Any], known: Position | None, scope: str, unit: Unit
) -> bool:
    if known is None:
        raise BadField("position", position, "a position that is defined: leave scope out first")
    for name in sorted(given.keys() - _SCOPED):
        # What says again what stands anyway does no harm.
        if given[name] != getattr(known, _STORED.get(name, name)):
            raise BadField(name, given[name], "only size_mm and size_tolerance_mm with a scope")
    held = {size.scope: size for size in known.sizes}.get(scope, ScopedSize(scope, None, None))
    sizes = {name: given[name] for name in given.keys() & _SCOPED}
    return unit.positions.put_size(position, replace(held, **sizes))


@router.get("")
def list_positions(_: Viewer, unit: UnitDep, paging: PagingDep) -> Page[PositionOut]:
    """Positions from cup to dome; the press itself comes last."""
    after = paging.after(int, str)
    rows = [
        row
        for row in unit.positions.all()
        if after is None or (row.sort_order, row.position) > (after[0], after[1])
    ]
    page = paging.page(rows[: paging.fetch], lambda row: [row.sort_order, row.position])
    return Page(items=[_out(row) for row in page.items], next=page.next)


def _out(row: Position) -> PositionOut:
    same = PositionOut.model_fields.keys() - {"limit", "order", "sizes"}
    sizes = [
        SizeOut(scope=s.scope, size_mm=s.size_mm, size_tolerance_mm=s.size_tolerance_mm)
        for s in row.sizes
    ]
    values = {name: getattr(row, name) for name in same}
    return PositionOut(**values, limit=row.wear_limit, order=row.sort_order, sizes=sizes)

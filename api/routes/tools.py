"""Tools: registered, listed, and each with its history and its strokes."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal, cast

from fastapi import APIRouter, HTTPException, Path, Query, Response
from pydantic import ConfigDict, Field, JsonValue

from api.deps import Crew, Now, UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.routes.inspections import InspectionOut, inspection_out
from api.routes.tool_events import EventOut, event_out
from api.types import Answer, Model, Name, Page, PressName, Serial, Text, Time
from duestroke import names
from duestroke.errors import BadField
from duestroke.ledger import Reason, ages
from store.ledger_rows import Stretch
from store.moves import Cause, Figure, Move, Subject, of_tool
from store.tools import ToolRow
from store.unit import Unit

router = APIRouter(prefix="/tools", tags=["tools"], responses=documented(401, 403, 422, 503))
State = Literal["shelf", "fitted", "bench", "out", "scrapped"]
_EXAMPLE: Final[dict[str, JsonValue]] = {
    "serial": "IR24-0412-M",
    "kind": "ironing-ring",
    "batch": "IR-2404",
    "size_mm": 66.105,
}


class ToolIn(Model):
    """A tool to register, new."""

    model_config = ConfigDict(json_schema_extra={"examples": [_EXAMPLE]})

    serial: Serial
    kind: Annotated[Name, Field(description="a kind that some position takes")]
    batch: Annotated[Text | None, Field(max_length=200)] = None
    size_mm: Annotated[float | None, Field(gt=0, le=10_000)] = None
    note: Annotated[Text | None, Field(max_length=2_000)] = None


class ToolOut(Answer):
    """A tool as its events have left it."""

    serial: str
    kind: str
    batch: str | None
    size_mm: Annotated[float | None, Field(description="now; a rework may have changed it")]
    registered_size_mm: float | None
    note: str | None
    state: Annotated[
        State, Field(description="`bench` also while it lacks a size that its kind is asked for")
    ]
    press: str | None
    position: str | None
    reworks: int
    back_at: Annotated[Time | None, Field(description="promised return while `out`")]
    registered_at: Time
    registered_by: str


class ToolMade(ToolOut):
    """A tool as registered."""

    warnings: list[str]


class AgesOut(Answer):
    """Strokes of a tool; null where nobody knows, and `since_fit` while it is not fitted."""

    since_fit: int | None
    since_rework: int | None
    since_new: int | None


class FitOut(Answer):
    """A stretch of a tool in one position of one press."""

    id: Annotated[str, Field(description="the event that began it")]
    press: str
    position: str
    fitted_at: Time
    pulled_at: Time | None
    reason: Reason | None
    size_mm: float | None
    strokes: Annotated[int, Field(description="run in this stretch, up to now while it is in")]
    strokes_before: Annotated[int | None, Field(description="since rework, when it was fitted")]


class MoveOut(Answer):
    """A figure of this tool that moved after it was written down."""

    subject: Annotated[Subject, Field(description="what it is a figure of")]
    id: Annotated[str, Field(description="of that fit, event or inspection")]
    figure: Annotated[
        Figure,
        Field(
            description="`strokes` run in a stretch, `strokes_before` it, or the press's total then"
        ),
    ]
    was: int | None
    became: Annotated[int | None, Field(description="null also where it was taken back")]
    cause: Cause
    cause_id: Annotated[str | None, Field(description="the event, or the flag that was settled")]
    reason: str
    at: Time
    by: str


class ToolWhole(ToolOut):
    """A tool with its strokes and its whole history."""

    strokes: AgesOut
    fits: Annotated[list[FitOut], Field(description="oldest first")]
    history: Annotated[list[EventOut], Field(description="its events, corrected ones included")]
    inspections: list[InspectionOut]
    moves: Annotated[
        list[MoveOut], Field(description="every figure that moved, with both values, and why")
    ]


@router.post(
    "",
    status_code=201,
    responses={
        200: {"model": ToolMade, "description": "Registered before"},
        **documented(400, 409, 413),
    },
)
def register_tool(
    body: ToolIn, caller: Crew, unit: UnitDep, now: Now, response: Response
) -> ToolMade:
    """Register a tool. The same one again: 200; other content under its serial: 409."""
    kinds = sorted({p.kind for p in unit.positions.all() if p.position != names.PRESS_POSITION})
    if body.kind not in kinds:
        raise BadField("kind", body.kind, "one of " + ", ".join(kinds))
    tool, made = unit.tools.add(
        body.serial,
        body.kind,
        batch=body.batch,
        size_mm=body.size_mm,
        note=body.note,
        by=caller.name,
        at=now,
    )
    unit.commit()
    response.status_code = 201 if made else 200
    waits = tool.state == "bench" and tool.current_mm is None
    words = ["it waits on the bench until its size is on record"] if waits else []
    return ToolMade(**_values(tool), warnings=words)


@router.get("")
def list_tools(
    _: Viewer,
    unit: UnitDep,
    paging: PagingDep,
    kind: Annotated[Name | None, Query()] = None,
    press: Annotated[PressName | None, Query()] = None,
    state: Annotated[State | None, Query()] = None,
) -> Page[ToolOut]:
    """Tools by serial."""
    after = paging.after(str)
    rows = unit.tools.page(
        paging.fetch, kind=kind, press=press, state=state, after=after[0] if after else None
    )
    page = paging.page(rows, lambda row: [row.serial])
    return Page(items=[ToolOut(**_values(row)) for row in page.items], next=page.next)


@router.get("/{serial}", responses=documented(404))
def read_tool(
    serial: Annotated[str, Path(pattern=rf"^{names.SERIAL}$", examples=["IR24-0412-M"])],
    _: Viewer,
    unit: UnitDep,
) -> ToolWhole:
    """One tool: where it is, its strokes since fit, rework and new, and its whole history."""
    tool = unit.tools.get(serial)
    if tool is None:
        raise HTTPException(404, f"no tool has the serial {serial}")
    return _whole(tool, unit)


def _whole(tool: ToolRow, unit: Unit) -> ToolWhole:
    stretches = unit.ledger.stretches(tool.serial)
    reckoned = ages([stretch.as_run() for stretch in stretches], tool.life)
    strokes = AgesOut(
        since_fit=reckoned.since_fit,
        since_rework=reckoned.since_rework,
        since_new=reckoned.since_new,
    )
    return ToolWhole(
        **_values(tool),
        strokes=strokes,
        fits=[_fit_out(stretch) for stretch in stretches],
        history=[event_out(row) for row in unit.ledger.page(None, serial=tool.serial)],
        inspections=[
            inspection_out(row) for row in unit.inspections.page(None, serial=tool.serial)
        ],
        moves=[_move_out(move) for move in of_tool(unit.conn, tool.serial)],
    )


def _move_out(move: Move) -> MoveOut:
    same = MoveOut.model_fields.keys() - {"id"}
    return MoveOut(id=move.subject_id, **{name: getattr(move, name) for name in same})


def _fit_out(stretch: Stretch) -> FitOut:
    return FitOut(
        id=str(stretch.id),
        press=stretch.press,
        position=stretch.position,
        fitted_at=stretch.fitted_at,
        pulled_at=stretch.pulled_at,
        reason=cast(Reason | None, stretch.reason),
        size_mm=stretch.size_mm,
        strokes=stretch.run,
        strokes_before=stretch.strokes_before,
    )


def _values(tool: ToolRow) -> dict[str, Any]:
    same = ("serial", "kind", "batch", "note", "state", "press", "position", "back_at")
    made = ("registered_at", "registered_by")
    return {name: getattr(tool, name) for name in (*same, *made)} | {
        "size_mm": tool.current_mm,
        "registered_size_mm": tool.size_mm,
        "reworks": tool.life,
    }

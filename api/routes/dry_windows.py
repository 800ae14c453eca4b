"""Dry windows: stretches in which a press made strokes without a cup, with a reason."""

from __future__ import annotations

import uuid
from dataclasses import asdict
from datetime import datetime
from typing import Annotated, Any, Final

from fastapi import APIRouter, HTTPException, Path, Query, Response
from pydantic import ConfigDict, Field, JsonValue

from api.deps import Engineer, Now, UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.types import Answer, Model, Page, PressName, SenderId, Text, Time
from api.window import WindowDep
from duestroke import names
from duestroke.errors import BadField
from duestroke.times import format_time
from store.dry import DryWindow

router = APIRouter(
    prefix="/dry-windows", tags=["presses"], responses=documented(401, 403, 422, 503)
)
_EXAMPLE: Final[dict[str, JsonValue]] = {
    "id": "size-change-3-08",
    "press": "harlow-mere/2/07",
    "from": "2026-02-27T22:10:00Z",
    "to": "2026-02-27T22:35:00Z",
    "reason": "set up after the change of can size, no cups",
}


class DryWindowIn(Model):
    """A window in which a press ran without cups."""

    model_config = ConfigDict(json_schema_extra={"examples": [_EXAMPLE]})

    id: SenderId | None = None
    press: PressName
    start: Annotated[Time, Field(alias="from", description="held")]
    end: Annotated[Time, Field(alias="to", description="not held; after `from`, not in the future")]
    reason: Annotated[Text, Field(min_length=1, max_length=1_000)]


class DryWindowOut(Answer):
    """A window marked dry. Its strokes stay counted."""

    id: str
    press: str
    start: Annotated[Time, Field(alias="from")]
    end: Annotated[Time, Field(alias="to")]
    reason: str
    strokes: Annotated[int, Field(description="counted in it")]
    entered_at: Time
    entered_by: Annotated[str, Field(description="name of the token that entered it")]
    taken_back_at: Annotated[Time | None, Field(description="null: it counts")]
    taken_back_by: str | None


@router.post(
    "",
    status_code=201,
    responses={200: {"model": DryWindowOut, "description": "Sent before"}, **documented(400, 409)},
)
def mark_dry(
    body: DryWindowIn, caller: Engineer, unit: UnitDep, now: Now, response: Response
) -> DryWindowOut:
    """Mark a window as dry. The same one again: 200; other content under its id: 409."""
    if body.end > now:
        raise BadField("to", format_time(body.end), "a time not in the future")
    asked = DryWindow(
        id=body.id or uuid.uuid4().hex,
        press=body.press,
        starts_at=body.start,
        ends_at=body.end,
        reason=body.reason,
        entered_at=now,
        entered_by=caller.name,
    )
    window, made = unit.dry_windows.add(asked)
    unit.commit()
    response.status_code = 201 if made else 200
    return DryWindowOut(**_values(window))


@router.get("")
def list_dry_windows(
    _: Viewer,
    unit: UnitDep,
    asked: WindowDep,
    paging: PagingDep,
    press: Annotated[PressName | None, Query()] = None,
    counting: Annotated[
        bool | None, Query(description="only those that count, or only those taken back")
    ] = None,
) -> Page[DryWindowOut]:
    """Dry windows that reach into the window of time, by their start."""
    after = paging.after(datetime, str)
    key = None if after is None else (after[0], after[1])
    rows = unit.dry_windows.page(
        paging.fetch, press=press, counting=counting, frm=asked.start, to=asked.end, after=key
    )
    page = paging.page(rows, lambda row: [row.starts_at, row.id])
    return Page(items=[DryWindowOut(**_values(row)) for row in page.items], next=page.next)


@router.delete("/{window_id}", status_code=204, responses=documented(404))
def take_back_dry_window(
    window_id: Annotated[str, Path(pattern=rf"^{names.SERIAL}$", examples=["size-change-3-08"])],
    caller: Engineer,
    unit: UnitDep,
    now: Now,
) -> None:
    """Let a window count no more. It stays on record, with who took it back and when."""
    if not unit.dry_windows.take_back(window_id, by=caller.name, at=now):
        raise HTTPException(404, f"no dry window that counts has the id {window_id}")
    unit.commit()


def _values(window: DryWindow) -> dict[str, Any]:
    values = asdict(window)
    return values | {"start": values.pop("starts_at"), "end": values.pop("ends_at")}

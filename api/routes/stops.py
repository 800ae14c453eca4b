"""Planned stops of a site, a line or a press."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Annotated, Any, Final

from fastapi import APIRouter, HTTPException, Path, Query, Response
from pydantic import ConfigDict, Field, JsonValue

from api.deps import Engineer, Now, UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.types import Answer, Model, Page, Scope, SenderId, Time
from api.window import WindowDep
from duestroke import names
from store.stops import Stop

router = APIRouter(prefix="/stops", tags=["plan"], responses=documented(401, 403, 422, 503))
_EXAMPLE: Final[dict[str, JsonValue]] = {
    "id": "line-2-clean-2026-w10",
    "scope": "harlow-mere/2",
    "from": "2026-03-04T07:00:00Z",
    "to": "2026-03-04T11:00:00Z",
    "max_changes": 8,
}


class StopIn(Model):
    """A stop to plan."""

    model_config = ConfigDict(json_schema_extra={"examples": [_EXAMPLE]})

    id: SenderId | None = None
    scope: Scope
    start: Annotated[Time, Field(alias="from")]
    end: Annotated[Time, Field(alias="to", description="after `from`")]
    max_changes: Annotated[
        int | None, Field(ge=0, le=10_000, description="tools that can be changed in it")
    ] = None


class StopOut(Answer):
    """A planned stop."""

    id: str
    scope: str
    start: Annotated[Time, Field(alias="from")]
    end: Annotated[Time, Field(alias="to")]
    max_changes: int | None
    entered_at: Time
    entered_by: str


class StopMade(StopOut):
    """A stop as planned, with what should be looked at."""

    warnings: list[str]


@router.post(
    "",
    status_code=201,
    responses={200: {"model": StopMade, "description": "Sent before"}, **documented(400, 409, 413)},
)
def plan_stop(
    body: StopIn, caller: Engineer, unit: UnitDep, now: Now, response: Response
) -> StopMade:
    """Plan a stop. The same one again: 200; other content under its id: 409."""
    stop_id = body.id or uuid.uuid4().hex
    asked = Stop(stop_id, body.scope, body.start, body.end, body.max_changes, now, caller.name)
    stop, made = unit.stops.add(asked)
    unit.commit()
    response.status_code = 201 if made else 200
    words = ["it is over already"] if stop.ends_at <= now else []
    return StopMade(**_values(stop), warnings=words)


@router.get("")
def list_stops(
    _: Viewer,
    unit: UnitDep,
    asked: WindowDep,
    paging: PagingDep,
    scope: Annotated[
        Scope | None, Query(description="stops that touch it, in full or part")
    ] = None,
) -> Page[StopOut]:
    """Stops that reach into the window, by their start."""
    after = paging.after(datetime, str)
    key = None if after is None else (after[0], after[1])
    rows = unit.stops.page(paging.fetch, scope=scope, frm=asked.start, to=asked.end, after=key)
    page = paging.page(rows, lambda row: [row.starts_at, row.id])
    return Page(items=[StopOut(**_values(row)) for row in page.items], next=page.next)


@router.delete("/{stop_id}", status_code=204, responses=documented(404))
def drop_stop(
    stop_id: Annotated[str, Path(pattern=rf"^{names.SERIAL}$", examples=["line-2-clean-2026-w10"])],
    _: Engineer,
    unit: UnitDep,
) -> None:
    """Take a stop out of the plan."""
    if not unit.stops.remove(stop_id):
        raise HTTPException(404, f"no stop has the id {stop_id}")
    unit.commit()


def _values(stop: Stop) -> dict[str, Any]:
    same = ("id", "scope", "max_changes", "entered_at", "entered_by")
    return {name: getattr(stop, name) for name in same} | {
        "start": stop.starts_at,
        "end": stop.ends_at,
    }

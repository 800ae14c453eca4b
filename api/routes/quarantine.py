"""What could not be taken in: listed with its bytes, tried again, set aside; nothing is erased."""

from __future__ import annotations

import base64
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, HTTPException, Path, Query
from pydantic import Field

from api.deps import Engineer, Now, UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.types import BIGINT_MAX, Answer, Page, PressName, Time
from store.quarantine import Quarantined

router = APIRouter(
    prefix="/quarantine", tags=["quarantine"], responses=documented(401, 403, 422, 503)
)

Reason = Literal["malformed", "topic", "field", "conflict", "future", "past", "unknown-press"]
State = Literal["waiting", "replayed", "dropped"]


def _named(row_id: Annotated[str, Path()]) -> int | None:
    """The id that a path names; None where nothing can have it: no such row, not a wrong field."""
    is_number = row_id.isascii() and row_id.isdecimal() and len(row_id) <= len(str(BIGINT_MAX))
    return int(row_id) if is_number and int(row_id) <= BIGINT_MAX else None


QuarantineId = Annotated[int | None, Depends(_named)]


class QuarantinedOut(Answer):
    """A refused payload."""

    id: int
    received_at: Annotated[Time, Field(description="when it first came")]
    last_received_at: Time
    times: Annotated[int, Field(description="how often the same bytes came")]
    topic: str
    payload_base64: str
    reason: Reason
    field: str | None
    detail: str
    press: str | None
    state: State


@router.get("")
def list_quarantine(
    _: Viewer,
    unit: UnitDep,
    paging: PagingDep,
    reason: Annotated[Reason | None, Query()] = None,
    press: Annotated[PressName | None, Query()] = None,
    state: Annotated[State | None, Query()] = None,
) -> Page[QuarantinedOut]:
    """Refused payloads in the order in which they first came."""
    after = paging.after(int)
    rows = unit.quarantine.page(
        reason=reason,
        press=press,
        state=state,
        limit=paging.fetch,
        after=after[0] if after else None,
    )
    return paging.page([_out(row) for row in rows], lambda row: [row.id])


@router.post("/{row_id}/replay", responses=documented(404))
def replay_quarantined(
    row_id: QuarantineId, _: Engineer, unit: UnitDep, now: Now
) -> QuarantinedOut:
    """Try a payload again; `state` tells whether it went in. What is refused again waits on."""
    return _done(None if row_id is None else unit.quarantine.replay(row_id, now), unit)


@router.delete("/{row_id}", responses=documented(404))
def drop_quarantined(row_id: QuarantineId, _: Engineer, unit: UnitDep) -> QuarantinedOut:
    """Set a payload aside; it stays on record as `dropped`."""
    return _done(None if row_id is None else unit.quarantine.drop(row_id), unit)


def _done(row: Quarantined | None, unit: UnitDep) -> QuarantinedOut:
    if row is None:
        raise HTTPException(404, "nothing in quarantine has this id")
    unit.commit()
    return _out(row)


def _out(row: Quarantined) -> QuarantinedOut:
    return QuarantinedOut.model_validate(
        {name: getattr(row, name) for name in QuarantinedOut.model_fields if hasattr(row, name)}
        | {"payload_base64": base64.b64encode(row.payload).decode()}
    )

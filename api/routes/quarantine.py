"""What could not be taken in: listed with its bytes, tried again, set aside; nothing is erased."""

from __future__ import annotations

import base64
from typing import Annotated, Literal

from fastapi import APIRouter, HTTPException, Path, Query
from pydantic import Field

from api.deps import Engineer, Now, UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.types import Answer, Page, PressName, RowId, Time
from store.quarantine import Quarantined

router = APIRouter(
    prefix="/quarantine", tags=["quarantine"], responses=documented(401, 403, 422, 503)
)

Reason = Literal["malformed", "topic", "field", "conflict", "future", "past", "unknown-press"]
State = Literal["waiting", "replayed", "dropped"]
QuarantineId = Annotated[RowId, Path()]


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
    row = unit.quarantine.replay(row_id, now)
    return _done(row, row_id, unit)


@router.delete("/{row_id}", responses=documented(404))
def drop_quarantined(row_id: QuarantineId, _: Engineer, unit: UnitDep) -> QuarantinedOut:
    """Set a payload aside; it stays on record as `dropped`."""
    row = unit.quarantine.drop(row_id)
    return _done(row, row_id, unit)


def _done(row: Quarantined | None, row_id: int, unit: UnitDep) -> QuarantinedOut:
    if row is None:
        raise HTTPException(404, f"nothing in quarantine has the id {row_id}")
    unit.commit()
    return _out(row)


def _out(row: Quarantined) -> QuarantinedOut:
    return QuarantinedOut.model_validate(
        {name: getattr(row, name) for name in QuarantinedOut.model_fields if hasattr(row, name)}
        | {"payload_base64": base64.b64encode(row.payload).decode()}
    )

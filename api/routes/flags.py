"""Flags: where strokes may be hidden, and settling them."""

from __future__ import annotations

import uuid
from dataclasses import asdict
from datetime import datetime
from typing import Annotated, Final, cast

from fastapi import APIRouter, Depends, HTTPException, Path, Query
from pydantic import ConfigDict, Field

from api.deps import Engineer, Now, UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.types import Answer, Model, Page, PressName, Text, Time
from duestroke.counting.types import Kind
from duestroke.errors import BadField
from store.strokes import StoredFlag

router = APIRouter(prefix="/flags", tags=["flags"], responses=documented(401, 403, 422, 503))
_NO_FLAG: Final = "no two neighbouring readings have a flag of this id now"


class SettledOut(Answer):
    """How a flag was settled: strokes that were hidden, why, by whom and when."""

    strokes: int
    reason: str
    by: str
    at: Time


class FlagOut(Answer):
    """Two neighbouring readings between which strokes may be hidden."""

    id: uuid.UUID
    press: str
    kinds: list[Kind]
    start: Annotated[Time, Field(alias="from", description="`at` of the earlier reading")]
    end: Annotated[Time, Field(alias="to", description="`at` of the later reading")]
    counted: int
    hidden_at_most: Annotated[int, Field(description="0 once settled")]
    settled: SettledOut | None
    candidates: Annotated[
        list[int],
        Field(
            description="kind `wrap`: the counts that whole turns of the counter leave open, the "
            "counted one first, at most 100; else empty",
            examples=[[25664, 91200]],
        ),
    ]


class SettleIn(Model):
    """What an engineer found out about a flag."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"strokes": 1200, "reason": "shift book: ran 5 minutes"}]}
    )

    strokes: Annotated[
        int | None,
        Field(
            ge=-(2**53),
            le=2**53,
            description="strokes that were hidden; negative, at most by what was counted, if too "
            "many",
        ),
    ] = None
    candidate: Annotated[
        int | None,
        Field(
            ge=0,
            le=2**53,
            description="instead of `strokes`: which of the flag's `candidates` is what really ran",
        ),
    ] = None
    reason: Annotated[Text, Field(min_length=1, max_length=1_000)]


def flag_out(flag: StoredFlag) -> FlagOut:
    """A flag as the API shows it."""
    settled = flag.settled
    return FlagOut(
        id=flag.id,
        press=flag.press,
        kinds=cast(list[Kind], flag.kinds),
        start=flag.start,
        end=flag.end,
        counted=flag.counted,
        hidden_at_most=flag.hidden_at_most,
        settled=None if settled is None else SettledOut.model_validate(asdict(settled)),
        candidates=flag.candidates,
    )


@router.get("")
def list_flags(
    _: Viewer,
    unit: UnitDep,
    paging: PagingDep,
    press: Annotated[PressName | None, Query()] = None,
    is_open: Annotated[
        bool | None, Query(alias="open", description="only open, or settled")
    ] = None,
) -> Page[FlagOut]:
    """Flags by the time of their later reading."""
    rows = unit.flags.page(press=press, open_only=is_open, limit=paging.fetch, after=_after(paging))
    return paging.page([flag_out(row) for row in rows], lambda flag: [flag.end, str(flag.id)])


def _named(flag_id: Annotated[str, Path()]) -> uuid.UUID | None:
    """The id that a path names; None where no flag can have it: no such flag, not a wrong field."""
    try:
        return uuid.UUID(flag_id)
    except ValueError:
        return None


@router.post("/{flag_id}/settle", responses=documented(400, 404))
def settle_flag(
    flag_id: Annotated[uuid.UUID | None, Depends(_named)],
    body: SettleIn,
    caller: Engineer,
    unit: UnitDep,
    now: Now,
) -> FlagOut:
    """Add the strokes that were hidden, or choose a candidate; settling again replaces it.

    What rests on the count (totals, tools' strokes, buckets) moves with it at once.
    """
    if flag_id is None:
        raise HTTPException(404, _NO_FLAG)
    settled = unit.flags.settle(
        flag_id,
        strokes=body.strokes,
        candidate=body.candidate,
        reason=body.reason,
        by=caller.name,
        at=now,
    )
    if settled is None:
        raise HTTPException(404, _NO_FLAG)
    unit.commit()
    return flag_out(settled)


def _after(paging: PagingDep) -> tuple[datetime, uuid.UUID] | None:
    key = paging.after(datetime, str)
    if key is None:
        return None
    try:
        return key[0], uuid.UUID(key[1])
    except ValueError as fault:
        raise BadField("cursor", paging.cursor, "the `next` of an earlier page") from fault

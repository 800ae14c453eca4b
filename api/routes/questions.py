"""What the record asks back, listed and answered."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Path, Query
from pydantic import ConfigDict, Field

from api.deps import Crew, Now, UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.routes.tool_events import AnySerial
from api.types import Answer, Model, Page, PressName, Text, Time
from duestroke.ledger.readings import QuestionKind
from store.questions import QuestionRow

router = APIRouter(prefix="/questions", tags=["tools"], responses=documented(401, 403, 422, 503))


class QuestionOut(Answer):
    """Something that only somebody who knows can say. Nothing follows from it by itself."""

    id: str
    kind: Annotated[
        QuestionKind,
        Field(
            description="`backwards`: wear read less than before; `implausible`: far from its "
            "limit or from the last reading; `set-limit`: what several tools make is past its limit"
        ),
    ]
    serial: str
    press: str | None
    position: str | None
    inspection: Annotated[str, Field(description="the reading that asks it")]
    against: Annotated[str | None, Field(description="the reading that it does not fit to")]
    words: str
    raised_at: Time
    closed_at: Annotated[Time | None, Field(description="null: open")]
    closed_by: Annotated[
        str | None, Field(description="null while open, and where the record was put right")
    ]
    reason: str | None


class CloseIn(Model):
    """An answer."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"reason": "ring was changed on Tuesday, now entered"}]}
    )

    reason: Annotated[Text, Field(min_length=1, max_length=2_000)]


@router.get("")
def list_questions(
    _: Viewer,
    unit: UnitDep,
    paging: PagingDep,
    press: Annotated[PressName | None, Query()] = None,
    serial: Annotated[AnySerial | None, Query()] = None,
    is_open: Annotated[bool | None, Query(alias="open")] = None,
) -> Page[QuestionOut]:
    """Questions by the time they were raised; `open=true` those that wait for an answer."""
    after = paging.after(datetime, str)
    rows = unit.questions.page(
        paging.fetch,
        press=press,
        serial=serial,
        is_open=is_open,
        after=None if after is None else (after[0], after[1]),
    )
    page = paging.page(rows, lambda row: [row.raised_at, row.id])
    return Page(items=[_out(row) for row in page.items], next=page.next)


@router.post("/{question_id}/close", responses=documented(400, 404, 409, 413))
def close_question(
    question_id: Annotated[str, Path(pattern=r"^[0-9a-f]{32}$")],
    body: CloseIn,
    caller: Crew,
    unit: UnitDep,
    now: Now,
) -> QuestionOut:
    """Answer a question with a reason. A reading in question counts again from then on."""
    row = unit.questions.close(question_id, reason=body.reason, by=caller.name, at=now)
    if row is None:
        raise HTTPException(404, f"no question has the id {question_id}")
    unit.commit()
    return _out(row)


def _out(row: QuestionRow) -> QuestionOut:
    same = QuestionOut.model_fields.keys() - {"inspection", "against"}
    values: dict[str, Any] = {name: getattr(row, name) for name in same}
    return QuestionOut(**values, inspection=row.inspection_id, against=row.against_id)

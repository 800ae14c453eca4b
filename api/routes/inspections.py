"""Inspections: a verdict, a reading or both, entered and listed."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Query, Response
from pydantic import ConfigDict, Field, JsonValue

from api.deps import Crew, Now, UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.routes.tool_events import AnySerial
from api.types import Answer, Model, Page, PressName, SenderId, Text, Time, said
from api.window import WindowDep
from duestroke.ledger.readings import near_limit, unlikely
from store.inspections import Inspection, InspectionRow
from store.unit import Unit

router = APIRouter(prefix="/inspections", tags=["tools"], responses=documented(401, 403, 422, 503))
Verdict = Literal["good", "worn"]
_EXAMPLES: Final[list[JsonValue]] = [
    {"serial": "IR24-0412-M", "at": "2026-03-01T09:10:00Z", "verdict": "good"},
    {
        "serial": "IR24-0412-M",
        "at": "2026-03-01T09:10:00Z",
        "quantity": "bore",
        "value": 4.2,
        "unit": "um",
        "limit": 6.0,
        "uncertainty": 0.8,
    },
]


class InspectionIn(Model):
    """A verdict, a reading (`quantity`, `value`, `unit`), or both."""

    model_config = ConfigDict(json_schema_extra={"examples": _EXAMPLES})

    id: SenderId | None = None
    serial: AnySerial
    at: Annotated[Time, Field(description="when it was looked at, not in the future")]
    verdict: Verdict | None = None
    quantity: Annotated[Text | None, Field(min_length=1, max_length=64, examples=["bore"])] = None
    value: float | None = None
    unit: Annotated[Text | None, Field(min_length=1, max_length=16, examples=["um"])] = None
    limit: Annotated[
        float | None, Field(description="value at which it comes out; left out: the position's")
    ] = None
    uncertainty: Annotated[
        float | None,
        Field(ge=0, description="half-width of the reading's 95 % range, in the same unit"),
    ] = None
    by: Annotated[Text | None, Field(max_length=200, description="who looked")] = None
    corrects: Annotated[
        SenderId | None, Field(description="the inspection that this one stands for from now on")
    ] = None
    void: Annotated[bool | None, Field(description="only take back the one it corrects")] = None
    note: Annotated[Text | None, Field(max_length=2_000)] = None

    def as_inspection(self) -> Inspection:
        """The inspection of the store, with an id made where none was sent."""
        return Inspection(
            id=self.id or uuid.uuid4().hex,
            reading_limit=self.limit,
            void=self.void or False,
            **said(self, "id", "limit", "void"),
        )


class InspectionOut(Answer):
    """An inspection on record."""

    id: str
    serial: str
    at: Time
    verdict: Verdict | None
    quantity: str | None
    value: float | None
    unit: str | None
    limit: float | None
    uncertainty: float | None
    of_set: Annotated[
        bool,
        Field(description="made by several tools together: the wall, the depth of the dome"),
    ]
    share: Annotated[
        float | None,
        Field(
            description="part of its limit used up; null without one, for a reading of a set, and "
            "while it is in question"
        ),
    ]
    by: str | None
    corrects: str | None
    void: bool
    note: str | None
    corrected_by: Annotated[str | None, Field(description="null: this one stands")]
    entered_at: Time
    entered_by: str
    press: Annotated[str | None, Field(description="where the tool was, or had last been")]
    position: str | None
    press_strokes: Annotated[
        int | None, Field(description="the press's total then, at most that at the pull")
    ]


class InspectionMade(InspectionOut):
    """An inspection as entered, with what should be looked at."""

    warnings: Annotated[
        list[str], Field(description="what it asks of you too, until that is answered")
    ]


def inspection_out(row: InspectionRow) -> InspectionOut:
    """A row as the API answers it."""
    return InspectionOut(**_values(row))


def _values(row: InspectionRow) -> dict[str, Any]:
    given = row.inspection
    same = ("id", "serial", "at", "verdict", "quantity", "value", "unit", "uncertainty", "by")
    kept = ("corrected_by", "entered_at", "entered_by", "press", "position", "press_strokes")
    told = ("of_set", "share")
    return (
        {name: getattr(given, name) for name in (*same, "corrects", "void", "note")}
        | {name: getattr(row, name) for name in (*kept, *told)}
        | {"limit": given.reading_limit}
    )


@router.post(
    "",
    status_code=201,
    responses={
        200: {"model": InspectionMade, "description": "Sent before"},
        **documented(400, 409, 413),
    },
)
def enter_inspection(
    body: InspectionIn, caller: Crew, unit: UnitDep, now: Now, response: Response
) -> InspectionMade:
    """Enter an inspection. The same one again: 200; other content under its id: 409."""
    row, made = unit.inspections.record(body.as_inspection(), by=caller.name, now=now)
    unit.commit()
    response.status_code = 201 if made else 200
    return InspectionMade(**_values(row), warnings=_warnings(row, unit))


def _warnings(row: InspectionRow, unit: Unit) -> list[str]:
    given = row.inspection
    if given.void:
        return []
    if row.press is None or row.position is None:
        return ["the ledger has the tool in no press up to then: no strokes go with it"]
    position = unit.positions.by_name()[row.position]
    is_wear = given.value is not None and given.quantity == position.quantity
    words = _reading_words(row, unit)
    if is_wear and given.unit != position.unit:
        words.append(f"{row.position} has its limit in {position.unit}, this is in {given.unit}")
    return words


def _reading_words(row: InspectionRow, unit: Unit) -> list[str]:
    """What the reading asks, or else what is odd about it."""
    given = row.inspection
    asked = unit.questions.page(None, serial=given.serial, is_open=True)
    words = [question.words for question in asked if question.inspection_id == given.id]
    reading = unit.questions.reading(given.serial, given.id)
    if reading is not None and not words:
        words = [word for word in (unlikely(reading), near_limit(reading)) if word is not None]
    return words


@router.get("")
def list_inspections(
    _: Viewer,
    unit: UnitDep,
    asked: WindowDep,
    paging: PagingDep,
    serial: Annotated[AnySerial | None, Query()] = None,
    press: Annotated[PressName | None, Query()] = None,
) -> Page[InspectionOut]:
    """Inspections by time, corrected ones included."""
    after = paging.after(datetime, int)
    key = None if after is None else (after[0], after[1])
    rows = unit.inspections.page(
        paging.fetch, serial=serial, press=press, frm=asked.start, to=asked.end, after=key
    )
    page = paging.page(rows, lambda row: [row.inspection.at, row.entry])
    return Page(items=[inspection_out(row) for row in page.items], next=page.next)

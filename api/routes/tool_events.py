"""The tool ledger over HTTP: events entered, alone or together, and listed."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Any, Final

from fastapi import APIRouter, Body, Query, Response
from pydantic import (
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    JsonValue,
    Tag,
    WithJsonSchema,
)

from api.deps import Crew, Now, UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.types import Answer, Model, Name, Page, PressName, Text, Time, said
from api.window import WindowDep
from duestroke import names
from duestroke.errors import BadField
from duestroke.ledger import BadEvent, EventType, Reason, ToolEvent
from store.ledger import Recorded
from store.ledger_rows import EventRow

router = APIRouter(prefix="/tool-events", tags=["tools"], responses=documented(401, 403, 422, 503))
MOST_EVENTS: Final = 100

_EXAMPLES: Final[list[JsonValue]] = [
    {
        "id": "0b9f3a52-4c0e-4f0f-9a35-0f6a3d1c7e11",
        "type": "fit",
        "serial": "IR24-0412-M",
        "at": "2026-03-01T08:40:00Z",
        "press": "harlow-mere/2/05",
        "position": "ring-3",
        "replaces": True,
        "reason": "worn",
        "by": "J. Thorne",
    },
    {
        "type": "pull",
        "serial": "IR24-0412-M",
        "at": "2026-03-01T08:40:00Z",
        "reason": "planned",
    },
]


def _read_uuid(value: object) -> uuid.UUID:
    if isinstance(value, uuid.UUID):
        return value
    if not isinstance(value, str) or len(value) != 36:
        raise ValueError("a UUID such as 0b9f3a52-4c0e-4f0f-9a35-0f6a3d1c7e11")
    return uuid.UUID(value)


EventId = Annotated[
    uuid.UUID, BeforeValidator(_read_uuid), WithJsonSchema({"type": "string", "format": "uuid"})
]
AnySerial = Annotated[
    str,
    Field(
        pattern=rf"^({names.SERIAL}|{names.PRESS})$",
        examples=["IR24-0412-M"],
        description="a tool's serial; a press's own is its name",
    ),
]


class EventIn(Model):
    """One thing done to a tool, or to a press. `null` is the same as left out."""

    model_config = ConfigDict(json_schema_extra={"examples": _EXAMPLES})

    id: Annotated[EventId | None, Field(description="chosen by the sender; made if left out")] = (
        None
    )
    type: EventType
    serial: Annotated[AnySerial | None, Field(description="none for a `service`")] = None
    at: Annotated[Time, Field(description="when it was done, not in the future")]
    press: Annotated[
        PressName | None, Field(description="`fit` and `service` need it; a `pull` may say it")
    ] = None
    position: Annotated[
        Name | None, Field(description="`fit` needs it; a `pull` may say it", examples=["ring-3"])
    ] = None
    reason: Annotated[
        Reason | None,
        Field(
            description="`pull` needs it. With `replaces`: why the other tool comes out. For a "
            "`service`: how the press's last life ended, left out: `planned`"
        ),
    ] = None
    strokes_before: Annotated[
        int | None,
        Field(
            ge=0,
            le=2**53,
            description="strokes since the last rework (service); left out: what the ledger "
            "knows, or 0",
        ),
    ] = None
    before_unknown: Annotated[
        bool | None, Field(description="nobody knows the strokes since its last rework")
    ] = None
    strokes_before_margin: Annotated[
        int | None,
        Field(ge=0, le=2**53, description="by how much `strokes_before` may be off, either way"),
    ] = None
    size_mm: Annotated[
        float | None, Field(gt=0, le=10_000, description="size after a `rework` or `shelve`")
    ] = None
    back_at: Annotated[Time | None, Field(description="with `send`: when it is promised")] = None
    by: Annotated[Text | None, Field(max_length=200, description="who did it")] = None
    replaces: Annotated[
        bool | None, Field(description="with `fit`: pull the tool that sits there first")
    ] = None
    corrects: Annotated[
        EventId | None, Field(description="the event that this one stands for from now on")
    ] = None
    void: Annotated[bool | None, Field(description="only take back the one it corrects")] = None
    note: Annotated[Text | None, Field(max_length=2_000)] = None

    def as_event(self) -> ToolEvent:
        """The event of the core, with an id made where none was sent."""
        press_own = self.type == "service" and self.serial is None
        serial = self.press if press_own else self.serial
        without = ("id", "serial", "strokes_before_margin")
        given = {k: v for k, v in said(self, *without).items() if v is not None}
        margin = self.strokes_before_margin
        return ToolEvent(
            id=self.id or uuid.uuid4(), serial=serial or "", before_margin=margin, **given
        )


def _shape(value: object) -> str:
    return "Array" if isinstance(value, list) else "One"


EventsIn = Annotated[
    Annotated[EventIn, Tag("One")]
    | Annotated[list[EventIn], Field(min_length=1, max_length=MOST_EVENTS), Tag("Array")],
    Discriminator(_shape),
]


class EventOut(Answer):
    """An event on record."""

    id: uuid.UUID
    type: EventType
    serial: str
    at: Time
    press: str | None
    position: Annotated[
        str | None, Field(description="of a pull: where the tool sat, named or not")
    ]
    reason: Reason | None
    strokes_before: int | None
    before_unknown: bool
    strokes_before_margin: int | None
    size_mm: float | None
    back_at: Time | None
    by: str | None
    replaces: bool
    corrects: uuid.UUID | None
    void: bool
    note: str | None
    entered_at: Time
    entered_by: Annotated[str, Field(description="name of the token that entered it")]
    press_strokes: Annotated[
        int | None, Field(description="the press's total then: fit, pull and service")
    ]
    corrected_by: Annotated[
        uuid.UUID | None, Field(description="the event that stands instead; null: this one stands")
    ]
    implied_by: Annotated[
        uuid.UUID | None, Field(description="the fit with `replaces` that this pull follows from")
    ]


class EventMade(EventOut):
    """An event as entered, with what should be looked at."""

    warnings: list[str]


def event_out(row: EventRow) -> EventOut:
    """A row of the ledger as the API answers it."""
    return EventOut(**_values(row))


def _values(row: EventRow) -> dict[str, Any]:
    event = row.event
    same = [name for name in EventOut.model_fields if hasattr(event, name)]
    return {name: getattr(event, name) for name in same} | {
        "strokes_before_margin": event.before_margin,
        "entered_at": row.entered_at,
        "entered_by": row.entered_by,
        "press_strokes": row.press_strokes,
        "corrected_by": row.corrected_by,
    }


@router.post(
    "",
    status_code=201,
    responses={
        200: {"model": EventMade | list[EventMade], "description": "All sent before"},
        **documented(400, 409, 413),
    },
)
def enter_events(
    body: Annotated[EventsIn, Body()], caller: Crew, unit: UnitDep, now: Now, response: Response
) -> EventMade | list[EventMade]:
    """Enter one event, or an array of at most 100 that are judged together, all or nothing.

    Answers with one event, or an array of them in the order sent.
    """
    sent = body if isinstance(body, list) else [body]
    events = [one.as_event() for one in sent]
    try:
        recorded = unit.ledger.record(events, by=caller.name, now=now)
    except BadEvent as fault:
        raise _placed(fault, events, is_array=isinstance(body, list)) from fault
    unit.commit()
    response.status_code = 201 if recorded.made else 200
    made = _made(recorded)
    return made if isinstance(body, list) else made[0]


def _placed(fault: BadEvent, events: Sequence[ToolEvent], *, is_array: bool) -> BadField:
    """Of several events, which one."""
    if not is_array or fault.event not in events:
        return BadField(fault.field, fault.value, fault.allowed)
    place = f"[{events.index(fault.event)}]"
    return BadField(f"{place}.{fault.field}", fault.value, fault.allowed)


def _made(recorded: Recorded) -> list[EventMade]:
    return [
        EventMade(**_values(row), warnings=recorded.warnings.get(row.event.id, []))
        for row in recorded.rows
    ]


@router.get("")
def list_events(
    _: Viewer,
    unit: UnitDep,
    asked: WindowDep,
    paging: PagingDep,
    press: Annotated[PressName | None, Query()] = None,
    serial: Annotated[AnySerial | None, Query()] = None,
) -> Page[EventOut]:
    """The ledger by time, corrected and implied events included."""
    after = paging.after(datetime, int, int, int)
    key = None if after is None else (after[0], after[1], after[2], after[3])
    rows = unit.ledger.page(
        paging.fetch, press=press, serial=serial, frm=asked.start, to=asked.end, after=key
    )
    page = paging.page(rows, lambda row: row.key)
    return Page(items=[event_out(row) for row in page.items], next=page.next)

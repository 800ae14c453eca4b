"""Shifts of a site, crews in turn, and which shift it is now."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any, Final, Literal, get_args

from fastapi import APIRouter, Path, Response
from pydantic import ConfigDict, Field, JsonValue

from api.deps import Engineer, Now, UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.routes.presses import is_zone
from api.types import Answer, Model, Page, Text, Time
from duestroke import names
from duestroke.errors import BadField
from duestroke.shifts import OnShift, around
from store.shifts import SitePlan, content_of, plan_of

router = APIRouter(prefix="/shifts", tags=["plan"], responses=documented(401, 403, 422, 503))
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
Clock = Annotated[str, Field(pattern=r"^([01][0-9]|2[0-3]):[0-5][0-9]$", examples=["06:00"])]
Crew = Annotated[Text, Field(min_length=1, max_length=100)]
_EXAMPLE: Final[dict[str, JsonValue]] = {
    "timezone": "Europe/London",
    "shifts": [{"from": "06:00", "to": "18:00"}, {"from": "18:00", "to": "06:00"}],
    "rota": {"from": "2026-01-01", "crews": [["Alder", "Birch"], ["Birch", "Alder"]]},
}


class ShiftSaid(Answer):
    """A shift by the wall clock; one that ends at or before its begin ends on the next day."""

    start: Annotated[Clock, Field(alias="from")]
    end: Annotated[Clock, Field(alias="to")]
    days: Annotated[
        list[Weekday],
        Field(
            default_factory=lambda: list(get_args(Weekday)),
            min_length=1,
            max_length=7,
            description="on which it begins; every day if left out",
        ),
    ]


class RotaSaid(Answer):
    """Crews in turn: for each day of the cycle a name, or null, for each shift."""

    start: Annotated[
        str,
        Field(alias="from", pattern=r"^\d{4}-\d{2}-\d{2}$", description="a day it begins anew"),
    ]
    crews: Annotated[
        list[Annotated[list[Crew | None], Field(max_length=12)]],
        Field(min_length=1, max_length=366),
    ]


class PlanIn(Model):
    """Shifts of a site, all of them at once."""

    model_config = ConfigDict(json_schema_extra={"examples": [_EXAMPLE]})

    timezone: Annotated[str, Field(max_length=64, description="IANA name")]
    shifts: Annotated[list[ShiftSaid], Field(max_length=12)]
    rota: RotaSaid | None = None


class OnShiftOut(Answer):
    """A shift that was, is or will be."""

    start: Annotated[Time, Field(alias="from")]
    end: Annotated[Time, Field(alias="to")]
    crew: str | None


class PlanOut(Answer):
    """A site's shifts, and the ones around now."""

    site: str
    timezone: str
    shifts: list[ShiftSaid]
    rota: RotaSaid | None
    before: Annotated[OnShiftOut | None, Field(description="the shift before this one")]
    now: Annotated[OnShiftOut | None, Field(description="null: nobody is on shift")]
    after: OnShiftOut | None
    entered_at: Time
    entered_by: str


@router.put(
    "/{site}", responses={201: {"model": PlanOut, "description": "New"}, **documented(400, 413)}
)
def say_shifts(
    site: Annotated[str, Path(pattern=rf"^{names.PART}$", examples=["harlow-mere"])],
    body: PlanIn,
    caller: Engineer,
    unit: UnitDep,
    now: Now,
    response: Response,
) -> PlanOut:
    """Set a site's shifts by the wall clock, and its crews in turn."""
    if not is_zone(body.timezone):
        raise BadField("timezone", body.timezone, "an IANA zone, such as Europe/London")
    if body.rota is not None:
        _check_day(body.rota.start)
    given = SitePlan(site, plan_of(body.model_dump(by_alias=True)), now, caller.name)
    response.status_code = 201 if unit.shifts.put(given) else 200
    unit.commit()
    return _answer(given, now)


@router.get("")
def list_shifts(_: Viewer, unit: UnitDep, now: Now, paging: PagingDep) -> Page[PlanOut]:
    """Shifts by site, with the shift before, the one now and the next."""
    after = paging.after(str)
    rows = unit.shifts.page(paging.fetch, after=None if after is None else after[0])
    page = paging.page(rows, lambda row: [row.site])
    return Page(items=[_answer(row, now) for row in page.items], next=page.next)


def _check_day(day: str) -> None:
    try:
        date.fromisoformat(day)
    except ValueError as fault:
        raise BadField("rota.from", day, "a day such as 2026-01-01") from fault


def _answer(row: SitePlan, now: datetime) -> PlanOut:
    content: dict[str, Any] = content_of(row.plan)
    rota = content["rota"]
    before, current, after = around(row.plan, now)
    return PlanOut(
        site=row.site,
        timezone=content["timezone"],
        shifts=[ShiftSaid(start=s["from"], end=s["to"], days=s["days"]) for s in content["shifts"]],
        rota=None if rota is None else RotaSaid(start=rota["from"], crews=rota["crews"]),
        before=_on(before),
        now=_on(current),
        after=_on(after),
        entered_at=row.entered_at,
        entered_by=row.entered_by,
    )


def _on(shift: OnShift | None) -> OnShiftOut | None:
    if shift is None:
        return None
    return OnShiftOut(start=shift.start, end=shift.end, crew=shift.crew)

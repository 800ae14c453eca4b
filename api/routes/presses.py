"""Presses: registered, changed, and how each stands now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from functools import cache
from typing import Annotated, Final, Literal
from zoneinfo import available_timezones

from fastapi import APIRouter, Depends, HTTPException, Path, Response
from pydantic import ConfigDict, Field, JsonValue

from api.deps import Engineer, UnitDep, Viewer
from api.forecast import ForecastOut
from api.paging import PagingDep
from api.problems import Responses, documented
from api.types import Answer, Model, Name, Page, Time
from duestroke.errors import BadField
from duestroke.forecast import Forecast
from duestroke.forecast.result import answer
from duestroke.times import format_time
from store.presses import PressRow, Settings
from store.unit import Unit

_ERRORS: Final = documented(401, 403, 422, 503)
router = APIRouter(prefix="/presses", tags=["presses"], responses=_ERRORS)
one_router = APIRouter(prefix="/presses/{site}/{line}/{press}", tags=["presses"], responses=_ERRORS)

_EXAMPLE: Final[dict[str, JsonValue]] = {
    "modulus": 4294967296,
    "max_spm": 480,
    "timezone": "Europe/London",
    "crank_radius_mm": 305.0,
    "rod_length_mm": 1400.0,
}


def press_name(
    site: Annotated[Name, Path(examples=["harlow-mere"])],
    line: Annotated[Name, Path(examples=["2"])],
    press: Annotated[Name, Path(examples=["07"])],
) -> str:
    """The press that a path names, as `site/line/press`."""
    return f"{site}/{line}/{press}"


PressPath = Annotated[str, Depends(press_name)]


class PressIn(Model):
    """A press to register or change. A field left out keeps its value, or takes its default."""

    model_config = ConfigDict(json_schema_extra={"examples": [_EXAMPLE]})

    modulus: Annotated[
        int, Field(ge=1_000, le=2**53, description="the counter turns to 0 at this value")
    ] = 2**32
    max_spm: Annotated[
        int, Field(ge=1, le=2_000, description="strokes a minute it can reach at most")
    ] = 480
    since: Annotated[
        Time | None,
        Field(
            alias="from",
            description="`modulus` and `max_spm` hold for the boots that begin at or after this; "
            "left out: for all",
        ),
    ] = None
    timezone: Annotated[str, Field(max_length=64, description="IANA name")] = "UTC"
    crank_radius_mm: Annotated[float | None, Field(gt=0, le=10_000)] = None
    rod_length_mm: Annotated[
        float | None, Field(gt=0, le=10_000, description="longer than the crank's radius")
    ] = None


class ReadingOut(Answer):
    """A report as it came."""

    boot: str
    seq: int
    at: Time
    strokes: Annotated[int, Field(description="the press's running counter, not a total")]
    peak_speed_mps: float | None
    peak_accel_mps2: float | None


class StandingOut(Answer):
    """The counter stands still while the ram moves: what is counted falls behind what runs."""

    since: Annotated[Time, Field(description="the reading that first held this count")]
    not_counted_at_most: Annotated[
        int, Field(description="strokes that may have run since, up to the last report")
    ]


class PressOut(Answer):
    """A press as it stands."""

    press: Annotated[str, Field(examples=["harlow-mere/2/07"])]
    modulus: int
    max_spm: int
    timezone: str
    crank_radius_mm: float | None
    rod_length_mm: float | None
    registered_at: Time
    state: Annotated[
        Literal["running", "stopped", "offline", "unknown"], Field(description="last status")
    ]
    state_at: Annotated[Time | None, Field(description="the time that the status carries")]
    last_report: Annotated[ReadingOut | None, Field(description="last in counting order")]
    received_at: Annotated[Time | None, Field(description="when a report last came in")]
    strokes: Annotated[int, Field(description="strokes counted over the whole record")]
    strokes_per_minute: Annotated[
        float, Field(description="over the last ten minutes of its record")
    ]
    missing: Annotated[int, Field(description="gaps in the senders' numbering")]
    counter_stands: Annotated[
        StandingOut | None,
        Field(description="null: the counter follows the ram, as far as reports tell"),
    ]
    next_due: Annotated[
        ForecastOut | None, Field(description="of its tools the one due first by the median")
    ]


REPLACED: Final[Responses] = {
    200: {"model": PressOut, "description": "Changed"},
    **documented(400, 409),
}


@one_router.put("", status_code=201, responses=REPLACED)
def put_press(
    press: PressPath, body: PressIn, caller: Engineer, unit: UnitDep, response: Response
) -> PressOut:
    """Register a press (201) or change it (200). Readings still kept are counted anew at once."""
    _check(body, unit.presses.get(press))
    change = Settings(**body.model_dump(exclude={"since"}, exclude_unset=True))
    is_new = unit.presses.register(press, change, since=body.since, by=caller.name)
    answer = _answer(unit, press)
    unit.commit()
    response.status_code = 201 if is_new else 200
    return answer


@router.get("")
def list_presses(_: Viewer, unit: UnitDep, paging: PagingDep) -> Page[PressOut]:
    """Presses by name."""
    after = paging.after(str)
    rows = unit.presses.page(paging.fetch, after[0] if after else None)
    return paging.page(_answers(unit, rows), lambda row: [row.press])


@one_router.get("", responses=documented(404))
def get_press(press: PressPath, _: Viewer, unit: UnitDep) -> PressOut:
    """One press."""
    return _answer(unit, press)


def _check(body: PressIn, held: PressRow | None) -> None:
    """What one field alone does not tell. Raises BadField."""
    if not is_zone(body.timezone):
        raise BadField("timezone", body.timezone, "an IANA zone, such as Europe/London")
    crank = body.crank_radius_mm or (held and held.crank_radius_mm)
    rod = body.rod_length_mm or (held and held.rod_length_mm)
    if crank and rod and rod <= crank:
        raise BadField("rod_length_mm", rod, f"more than the crank's radius, {crank}")
    if body.since is not None and not body.model_fields_set & {"modulus", "max_spm"}:
        raise BadField("from", format_time(body.since), "nothing without `modulus` or `max_spm`")


def is_zone(name: str) -> bool:
    """Whether the zone database has a zone of this name."""
    return name in _zones()


@cache
def _zones() -> frozenset[str]:
    return frozenset(available_timezones())


def _answer(unit: Unit, press: str) -> PressOut:
    row = unit.presses.get(press)
    if row is None:
        raise HTTPException(404, f"no press {press} is registered")
    return _answers(unit, [row])[0]


def _answers(unit: Unit, rows: Sequence[PressRow]) -> list[PressOut]:
    due = unit.forecasts.next_due_of([row.name for row in rows])
    return [_out(row, due.get(row.name)) for row in rows]


def _out(row: PressRow, due: Forecast | None) -> PressOut:
    last = row.last_report
    values = {name: getattr(row, name) for name in PressOut.model_fields if hasattr(row, name)}
    values |= {
        "press": row.name,
        "last_report": last and ReadingOut.model_validate(asdict(last)),
        "counter_stands": _standing(row),
        "next_due": due and ForecastOut.model_validate(answer(due)),
    }
    return PressOut.model_validate(values)


def _standing(row: PressRow) -> StandingOut | None:
    if row.counter_stands_since is None:
        return None
    return StandingOut(since=row.counter_stands_since, not_counted_at_most=row.not_counted_at_most)

"""Lives that the inference uses: past ones sent in bulk, and those that follow from the ledger."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Final

from fastapi import APIRouter, HTTPException, Path, Query, Response
from pydantic import ConfigDict, Field, JsonValue

from api.deps import Engineer, Now, UnitDep, Viewer
from api.paging import PagingDep
from api.problems import documented
from api.routes.tool_events import AnySerial
from api.types import Answer, Model, Name, Page, PressName, SenderId, Text, Time, said
from duestroke import names
from duestroke.errors import BadField
from duestroke.lives import EndReason, Life, LifeSource
from store.lives import content_id
from store.positions import Position
from store.unit import Unit

router = APIRouter(prefix="/lives", tags=["lives"], responses=documented(401, 403, 422, 503))
MOST_LIVES: Final = 20_000
_EXAMPLE: Final[dict[str, JsonValue]] = {
    "lives": [
        {
            "serial": "IR21-0077-K",
            "kind": "ironing-ring",
            "position": "ring-3",
            "press": "harlow-mere/2/05",
            "strokes": 31_400_000,
            "strokes_low": 28_900_000,
            "end": "worn",
            "ended_at": "2025-11-18T09:00:00Z",
        }
    ]
}
Strokes = Annotated[float, Field(ge=0, le=1e15)]


class LifeIn(Model):
    """One past life, in strokes since new or since the last rework."""

    id: Annotated[
        SenderId | None, Field(description="left out: it is known by its whole content")
    ] = None
    serial: AnySerial
    kind: Name
    position: Name
    press: PressName | None = None
    batch: Annotated[Text | None, Field(max_length=200)] = None
    entry_strokes: Annotated[
        Strokes | None,
        Field(description="age at which it was first seen (left truncation); null is 0"),
    ] = 0.0
    entry_strokes_low: Annotated[
        Strokes | None, Field(description="age at which it was last found good before that")
    ] = None
    strokes: Annotated[Strokes, Field(description="age at its end, or now for a running one")]
    strokes_low: Annotated[
        Strokes | None, Field(description="age at which it was last found good")
    ] = None
    end: EndReason
    ended_at: Time | None = None
    mean_speed_mps: Annotated[
        float | None, Field(gt=0, le=50, description="mean peak punch speed over the life")
    ] = None


class LivesIn(Model):
    """Past lives, taken all or nothing."""

    model_config = ConfigDict(json_schema_extra={"examples": [_EXAMPLE]})

    lives: Annotated[list[LifeIn], Field(min_length=1, max_length=MOST_LIVES)]


class WearOut(Answer):
    """One reading of a tool's wear, as the inference uses it."""

    strokes: Annotated[float, Field(description="age at the reading, since new or rework")]
    share: Annotated[float, Field(description="part of its limit used up; 1 is at the limit")]
    sd: Annotated[
        float | None, Field(description="stated standard uncertainty, a part of the limit")
    ]


class LifeOut(Answer):
    """A life that the inference uses."""

    id: str
    source: Annotated[
        LifeSource,
        Field(description="`ledger`: follows from tool events, the id is the fit's; `imported`"),
    ]
    serial: str
    kind: str
    position: str
    press: str | None
    batch: str | None
    entry_strokes: float
    entry_strokes_low: float | None
    strokes: float
    strokes_low: float | None
    end: EndReason
    ended_at: Time | None
    mean_speed_mps: Annotated[
        float | None, Field(description="mean peak punch speed over the life, duty, m/s")
    ]
    life_number: Annotated[int, Field(description="reworks before this life")]
    mean_roughness: Annotated[
        float | None,
        Field(
            description="mean ram ratio K over the life, over the press's own, as last fitted; "
            "null where it can't be told"
        ),
    ]
    readings: Annotated[
        list[WearOut],
        Field(
            description="wear as measured, in order of age; readings in doubt, and those from "
            "where an unanswered question begins, are left out"
        ),
    ]


class LivesMade(Answer):
    """Past lives as taken in, with what should be looked at."""

    lives: list[LifeOut]
    warnings: list[str]


@router.post(
    "",
    status_code=201,
    responses={
        200: {"model": LivesMade, "description": "All sent before"},
        **documented(400, 409, 413),
    },
)
def import_lives(
    body: LivesIn, caller: Engineer, unit: UnitDep, now: Now, response: Response
) -> LivesMade:
    """Take in past lives, all or nothing. One without `id` sent twice counts once."""
    positions = unit.positions.by_name()
    lives = [_life(given, number, positions) for number, given in enumerate(body.lives)]
    _, made = unit.lives.add(lives, by=caller.name, at=now)
    warnings = _warnings(lives, unit)
    unit.commit()
    response.status_code = 201 if made else 200
    return LivesMade(lives=[_out(life) for life in lives], warnings=warnings)


def _life(given: LifeIn, number: int, positions: dict[str, Position]) -> Life:
    content = said(given, "id", "entry_strokes_low") | {
        "entry_strokes": given.entry_strokes or 0.0,
        "entry_low": given.entry_strokes_low,
    }
    try:
        _check_place(given, positions)
        return Life(id=given.id or content_id(content), source="imported", **content)
    except BadField as fault:
        field = f"lives[{number}].{fault.field}"
        raise BadField(field, fault.value, fault.allowed) from fault


def _check_place(given: LifeIn, positions: dict[str, Position]) -> None:
    position = positions.get(given.position)
    if position is None:
        raise BadField("position", given.position, "one of " + ", ".join(positions))
    if position.kind != given.kind:
        raise BadField("kind", given.kind, f"{position.kind}, which {given.position} takes")


def _warnings(lives: Sequence[Life], unit: Unit) -> list[str]:
    running = sorted({life.serial for life in lives if life.end == "running"})
    here = unit.lives.running_here(running)
    return [
        f"{life.serial} sits in a press by the ledger: its running life now counts twice"
        for life in lives
        if life.end == "running" and (life.serial, life.position) in here
    ]


@router.get("")
def list_lives(
    _: Viewer,
    unit: UnitDep,
    paging: PagingDep,
    kind: Annotated[Name | None, Query()] = None,
    position: Annotated[Name | None, Query()] = None,
) -> Page[LifeOut]:
    """Every life used for inference, by id, with where it came from."""
    after = paging.after(str)
    rows = unit.lives.page(
        paging.fetch,
        kind=kind,
        position=position,
        after=after[0] if after else None,
        with_speeds=True,
    )
    page = paging.page(rows, lambda row: [row.id])
    return Page(items=[_out(row) for row in page.items], next=page.next)


@router.delete("/{life_id}", status_code=204, responses=documented(404, 409))
def take_back_life(
    life_id: Annotated[str, Path(pattern=rf"^{names.SERIAL}$")],
    caller: Engineer,
    unit: UnitDep,
    now: Now,
) -> None:
    """Take a wrong past life back. One that follows from the ledger is corrected there: 409."""
    if not unit.lives.take_back(life_id, by=caller.name, at=now):
        raise HTTPException(404, f"no past life has the id {life_id}")
    unit.commit()


def _out(life: Life) -> LifeOut:
    same = LifeOut.model_fields.keys() - {"entry_strokes_low", "readings"}
    values = {name: getattr(life, name) for name in same}
    readings = [WearOut(strokes=one.strokes, share=one.share, sd=one.sd) for one in life.readings]
    return LifeOut(**values, entry_strokes_low=life.entry_low, readings=readings)

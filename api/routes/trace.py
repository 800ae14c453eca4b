"""From a can to the tools that made it, with what the record cannot vouch for."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Annotated, Final, Literal

from fastapi import APIRouter, HTTPException, Query
from pydantic import Field

from api.deps import Now, UnitDep, Viewer
from api.problems import documented
from api.routes.flags import FlagOut, flag_out
from api.routes.strokes import FIRST, BucketOut, bucket_out
from api.types import Answer, PressName, Time
from api.window import QueryTime
from duestroke.errors import BadField
from duestroke.times import format_time
from duestroke.trace import Check, DoubtKind, checks_about
from store.trace import Counted, PgTrace, RawReading, SeatThen, Trace

router = APIRouter(prefix="/trace", tags=["tools"], responses=documented(401, 403, 404, 422, 503))
AROUND: Final = timedelta(hours=3)


class SpanOut(Answer):
    """A stretch of time with the strokes that the press made in it: cans at most."""

    start: Annotated[Time, Field(alias="from")]
    end: Annotated[Time, Field(alias="to")]
    strokes: int


class CheckOut(Answer):
    """A look at the tool, or a reading of it."""

    id: str
    at: Time
    verdict: Literal["good", "worn"] | None
    quantity: str | None
    value: float | None
    unit: str | None
    uncertainty: float | None
    share: Annotated[float | None, Field(description="of its limit used up")]


class DoubtOut(Answer):
    """What may make the answer wrong."""

    kind: DoubtKind
    position: Annotated[str | None, Field(description="null: about the press")]
    words: str


class StrokesThen(Answer):
    """Strokes that the tool had at that time; null where nobody knows."""

    since_fit: int
    since_rework: int | None


class SeatOut(Answer):
    """A tool in the press at that time."""

    position: str
    kind: str
    serial: str
    batch: str | None
    size_mm: float | None
    life: Annotated[int, Field(description="reworks before this life")]
    strokes: StrokesThen
    fitted_at: Time
    pulled_at: Annotated[Time | None, Field(description="null: it is still in")]
    reason: Annotated[str | None, Field(description="why it came out")]
    entered_at: Time
    entered_by: str
    corrected: Annotated[bool, Field(description="the entry of its fit stands for another")]
    check_before: Annotated[CheckOut | None, Field(description="last check at or before then")]
    check_after: CheckOut | None
    since_good: Annotated[
        SpanOut,
        Field(
            description="since it was last found good, or fitted, to its next check, pull or now"
        ),
    ]
    doubts: list[DoubtOut]


class ReadingOut(Answer):
    """A reading of the press as reported."""

    boot: str
    seq: int
    at: Time
    strokes: int
    peak_speed_mps: float | None
    peak_accel_mps2: float | None


class ReadingsOut(Answer):
    """The press's readings next to that time."""

    before: ReadingOut | None
    after: ReadingOut | None


class TraceOut(Answer):
    """A press at one time: its tools, strokes, checks, readings, flags, doubts."""

    press: str
    at: Time
    strokes: Annotated[int, Field(description="the press's total then")]
    tools: Annotated[list[SeatOut], Field(description="from cup to dome")]
    empty: Annotated[list[str], Field(description="positions without a tool on record then")]
    readings: ReadingsOut
    around: Annotated[list[BucketOut], Field(description="by the hour, three hours to each side")]
    flags: Annotated[list[FlagOut], Field(description="open flags over that time")]
    same_set: Annotated[SpanOut | None, Field(description="while exactly these tools sat together")]
    since_good: Annotated[
        SpanOut | None,
        Field(description="since all of them were last found good, to the last one's next check"),
    ]
    doubts: Annotated[list[DoubtOut], Field(description="all of them, those of tools included")]


@router.get("")
def trace_can(
    _: Viewer,
    unit: UnitDep,
    now: Now,
    press: Annotated[PressName, Query(description="the two numbers stamped in the can, in full")],
    at: Annotated[QueryTime, Query(description="when the can was made; a + is written %2B")],
) -> TraceOut:
    """The tools that were in a press at a time, and the cans that share their doubt."""
    if not FIRST <= at <= now:
        raise BadField("at", format_time(at), f"{format_time(FIRST)} to now, {format_time(now)}")
    try:
        series = unit.strokes.series(press, *_hours_around(at, now), "1h")
        found = PgTrace(unit.conn).at(press, at, now, series)
    except KeyError as fault:
        raise HTTPException(404, f"no press {press} is registered") from fault
    return _answer(found)


def _hours_around(at: datetime, now: datetime) -> tuple[datetime, datetime]:
    hour = at.replace(minute=0, second=0, microsecond=0)
    return hour - AROUND, min(hour + AROUND + timedelta(hours=1), now)


def _answer(trace: Trace) -> TraceOut:
    held = {then.seat.position for then in trace.seats}
    said = [DoubtOut(**asdict(doubt)) for doubt in trace.doubts]
    return TraceOut(
        press=trace.press,
        at=trace.at,
        strokes=trace.strokes,
        tools=[_seat(then, trace.at, said) for then in trace.seats],
        empty=[place for place in trace.kinds if place not in held],
        readings=ReadingsOut(before=_reading(trace.before), after=_reading(trace.after)),
        around=[bucket_out(row) for row in trace.series],
        flags=[flag_out(flag) for flag in trace.flags],
        same_set=_span(trace.same_set),
        since_good=_span(trace.since_good),
        doubts=said,
    )


def _seat(then: SeatThen, at: datetime, said: list[DoubtOut]) -> SeatOut:
    seat = then.seat
    before, after = checks_about(seat, at)
    named = ("position", "kind", "serial", "batch", "size_mm", "life", "fitted_at", "pulled_at")
    entry = ("reason", "entered_at", "entered_by", "corrected")
    good = then.suspects
    return SeatOut(
        **{name: getattr(seat, name) for name in (*named, *entry)},
        strokes=StrokesThen(since_fit=then.since_fit, since_rework=then.since_rework),
        check_before=_check(before),
        check_after=_check(after),
        since_good=SpanOut(start=good.span.start, end=good.span.end, strokes=good.strokes),
        doubts=[doubt for doubt in said if doubt.position == seat.position],
    )


def _check(check: Check | None) -> CheckOut | None:
    if check is None:
        return None
    return CheckOut(**{name: getattr(check, name) for name in CheckOut.model_fields})


def _reading(reading: RawReading | None) -> ReadingOut | None:
    return None if reading is None else ReadingOut(**asdict(reading))


def _span(counted: Counted | None) -> SpanOut | None:
    if counted is None:
        return None
    return SpanOut(start=counted.span.start, end=counted.span.end, strokes=counted.strokes)

"""Strokes of a press between two times, and in buckets."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Annotated, Final, Literal

from fastapi import APIRouter, HTTPException, Query
from pydantic import Field

from api.deps import Now, UnitDep, Viewer
from api.problems import documented
from api.routes.flags import FlagOut, flag_out
from api.routes.presses import PressPath
from api.types import Answer, Time
from api.window import WindowDep, window
from duestroke.errors import BadField
from duestroke.times import format_time
from store.strokes import SeriesItem

router = APIRouter(
    prefix="/presses/{site}/{line}/{press}",
    tags=["presses"],
    responses=documented(401, 403, 404, 422, 503),
)
DEFAULT_SERIES: Final = timedelta(days=1)
FIRST: Final = datetime(1970, 1, 1, tzinfo=UTC)
LAST: Final = datetime(2200, 1, 1, tzinfo=UTC)


class StrokesOut(Answer):
    """Strokes of a window, reports missing in it, and the flags that reach into it."""

    strokes: int
    dry_strokes: Annotated[
        int, Field(description="of `strokes`, those in windows marked dry: made without a cup")
    ]
    missing: int
    flags: list[FlagOut]


class BucketOut(Answer):
    """One bucket: means weighted by strokes; null where there was no stroke."""

    start: Annotated[Time, Field(alias="from")]
    end: Annotated[Time, Field(alias="to")]
    strokes: int
    mean_speed_mps: float | None
    peak_speed_mps: float | None
    mean_accel_mps2: float | None
    peak_accel_mps2: float | None
    minutes_running: float


class SeriesOut(Answer):
    """Buckets in order of time, cut off at the window's ends; days are the press's own."""

    items: list[BucketOut]


@contextmanager
def _registered(press: str) -> Iterator[None]:
    """404 where the store does not know the press."""
    try:
        yield
    except KeyError as fault:
        raise HTTPException(404, f"no press {press} is registered") from fault


@router.get("/strokes")
def read_strokes(press: PressPath, _: Viewer, unit: UnitDep, asked: WindowDep) -> StrokesOut:
    """Strokes between two times; open ends mean the whole record."""
    with _registered(press):
        found = unit.strokes.between(press, asked.start, asked.end)
    return StrokesOut(
        strokes=found.strokes,
        dry_strokes=unit.dry_windows.strokes(press, asked.start, asked.end),
        missing=found.missing,
        flags=[flag_out(flag) for flag in found.flags],
    )


@router.get("/series")
def read_series(
    press: PressPath,
    _: Viewer,
    unit: UnitDep,
    asked: WindowDep,
    now: Now,
    bucket: Annotated[Literal["1m", "1h", "1d"], Query()] = "1h",
) -> SeriesOut:
    """Strokes, speed and acceleration by minute, hour or day, at most 10,000 buckets.

    `to` left out is now; `from` left out is a day before `to`. Strokes are spread over the time
    between two reports; speeds stand in the bucket of the report that carries them.
    """
    end = _in_calendar("to", asked.end or now)
    start = _in_calendar("from", asked.start or end - DEFAULT_SERIES)
    window(start, end)
    with _registered(press):
        rows = unit.strokes.series(press, start, end, bucket)
    return SeriesOut(items=[bucket_out(row) for row in rows])


def _in_calendar(name: str, at: datetime) -> datetime:
    """The time, where days can be told. Raises BadField.

    No report is older than 2020, and a day of the year 1 or 9999 has no neighbour in every zone.
    """
    if not FIRST <= at <= LAST:
        allowed = f"{format_time(FIRST)} to {format_time(LAST)}"
        raise BadField(name, format_time(at), allowed)
    return at


def bucket_out(row: SeriesItem) -> BucketOut:
    """A bucket as answered."""
    return BucketOut(
        start=row.start,
        end=row.end,
        strokes=row.strokes,
        mean_speed_mps=row.mean_speed_mps,
        peak_speed_mps=row.peak_speed_mps,
        mean_accel_mps2=row.mean_accel_mps2,
        peak_accel_mps2=row.peak_accel_mps2,
        minutes_running=row.minutes_running,
    )

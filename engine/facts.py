"""Rows of the store as facts for a forecast."""

from __future__ import annotations

from duestroke import calendar
from duestroke.forecast import LifeBasis, PressFacts, Rate, ToolFacts
from duestroke.names import PRESS_POSITION
from engine.book import ToolLife
from engine.duty import Duty
from store.ledger_rows import Fitted
from store.positions import Position
from store.press_facts import PressRecord


def press_facts(record: PressRecord, rate: Rate | None, stops: calendar.Calendar) -> PressFacts:
    """A press as a forecast takes it."""
    return PressFacts(
        press=record.press,
        as_of=record.latest_at,
        max_spm=record.max_spm,
        rate=rate,
        calendar=stops,
        registered=record.registered_at,
        counter_stands_since=record.counter_stands_since,
    )


def tool_facts(row: Fitted, position: Position, life: ToolLife, now: Duty) -> ToolFacts:
    """A fitted tool as a forecast takes it. life: its present life; now: its press as it runs."""
    strokes = row.strokes_since_rework
    return ToolFacts(
        position=row.position,
        kind=row.kind,
        serial=row.serial,
        strokes=None if strokes is None else float(max(strokes, 0)),
        strokes_since_fit=float(max(row.strokes_since_fit, 0)),
        began=row.fitted_at,
        good_at=_good_at(row),
        read_past_limit=is_past_limit(row),
        interval_strokes=position.interval_strokes,
        interval_days=position.interval_days,
        readings=() if strokes is None else life.readings,
        batch=row.batch,
        life_number=row.life,
        speed_so_far=life.so_far.speed_mps,
        speed_now=now.speed_mps,
        rough_so_far=life.so_far.roughness,
        rough_now=now.roughness,
        open_question=row.open_question,
        strokes_hidden=float(row.strokes_hidden),
        age_margin=float(row.age_margin),
    )


def _good_at(row: Fitted) -> float | None:
    if row.last_good_strokes is None or row.strokes_since_rework is None:
        return None
    return float(min(max(row.last_good_strokes, 0), max(row.strokes_since_rework, 0)))


def is_past_limit(row: Fitted) -> bool:
    """Whether the last word on the tool is that it is worn: by verdict, or by a reading."""
    if row.last_verdict is None or row.verdict_at is None:
        return row.past_limit_at is not None
    if row.past_limit_at is not None and row.past_limit_at > row.verdict_at:
        return True
    return row.last_verdict == "worn" and not _was_read_fine(row)


def _was_read_fine(row: Fitted) -> bool:
    """Read short of its limit after the last verdict."""
    if row.reading_at is None or row.reading_share is None or row.verdict_at is None:
        return False
    return row.reading_at > row.verdict_at and row.reading_share < 1


def is_forecast(basis: LifeBasis, position: Position) -> bool:
    """Whether a place gets a forecast: a press itself only with a figure or an interval."""
    has_interval = position.interval_strokes is not None or position.interval_days is not None
    return position.position != PRESS_POSITION or basis.law is not None or has_interval

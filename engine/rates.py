"""Rates of presses, from their daily records; read again only when a record moved on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from duestroke.calendar import Calendar, day_start
from duestroke.forecast import Rate, rate_of, whole_record
from engine.stops import StopCalendar
from store.press_facts import PressRecord
from store.unit import Unit

LOOK_BACK: Final = timedelta(days=400)
"""Far enough for 180 running days with long shut-downs among them."""
ENOUGH_DAYS: Final = 14
"""From so many days on the day under way is left out: the rate then moves once a day."""


@dataclass(frozen=True, slots=True)
class _Known:
    mark: tuple[object, ...]
    rate: Rate | None


class Rates:
    """Rates by press. A rate is made anew when its press's day, record or stops have changed."""

    def __init__(self) -> None:
        self._known: dict[str, _Known] = {}

    def of(
        self,
        unit: Unit,
        presses: Sequence[PressRecord],
        calendars: Mapping[str, StopCalendar],
        now: datetime,
    ) -> dict[str, Rate | None]:
        """The rate of each press, None where it never moved. calendars: version and calendar."""
        stale = [each for each in presses if self._is_stale(each, calendars[each.press].version)]
        if stale:
            daily = unit.strokes.daily(now - LOOK_BACK, [each.press for each in stale])
            for each in stale:
                version, calendar = calendars[each.press].version, calendars[each.press].calendar
                rows = [(day, strokes) for day, strokes, _ in daily.get(each.press, [])]
                rate = _rate(each, rows, calendar, now)
                self._known[each.press] = _Known(_mark(each, version, rate), rate)
        return {each.press: self._known[each.press].rate for each in presses}

    def _is_stale(self, press: PressRecord, calendar_version: str) -> bool:
        known = self._known.get(press.press)
        return known is None or known.mark != _mark(press, calendar_version, known.rate)


def _mark(press: PressRecord, calendar_version: str, rate: Rate | None) -> tuple[object, ...]:
    """What a rate rests on: whole days, or all reports where the days so far do not tell."""
    if press.latest_at is None or press.first_at is None:
        return (calendar_version,)
    whole = _whole_days(press.first_at, press.latest_at, ZoneInfo(press.timezone))
    end = press.latest_at if whole is None or not _is_telling(rate) else whole
    return press.first_at, end, press.changed, press.timezone, calendar_version


def _whole_days(first: datetime, latest: datetime, zone: ZoneInfo) -> datetime | None:
    """The end of the last whole day, None in a young record, which counts to its last report."""
    today = day_start(latest, zone)
    return today if today - first >= timedelta(days=ENOUGH_DAYS) else None


def _is_telling(rate: Rate | None) -> bool:
    """Whether whole days tell the rate: not where the press may have started only today."""
    return rate is not None and rate.stood_since is None


def _rate(
    press: PressRecord,
    daily: Sequence[tuple[datetime, int]],
    calendar: Calendar,
    now: datetime,
) -> Rate | None:
    if press.first_at is None or press.latest_at is None:
        return None
    zone = ZoneInfo(press.timezone)
    first = max(press.first_at, day_start(now - LOOK_BACK + timedelta(days=1), zone))
    whole = _whole_days(press.first_at, press.latest_at, zone)
    if whole is not None:
        rate = rate_of(whole_record(daily, zone, first, whole), calendar)
        if _is_telling(rate):
            return rate
    return rate_of(whole_record(daily, zone, first, press.latest_at), calendar)

"""A plant looked back at: the forecasts that its record would have given at an earlier time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from duestroke.calendar import Calendar, calendar_of, day_start
from duestroke.errors import BadField
from duestroke.forecast import (
    Forecast,
    LifeBasis,
    PressFacts,
    Rate,
    ToolFacts,
    forecast_presses,
    rate_of,
    whole_record,
)
from duestroke.inference.place import PlacePosterior, fit_place
from duestroke.lives import Life
from duestroke.names import PRESS_POSITION
from engine.duty import PressDuty, duty_of
from engine.hindsight import Hindsight, PastFit, good_at, is_past_limit, past_life, readings_of
from engine.judge import Totals
from engine.stops import stops_of
from store.duty import DutyDay, PgDuty
from store.known import PressRow, read_record
from store.positions import Position
from store.stops import Stop
from store.unit import Unit

LOOK_BACK: Final = timedelta(days=400)
"""Days of the record that a rate may rest on, as the engine takes them."""

Place = tuple[str, str]
"""Kind and position."""
Fitting = Callable[[Sequence[Life], Position], PlacePosterior]


def fitted(lives: Sequence[Life], position: Position) -> PlacePosterior:
    """The lives of a place as the engine fits them."""
    assert position.handbook_life is not None  # noqa: S101 - places without one are left out
    return fit_place(
        lives, handbook_life=position.handbook_life, handbook_spread=position.handbook_spread
    )


@dataclass(frozen=True)
class _Then:
    """What was known at one time. fits: all stretches; by tool in one life: `of_life`."""

    at: datetime
    fits: Sequence[PastFit]
    duties: Mapping[str, PressDuty]
    days: Mapping[str, Sequence[DutyDay]]
    of_life: Mapping[tuple[str, int], Sequence[PastFit]]

    def seated(self, press: str) -> list[PastFit]:
        """Stretches that were under way in a press."""
        return [past for past in self.fits if past.fit.pull is None and past.fit.seat[0] == press]


class Past:
    """The record of a plant, or of one place in it, read once."""

    def __init__(self, unit: Unit, place: Place | None, fitting: Fitting = fitted) -> None:
        """Raises BadField for a place that has no handbook life, or is none."""
        self._unit, self._fitting = unit, fitting
        positions = unit.positions.by_name()
        self._positions = {
            each.position: each
            for each in positions.values()
            if each.handbook_life is not None and place in (None, (each.kind, each.position))
        }
        if not self._positions:
            named = None if place is None else "/".join(place)
            raise BadField("place", named, "KIND/POSITION of a position with a handbook life")
        record = read_record(unit.conn)
        kinds = {each.position: each.kind for each in positions.values()}
        self._hindsight = Hindsight(record, kinds | {PRESS_POSITION: PRESS_POSITION})
        self._presses = {
            name: press for name, press in record.presses.items() if press.first_at is not None
        }
        self._stops = unit.stops.all()
        self._days: Mapping[str, list[DutyDay]] = {}
        if self._presses:
            begin = min(map(first_of, self._presses.values())) - timedelta(days=2)
            self._days = PgDuty(unit.conn).days(sorted(self._presses), begin)

    @property
    def begin(self) -> datetime | None:
        """The first report of any press, None without one."""
        return min(map(first_of, self._presses.values()), default=None)

    def forecasts(self, at: datetime) -> list[Forecast]:
        """Forecasts of the tools in presses then, but for those known to be at their limit.

        The counter of a press is taken as read at that time, within its record.
        """
        seen = {
            name: press
            for name, press in self._presses.items()
            if press.latest_at is not None and first_of(press) < at <= press.latest_at
        }
        then = self._then(at, seen)
        bases = self._bases(then)
        stops = stops_known(self._stops, at)
        asked: list[tuple[PressFacts, list[tuple[ToolFacts, LifeBasis]]]] = []
        for name, press in seen.items():
            calendar = calendar_of(name, stops_of(stops))
            rate = _rate(press, then.days[name], calendar, at)
            facts = PressFacts(name, at, press.max_spm, rate, calendar, first_of(press))
            asked.append((facts, list(self._tools(then, name, bases))))
        return [made for of_press in forecast_presses(asked, at) for made in of_press]

    def _then(self, at: datetime, seen: Mapping[str, PressRow]) -> _Then:
        totals = Totals(self._unit, [(press.id, at) for press in seen.values()])
        days = {
            name: _whole_days(press, self._days.get(name, []), at) for name, press in seen.items()
        }
        duties = {name: PressDuty(own) for name, own in days.items()}
        fits = self._hindsight.fits(
            at, {name: totals.at(press.id, at) for name, press in seen.items()}, duties
        )
        of_life: dict[tuple[str, int], list[PastFit]] = {}
        for past in fits:
            of_life.setdefault((past.fit.event.serial, past.fit.life), []).append(past)
        return _Then(at, fits, duties, days, of_life)

    def _bases(self, then: _Then) -> dict[str, LifeBasis]:
        """The fit of each position to the lives known then."""
        lives: dict[str, list[Life]] = {name: [] for name in self._positions}
        known = [past_life(past) for past in then.fits if past.fit.seat[1] in lives]
        known += self._hindsight.imported(then.at)
        for life in known:
            position = None if life is None else self._positions.get(life.position)
            if life is not None and position is not None and life.kind == position.kind:
                lives[position.position].append(life)
        return {
            name: _basis(self._positions[name], self._fitting(own, self._positions[name]))
            for name, own in lives.items()
        }

    def _tools(
        self, then: _Then, press: str, bases: Mapping[str, LifeBasis]
    ) -> Iterable[tuple[ToolFacts, LifeBasis]]:
        for past in then.seated(press):
            basis = bases.get(past.fit.seat[1])
            if basis is not None and not is_past_limit(past):
                yield _tool(past, then), basis


def _tool(past: PastFit, then: _Then) -> ToolFacts:
    """A tool as a forecast takes it, from what was known then."""
    fit, age = past.fit, past.age
    own = then.of_life[fit.event.serial, fit.life]
    so_far = duty_of(np.sum([each.sums for each in own], axis=0))
    now = then.duties[fit.seat[0]].now()
    readings = (reading for each in own for reading in readings_of(each))
    return ToolFacts(
        position=fit.seat[1],
        kind=fit.kind,
        serial=fit.event.serial,
        strokes=age,
        strokes_since_fit=past.run,
        began=fit.event.at,
        good_at=good_at(past),
        readings=tuple(sorted(readings, key=lambda reading: reading.strokes)),
        batch=past.batch,
        life_number=fit.life,
        speed_so_far=so_far.speed_mps,
        speed_now=now.speed_mps,
        rough_so_far=so_far.roughness,
        rough_now=now.roughness,
    )


def _basis(position: Position, law: PlacePosterior) -> LifeBasis:
    return LifeBasis(position.kind, position.position, law, fit="backtest")


def first_of(press: PressRow) -> datetime:
    """The first report of a press that has one."""
    assert press.first_at is not None  # noqa: S101 - the caller picked those
    return press.first_at


def stops_known(stops: Iterable[Stop], at: datetime) -> list[Stop]:
    """Stops that were planned by then: entered by then, or taken over from older papers."""
    return [stop for stop in stops if stop.entered_at <= at or stop.entered_at >= stop.starts_at]


def _whole_days(press: PressRow, days: Sequence[DutyDay], at: datetime) -> list[DutyDay]:
    end = day_start(at, ZoneInfo(press.timezone))
    return [day for day in days if day.day < end]


def _rate(
    press: PressRow, days: Sequence[DutyDay], calendar: Calendar, at: datetime
) -> Rate | None:
    """The rate by the whole days up to then."""
    zone = ZoneInfo(press.timezone)
    first = max(first_of(press), day_start(at - LOOK_BACK + timedelta(days=1), zone))
    rows = [(day.day, day.strokes) for day in days]
    return rate_of(whole_record(rows, zone, first, day_start(at, zone)), calendar)

"""One round of the engine: what has changed is forecast anew and kept, in short transactions."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Final

from duestroke.errors import DuestrokeError
from duestroke.forecast import (
    Forecast,
    LifeBasis,
    PressFacts,
    Rate,
    ToolFacts,
    forecast_press,
    forecast_presses,
)
from engine.facts import is_forecast, press_facts, tool_facts
from engine.plant import Plant
from engine.rates import Rates
from engine.stops import StopCalendar
from store.ledger_rows import Fitted
from store.press_facts import PgPressFacts, PressRecord
from store.unit import Connection, Unit

log = logging.getLogger(__name__)

AT_MOST_OLD: Final = timedelta(seconds=45)
"""A forecast is made anew by then, though nothing was heard: time itself moves it."""
PRESSES_AT_ONCE: Final = 100

Seats = Mapping[str, tuple[Fitted, ...]]
Asked = tuple[PressFacts, Sequence[tuple[ToolFacts, LifeBasis]]]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a round did: presses and forecasts made anew, how many went on record, fits made.

    is_behind: more is to be done, by a round that follows at once.
    """

    presses: int = 0
    forecasts: int = 0
    on_record: int = 0
    fits: int = 0
    is_behind: bool = False


@dataclass(frozen=True, slots=True)
class _Made:
    """What the forecasts of a press were last made from, and when."""

    record: PressRecord
    seats: tuple[Fitted, ...]
    shared: tuple[object, ...]
    at: datetime


@dataclass(slots=True)
class _Tally:
    """What a round has done so far."""

    presses: set[str] = field(default_factory=set)
    forecasts: int = 0
    on_record: int = 0


class Forecaster:
    """Keeps forecasts current. Its memory only saves work: a new one comes to the same."""

    def __init__(self) -> None:
        self._plant = Plant()
        self._rates = Rates()
        self._made: dict[str, _Made] = {}
        self._kept_calendars: set[str] = set()
        self._is_behind = False

    def round(
        self,
        conn: Connection,
        now: datetime,
        *,
        with_reports: bool = True,
        go_on: Callable[[], bool] = lambda: True,
    ) -> Outcome:
        """Forecast anew whatever has changed since the last round, and commit it.

        Presses whose own tools changed come first, with the fits that stand; then the places
        whose lives changed are fitted; then what hangs on these fits.

        with_reports: false leaves presses of which only reports and time moved on to a later
        round, and after an event looks at the presses of its tools alone.  go_on: asked between
        fits and between batches of presses; what is left is made by the next round.
        Raises psycopg.OperationalError when the database is gone; what was not committed is made
        again by the next round.
        """
        with Unit(conn) as unit:
            look = self._plant.look(unit, now)
            unit.commit()
        is_whole = with_reports or self._is_behind or look.presses is None
        names = None if is_whole else sorted(look.presses or ())
        if names is not None and not names:
            return Outcome()
        records, seats = _read(conn, now, names)
        tally = _Tally()
        with Unit(conn) as unit:
            if is_whole:
                self._plant.follow(unit, records, now, go_on)
                unit.commit()
            self._forecast(conn, self._touched(records, seats), seats, now, tally)
            fits = self._plant.fit(unit, now, go_on)
        stale = self._stale(records, seats, now, with_reports)
        is_done = self._in_batches(conn, stale, seats, now, tally, go_on)
        self._is_behind = not is_done or self._plant.is_behind or (fits > 0 and not is_whole)
        return Outcome(len(tally.presses), tally.forecasts, tally.on_record, fits, self._is_behind)

    def _touched(self, records: Iterable[PressRecord], seats: Seats) -> list[PressRecord]:
        """Presses whose own tools changed and whose places all have a fit, if an old one."""
        return [
            record
            for record in records
            if self._are_tools_changed(record, seats)
            and not self._plant.lacks_fit(seats.get(record.press, ()))
        ]

    def _are_tools_changed(self, record: PressRecord, seats: Seats) -> bool:
        made = self._made.get(record.press)
        return made is None or _tools(made.seats) != _tools(seats.get(record.press, ()))

    def _stale(
        self, records: Iterable[PressRecord], seats: Seats, now: datetime, with_reports: bool
    ) -> list[PressRecord]:
        """Presses to forecast anew: those whose own tools changed first, then by what changed."""
        by_urgency: tuple[list[PressRecord], ...] = ([], [], [])
        for record in records:
            urgency = self._urgency(record, seats, now)
            if urgency is not None:
                by_urgency[urgency].append(record)
        tools, shared, moved = by_urgency
        return [*tools, *shared, *(moved if with_reports else [])]

    def _urgency(self, record: PressRecord, seats: Seats, now: datetime) -> int | None:
        """0: its tools changed; 1: fits, stops or positions; 2: its record or the time."""
        made, own = self._made.get(record.press), seats.get(record.press, ())
        if made is None or _tools(made.seats) != _tools(own):
            return 0
        if made.shared != self._plant.shared(record.press, own):
            return 1
        # Whichever way the clock went: it may have been set back.
        is_old = abs(now - made.at) >= AT_MOST_OLD
        return 2 if is_old or made.record != record or made.seats != own else None

    def _in_batches(
        self,
        conn: Connection,
        stale: Sequence[PressRecord],
        seats: Seats,
        now: datetime,
        tally: _Tally,
        go_on: Callable[[], bool],
    ) -> bool:
        """Forecast these presses, some at once; whether all of them were."""
        for start in range(0, len(stale), PRESSES_AT_ONCE):
            if start and not go_on():
                return False
            self._forecast(conn, stale[start : start + PRESSES_AT_ONCE], seats, now, tally)
        return True

    def _forecast(
        self,
        conn: Connection,
        records: Sequence[PressRecord],
        seats: Seats,
        now: datetime,
        tally: _Tally,
    ) -> None:
        if not records:
            return
        names = [record.press for record in records]
        calendars = {name: self._plant.calendar(name) for name in names}
        with Unit(conn) as unit:
            rates = self._rates.of(unit, records, calendars, now)
            made = self._of_presses(records, seats, rates, now)
            self._keep_calendars(unit, calendars.values())
            tally.on_record += unit.forecasts.append(names, made)
            unit.notify(json.dumps({"forecasts": True}))
            unit.commit()
        for record in records:
            own = seats.get(record.press, ())
            shared = self._plant.shared(record.press, own)
            self._made[record.press] = _Made(record, own, shared, now)
        tally.presses.update(names)
        tally.forecasts += len(made)

    def _keep_calendars(self, unit: Unit, calendars: Iterable[StopCalendar]) -> None:
        for each in calendars:
            if each.version not in self._kept_calendars:
                unit.forecasts.keep_calendar(each.version, each.content)
                self._kept_calendars.add(each.version)

    def _of_presses(
        self,
        records: Sequence[PressRecord],
        seats: Seats,
        rates: Mapping[str, Rate | None],
        now: datetime,
    ) -> list[Forecast]:
        asked = [self._facts(each, seats, rates[each.press]) for each in records]
        try:
            made = forecast_presses(asked, now)
        except DuestrokeError:
            # One press's odd record must not keep all others from their forecasts.
            made = [self._alone(*each, now) for each in asked]
        return [forecast for of_press in made for forecast in of_press]

    def _facts(self, record: PressRecord, seats: Seats, rate: Rate | None) -> Asked:
        tools = [pair for seat in seats.get(record.press, ()) for pair in self._based(seat)]
        return press_facts(record, rate, self._plant.calendar(record.press).calendar), tools

    def _alone(
        self, press: PressFacts, tools: Sequence[tuple[ToolFacts, LifeBasis]], now: datetime
    ) -> list[Forecast]:
        try:
            return forecast_press(press, tools, now)
        except DuestrokeError as fault:
            log.error(
                "no forecast for %s: %s",
                press.press,
                fault,
                extra={"action": "press-not-forecast"},
            )
            return []

    def _based(self, seat: Fitted) -> list[tuple[ToolFacts, LifeBasis]]:
        position = self._plant.position(seat.position)
        if position is None:
            return []
        basis = self._plant.basis(position)
        if not is_forecast(basis, position):
            return []
        return [(tool_facts(seat, position, *self._plant.tool(seat)), basis)]


def _read(
    conn: Connection, now: datetime, names: Sequence[str] | None
) -> tuple[list[PressRecord], Seats]:
    """Presses (None: all) and the tools in them at one moment of the database."""
    with Unit(conn) as unit:
        unit.conn.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        records = PgPressFacts(conn).presses(now, names)
        seats: dict[str, list[Fitted]] = {}
        for seat in unit.ledger.fitted(names):
            seats.setdefault(seat.press, []).append(seat)
    return records, {press: tuple(tools) for press, tools in seats.items()}


def _tools(seats: Sequence[Fitted]) -> list[tuple[object, ...]]:
    """What the ledger says of the tools in a press, without the strokes that reports move."""
    return [
        (
            *(seat.position, seat.serial, seat.fitted_at, seat.strokes_before),
            *(seat.reading_at, seat.reading_share, seat.last_verdict, seat.verdict_at),
            *(seat.batch, seat.life, seat.age_margin, seat.strokes_hidden, seat.open_question),
        )
        for seat in seats
    ]

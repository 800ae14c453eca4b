"""One round of the engine: what has changed is forecast anew and kept, in short transactions."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from duestroke.errors import DuestrokeError
from duestroke.forecast import Forecast, LifeBasis, Rate, ToolFacts, forecast_press
from engine.facts import is_forecast, press_facts, tool_facts
from engine.plant import Plant
from engine.rates import Rates
from store.ledger_rows import Fitted
from store.press_facts import PgPressFacts, PressRecord
from store.unit import Connection, Unit

log = logging.getLogger(__name__)

AT_MOST_OLD: Final = timedelta(seconds=45)
"""A forecast is made anew by then, though nothing was heard: time itself moves it."""
PRESSES_AT_ONCE: Final = 100

Seats = Mapping[str, tuple[Fitted, ...]]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a round did: presses and forecasts made anew, how many went on record, fits made."""

    presses: int = 0
    forecasts: int = 0
    on_record: int = 0
    fits: int = 0


@dataclass(frozen=True, slots=True)
class _Made:
    """What the forecasts of a press were last made from, and when."""

    record: PressRecord
    seats: tuple[Fitted, ...]
    generation: int
    at: datetime


class Forecaster:
    """Keeps forecasts current. Its memory only saves work: a new one comes to the same."""

    def __init__(self) -> None:
        self._plant = Plant()
        self._rates = Rates()
        self._made: dict[str, _Made] = {}

    def round(
        self,
        conn: Connection,
        now: datetime,
        *,
        with_reports: bool = True,
        go_on: Callable[[], bool] = lambda: True,
    ) -> Outcome:
        """Forecast anew whatever has changed since the last round, and commit it.

        with_reports: false leaves presses of which only reports and time moved on to a later
        round.  go_on: asked between batches of presses; what is left is made by the next round.
        Raises psycopg.OperationalError when the database is gone; what was not committed is made
        again by the next round.
        """
        with Unit(conn) as unit:
            fits = self._plant.refresh(unit, now)
            unit.commit()
        records, seats = _read(conn, now)
        stale = self._stale(records, seats, now, with_reports)
        presses = forecasts = on_record = 0
        for start in range(0, len(stale), PRESSES_AT_ONCE):
            if not go_on():
                break
            some = stale[start : start + PRESSES_AT_ONCE]
            made, kept = self._forecast(conn, some, seats, now)
            presses, forecasts, on_record = presses + len(some), forecasts + made, on_record + kept
        return Outcome(presses, forecasts, on_record, fits)

    def _stale(
        self, records: Iterable[PressRecord], seats: Seats, now: datetime, with_reports: bool
    ) -> list[PressRecord]:
        """Presses to forecast anew: those whose own tools changed first, then by what changed."""
        by_urgency: tuple[list[PressRecord], ...] = ([], [], [])
        for record in records:
            urgency = self._urgency(record, seats.get(record.press, ()), now)
            if urgency is not None:
                by_urgency[urgency].append(record)
        tools, shared, moved = by_urgency
        return [*tools, *shared, *(moved if with_reports else [])]

    def _urgency(self, record: PressRecord, seats: tuple[Fitted, ...], now: datetime) -> int | None:
        """0: its tools changed; 1: fits, stops or positions; 2: its record or the time."""
        made = self._made.get(record.press)
        if made is None or _tools(made.seats) != _tools(seats):
            return 0
        if made.generation != self._plant.generation:
            return 1
        moved = made.record != record or made.seats != seats or now - made.at >= AT_MOST_OLD
        return 2 if moved else None

    def _forecast(
        self, conn: Connection, records: Sequence[PressRecord], seats: Seats, now: datetime
    ) -> tuple[int, int]:
        names = [record.press for record in records]
        calendars = {name: self._plant.calendar(name) for name in names}
        with Unit(conn) as unit:
            rates = self._rates.of(unit, records, calendars, now)
            made: list[Forecast] = []
            for record in records:
                made += self._of_press(record, seats, rates[record.press], now)
            kept = unit.forecasts.append(names, made)
            unit.notify(json.dumps({"forecasts": True}))
            unit.commit()
        for record in records:
            tools = seats.get(record.press, ())
            self._made[record.press] = _Made(record, tools, self._plant.generation, now)
        return len(made), kept

    def _of_press(
        self, record: PressRecord, seats: Seats, rate: Rate | None, now: datetime
    ) -> list[Forecast]:
        tools = [pair for seat in seats.get(record.press, ()) for pair in self._based(seat)]
        press = press_facts(record, rate, self._plant.calendar(record.press)[1])
        try:
            return forecast_press(press, tools, now)
        except DuestrokeError as fault:
            # One press's odd record must not keep all others from their forecasts.
            log.error(
                "no forecast for %s: %s",
                record.press,
                fault,
                extra={"action": "press-not-forecast"},
            )
            return []

    def _based(self, seat: Fitted) -> list[tuple[ToolFacts, LifeBasis]]:
        position = self._plant.position(seat.position)
        if position is None:
            return []
        basis = self._plant.basis(position)
        return [(tool_facts(seat, position), basis)] if is_forecast(basis, position) else []


def _read(conn: Connection, now: datetime) -> tuple[list[PressRecord], Seats]:
    """Presses and the tools in them at one moment of the database."""
    with Unit(conn) as unit:
        unit.conn.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        records = PgPressFacts(conn).presses(now)
        seats: dict[str, list[Fitted]] = {}
        for seat in unit.ledger.fitted():
            seats.setdefault(seat.press, []).append(seat)
    return records, {press: tuple(tools) for press, tools in seats.items()}


def _tools(seats: Sequence[Fitted]) -> list[tuple[object, ...]]:
    """What the ledger says of the tools in a press, without the strokes that reports move."""
    return [
        (
            *(seat.position, seat.serial, seat.fitted_at, seat.strokes_before),
            *(seat.reading_at, seat.last_verdict, seat.verdict_at),
        )
        for seat in seats
    ]

"""What all presses share: positions, planned stops and life models, read again when they change."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Final

from duestroke import calendar
from duestroke.forecast import LifeBasis
from duestroke.forecast.digest import digest_of_stops
from engine.facts import stops_of
from engine.models import Models
from engine.rates import LOOK_BACK
from store.positions import Position
from store.press_facts import PgPressFacts
from store.unit import Unit

AT_MOST_OLD: Final = timedelta(minutes=10)
"""Running tools grow older: the lives are read again by then, though the ledger is the same."""

VersionedCalendar = tuple[str, calendar.Calendar]


class Plant:
    """Positions, stops and models as of one version of the ledger."""

    def __init__(self) -> None:
        self.generation = 0
        self._models = Models()
        self._positions: Mapping[str, Position] = {}
        self._stops: list[calendar.Stop] = []
        self._calendars: dict[str, VersionedCalendar] = {}
        self._version: tuple[object, ...] = ()
        self._read_at: datetime | None = None

    def refresh(self, unit: Unit, now: datetime) -> int:
        """Read again what may have changed; returns how many life models were fitted.

        `generation` grows when any forecast may have to follow.
        """
        # The version first: what changes while the rest is read shows at the next look.
        version = PgPressFacts(unit.conn).ledger_version()
        aged = self._read_at is None or now - self._read_at >= AT_MOST_OLD
        if version == self._version and not aged:
            return 0
        positions = unit.positions.by_name()
        stops = stops_of(unit.stops.upcoming(now - LOOK_BACK))
        fits = self._models.refresh(unit, list(positions.values()), now)
        if fits or positions != self._positions or stops != self._stops:
            self.generation += 1
        if stops != self._stops:
            self._calendars.clear()
        self._positions, self._stops = positions, stops
        self._version, self._read_at = version, now
        return fits

    def calendar(self, press: str) -> VersionedCalendar:
        """The stop calendar of a press with its version."""
        known = self._calendars.get(press)
        if known is None:
            own = calendar.calendar_of(press, self._stops)
            known = self._calendars[press] = (digest_of_stops(own.stops), own)
        return known

    def position(self, name: str) -> Position | None:
        """A position by name; None for one that is not read yet."""
        return self._positions.get(name)

    def basis(self, position: Position) -> LifeBasis:
        """The fitted lives for a position."""
        return self._models.basis(position)

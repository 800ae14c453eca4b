"""What all presses share: positions, stops, lives and life models, read again when they change."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from duestroke import calendar
from duestroke.calendar import Stop
from duestroke.forecast import LifeBasis
from engine.book import LifeBook, Place, ToolLife
from engine.duties import Duties
from engine.duty import Duty
from engine.models import Models, place_of
from engine.rates import LOOK_BACK
from engine.stops import StopCalendar, stops_of
from store.ledger_rows import Fitted
from store.positions import Position
from store.press_facts import LedgerVersion, PgPressFacts, PressRecord
from store.unit import Unit

AT_MOST_OLD: Final = timedelta(minutes=10)
"""Running tools grow older: their lives are read again by then, though the ledger is the same."""


@dataclass(frozen=True, slots=True)
class Look:
    """What a look at the ledger found. presses: those whose tools may be others; None: all."""

    presses: frozenset[str] | None


NOTHING: Final = Look(frozenset())
EVERYTHING: Final = Look(None)


class Plant:
    """Positions, stops, lives and models as of one version of the ledger."""

    def __init__(self) -> None:
        self._models = Models()
        self._book = LifeBook()
        self._duties = Duties()
        self._positions: Mapping[str, Position] = {}
        self._places: dict[Place, Position] = {}
        self._stops: list[Stop] = []
        self._calendars: dict[str, StopCalendar] = {}
        self._version: LedgerVersion | None = None
        self._changed: dict[str, int] = {}
        self._aged_at: datetime | None = None

    def look(self, unit: Unit, now: datetime) -> Look:
        """Read what the ledger has that it had not at the last look."""
        # The version first: what changes while the rest is read shows at the next look.
        version = PgPressFacts(unit.conn).ledger_version()
        known = self._version
        if version == known:
            return NOTHING
        self._version = version
        if known is None or _is_other_plant(known, version):
            self._read_plant(unit, now)
        if known is None or _are_other_lives(known, version):
            self._changed = PgPressFacts(unit.conn).changed()
            self._models.want(self._book.read_all(unit, self._duties))
            self._models.want(self._places)
            return EVERYTHING
        serials = unit.lives.touched(known.events, known.inspections, [])
        asked = known.open_questions ^ version.open_questions
        serials |= {question.rpartition(" ")[2] for question in asked}
        self._models.want(self._book.read(unit, serials, self._duties))
        if known.stops != version.stops:
            return EVERYTHING
        return Look(frozenset(unit.lives.presses_of(serials)))

    def follow(
        self,
        unit: Unit,
        records: Sequence[PressRecord],
        now: datetime,
        go_on: Callable[[], bool],
    ) -> None:
        """Follow the record: counts that moved, days that are over, tools that grew older."""
        moved = [each.press for each in records if self._is_moved(each)]
        read_anew = self._duties.refresh(unit, records, go_on)
        self._models.want(self._book.take_duty(read_anew, self._duties))
        aged = self._aged_at is None or now - self._aged_at >= AT_MOST_OLD
        serials = set(self._book.running()) if aged and self._aged_at is not None else set()
        if moved:
            assert self._version is not None  # noqa: S101 - the ledger was looked at
            newest = self._version.events, self._version.inspections
            serials |= unit.lives.touched(*newest, moved)
        self._models.want(self._book.read(unit, serials, self._duties))
        if aged:
            self._aged_at = now
            self._read_stops(unit, now)
        self._changed |= {each.press: each.changed for each in records}

    def fit(self, unit: Unit, now: datetime, go_on: Callable[[], bool]) -> int:
        """Fit places whose lives changed; returns how many were. Commits each by itself."""
        return self._models.refresh(unit, self._places, self._book, now, go_on)

    @property
    def is_behind(self) -> bool:
        """Whether places wait to be fitted."""
        return self._models.is_behind

    def lacks_fit(self, seats: Iterable[Fitted]) -> bool:
        """Whether one of these tools waits for the first fit of its place."""
        lacking = self._models.lacks
        return any((seat.kind, seat.position) in lacking for seat in seats)

    def calendar(self, press: str) -> StopCalendar:
        """The stop calendar of a press with its version."""
        known = self._calendars.get(press)
        if known is None:
            own = calendar.calendar_of(press, self._stops)
            known = self._calendars[press] = StopCalendar.of(own)
        return known

    def position(self, name: str) -> Position | None:
        """A position by name; None for one that is not read yet."""
        return self._positions.get(name)

    def basis(self, position: Position) -> LifeBasis:
        """The fitted lives for a position."""
        return self._models.basis(position)

    def shared(self, press: str, seats: Iterable[Fitted]) -> tuple[object, ...]:
        """What a press's forecasts share with others: another value whenever that has changed."""
        positions = [self._positions.get(seat.position) for seat in seats]
        fits = [None if each is None else self._models.basis(each).fit for each in positions]
        return (self.calendar(press).version, *positions, *fits)

    def tool(self, seat: Fitted) -> tuple[ToolLife, Duty]:
        """A tool in its present life, and how its press runs now."""
        life = self._book.tool(seat.serial, seat.life, self._duties)
        return life, self._duties.now(seat.press)

    def _is_moved(self, record: PressRecord) -> bool:
        return self._changed.get(record.press, record.changed) != record.changed

    def _read_plant(self, unit: Unit, now: datetime) -> None:
        self._positions = unit.positions.by_name()
        self._places = {place_of(each): each for each in self._positions.values()}
        self._read_stops(unit, now)

    def _read_stops(self, unit: Unit, now: datetime) -> None:
        stops = stops_of(unit.stops.upcoming(now - LOOK_BACK))
        if stops != self._stops:
            self._stops = stops
            self._calendars.clear()


def _is_other_plant(known: LedgerVersion, now: LedgerVersion) -> bool:
    return (known.positions, known.stops) != (now.positions, now.stops)


def _are_other_lives(known: LedgerVersion, now: LedgerVersion) -> bool:
    """Whether all lives are to be read: limits may have changed, or past lives were typed in."""
    one, other = ((each.positions, each.lives, each.lives_back) for each in (known, now))
    return one != other

"""A site's shifts by the wall clock, and which crew has which: what `this shift` means.

A shift belongs to the day on which it begins. A night shift from 18:00 to 06:00 lasts 11 or 13
hours when the clocks change inside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from typing import Final

from duestroke.calendar import shift_span
from duestroke.errors import BadField
from duestroke.times import from_micros, to_micros

WEEKDAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_LOOK_DAYS: Final = 15
"""Days to each side in which the nearest shift is looked for: two weeks without one is none."""


@dataclass(frozen=True, slots=True)
class Shift:
    """One shift of a day. days: weekdays on which it begins, 0 is Monday."""

    begins: time
    ends: time
    days: frozenset[int] = frozenset(range(7))


@dataclass(frozen=True, slots=True)
class Rota:
    """Crews in turn. crews: for each day of the cycle one name for each shift, None: nobody.

    start: a day on which the cycle begins; it goes on before and after.
    """

    start: date
    crews: tuple[tuple[str | None, ...], ...]

    def crew(self, day: date, shift: int) -> str | None:
        """Who has a shift that begins on a day."""
        if not self.crews:
            return None
        return self.crews[(day - self.start).days % len(self.crews)][shift]


@dataclass(frozen=True, slots=True)
class ShiftPlan:
    """Shifts of a site, in order of the day. Raises BadField where they make no sense."""

    zone: tzinfo
    shifts: tuple[Shift, ...]
    rota: Rota | None = None

    def __post_init__(self) -> None:
        if self.rota is None:
            return
        for day, crews in enumerate(self.rota.crews):
            if len(crews) != len(self.shifts):
                allowed = f"a name or null for each of {len(self.shifts)} shifts"
                raise BadField(f"rota.crews[{day}]", list(crews), allowed)


@dataclass(frozen=True, slots=True)
class OnShift:
    """A shift that was, is or will be: it holds `start`, not `end`, both UTC."""

    start: datetime
    end: datetime
    crew: str | None


def around(plan: ShiftPlan, at: datetime) -> tuple[OnShift | None, OnShift | None, OnShift | None]:
    """The shift before the one at `at`, that one, and the next. None where there is none near.

    Where shifts overlap, the one that began last is the one at `at`.
    """
    shifts = sorted(_near(plan, at), key=lambda shift: (shift.start, shift.end))
    begun = [shift for shift in shifts if shift.start <= at]
    current = begun[-1] if begun and begun[-1].end > at else None
    before = begun[:-1] if current is not None else begun
    after = [shift for shift in shifts if shift.start > at]
    return (before[-1] if before else None), current, (after[0] if after else None)


def _near(plan: ShiftPlan, at: datetime) -> Iterator[OnShift]:
    today = at.astimezone(plan.zone).date()
    for offset in range(-_LOOK_DAYS, _LOOK_DAYS + 1):
        day = today + timedelta(days=offset)
        for number, shift in enumerate(plan.shifts):
            if day.weekday() in shift.days:
                start, end = shift_span(plan.zone, day, shift.begins, shift.ends)
                crew = None if plan.rota is None else plan.rota.crew(day, number)
                yield OnShift(_utc(start), _utc(end), crew)


def _utc(local: datetime) -> datetime:
    return from_micros(to_micros(local))

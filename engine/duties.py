"""Duty of all presses, by day; a press's days are read again only when its record moved."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from duestroke.calendar import day_start
from engine.duty import Duty, PressDuty, duty_of
from store.duty import DutyDay, PgDuty
from store.lives import Stretch
from store.press_facts import PressRecord
from store.unit import Unit

PRESSES_AT_ONCE: Final = 25
REREAD_DAYS: Final = 7
"""A gateway that caught up late fills days that were read before."""
_FIRST: Final = datetime(2000, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class _Known:
    changed: int
    timezone: str
    end: datetime
    days: tuple[DutyDay, ...]
    duty: PressDuty


class Duties:
    """Duty by press. Its memory only saves work."""

    def __init__(self) -> None:
        self._known: dict[str, _Known] = {}

    def refresh(
        self, unit: Unit, presses: Iterable[PressRecord], go_on: Callable[[], bool]
    ) -> set[str]:
        """Read days that are whole since the last look; returns the presses that have new ones.

        go_on: asked between batches of presses; what is left is read by the next look.
        """
        new, moved = self._stale(presses)
        done: set[str] = set()
        for stale, begin in ((new, _FIRST), (moved, None)):
            for start in range(0, len(stale), PRESSES_AT_ONCE):
                if done and not go_on():
                    return done
                some = stale[start : start + PRESSES_AT_ONCE]
                self._read(unit, some, begin)
                done |= {each.press for each in some}
        return done

    def over(self, stretches: Iterable[Stretch]) -> Duty:
        """Duty over stretches of one tool, each in its press."""
        sums = np.zeros(4)
        for stretch in stretches:
            known = self._known.get(stretch.press)
            if known is not None:
                sums += known.duty.sums(stretch.fitted_at, stretch.pulled_at)
        return duty_of(sums)

    def now(self, press: str) -> Duty:
        """Duty of a press as it runs lately."""
        known = self._known.get(press)
        return Duty() if known is None else known.duty.now()

    def _stale(self, presses: Iterable[PressRecord]) -> tuple[list[PressRecord], list[PressRecord]]:
        """Presses to be read from their begin, and those of which only new days are wanted."""
        new: list[PressRecord] = []
        moved: list[PressRecord] = []
        for press in presses:
            known = self._known.get(press.press)
            if press.latest_at is None:
                continue
            if known is None or (known.changed, known.timezone) != (press.changed, press.timezone):
                new.append(press)
            elif known.end != _end(press):
                moved.append(press)
        return new, moved

    def _read(self, unit: Unit, presses: Sequence[PressRecord], begin: datetime | None) -> None:
        starts = {each.press: begin or self._from(each) for each in presses}
        found = PgDuty(unit.conn).days([each.press for each in presses], min(starts.values()))
        for press in presses:
            start, end = starts[press.press], _end(press)
            fresh = [day for day in found.get(press.press, []) if start <= day.day < end]
            known = self._known.get(press.press)
            kept = [] if begin or known is None else [d for d in known.days if d.day < start]
            days = (*kept, *fresh)
            self._known[press.press] = _Known(
                press.changed, press.timezone, end, days, PressDuty(days)
            )

    def _from(self, press: PressRecord) -> datetime:
        """A midnight of the press's own from which on its days are read again."""
        last = self._known[press.press].end - timedelta(days=REREAD_DAYS)
        return day_start(last, ZoneInfo(press.timezone))


def _end(press: PressRecord) -> datetime:
    """The midnight up to which the press's days are whole."""
    assert press.latest_at is not None  # noqa: S101 - asked before
    return day_start(press.latest_at, ZoneInfo(press.timezone))

"""What the page of one press is made of: its answers, and the moment they are looked at."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from dashboard import axis as axes
from dashboard import figures
from dashboard.client import Forecast, Press, Stop
from dashboard.fleet import Fleet
from dashboard.record import Event, Record

DAYS_SHOWN: Final = 60
MOST_NAMED: Final = 2


@dataclass(frozen=True, slots=True)
class Sight:
    """All that one page is made of. opened: what stands open on the screen, by key."""

    fleet: Fleet
    press: Press
    record: Record
    opened: Collection[str]

    @property
    def tools(self) -> dict[str, Forecast]:
        """Forecasts of this press by position."""
        return {tool.position: tool for tool in self.fleet.tools.get(self.press.press, ())}

    @property
    def events(self) -> tuple[Event, ...]:
        """Events that stand."""
        return tuple(each for each in self.record.events or () if each.stands)

    @property
    def stops(self) -> list[Stop]:
        """Stops of this press."""
        return axes.of_press(self.fleet.stops, self.press.press)

    @property
    def shown(self) -> figures.Days:
        """Days of the figures, up to today at the plant."""
        today = self.fleet.now.astimezone(self.fleet.zone).date()
        return figures.Days(first=today - timedelta(days=DAYS_SHOWN - 1), last=today)

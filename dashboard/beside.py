"""What Shift and Wall show beside the fleet: shifts, spares, and what was entered lately."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from dashboard.entry_tools import Place
from dashboard.fleet import Fleet
from dashboard.pages import Ask
from dashboard.reads import Told
from dashboard.record import Event
from dashboard.records import LOOK_BACK, Asked, PressFlag
from dashboard.shifts import Duty, SitePlan
from dashboard.spares import Spares, deal
from dashboard.tool_room_facts import Stock

FRESH: Final = timedelta(seconds=20)
SLOW: Final = timedelta(minutes=2)


@dataclass(frozen=True, slots=True)
class Beside:
    """Told beside the fleet. can_enter: whether who asks may enter a change.

    events: of the last two weeks, since a late entry tells of days ago.
    """

    duty: Duty
    spares: Spares
    events: Told[tuple[Event, ...]]
    questions: Told[tuple[Asked, ...]]
    flags: Told[tuple[PressFlag, ...]]
    can_enter: bool = False


def read(ask: Ask, fleet: Fleet) -> Beside:
    """Asks the API for all of it, shared with the pages that show the same in whole."""
    reads = ask.sources.reads
    since = ask.now.replace(minute=0, second=0, microsecond=0) - LOOK_BACK
    stock = reads.items("/stock", Stock, fresh_for=FRESH)
    places = reads.items("/positions", Place, fresh_for=SLOW)
    return Beside(
        duty=Duty.of(fleet, reads.items("/shifts", SitePlan, fresh_for=SLOW)),
        spares=deal(fleet, stock.value, places.value, stock.fault or places.fault),
        events=reads.items("/tool-events", Event, {"from": since.isoformat()}, FRESH),
        questions=reads.items("/questions", Asked, {"open": "true"}, FRESH),
        flags=reads.items("/flags", PressFlag, {"open": "true"}, FRESH),
        can_enter=ask.who.may("crew"),
    )

"""Which shift it is, whose, and since when a reader coming on shift has not looked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import msgspec

from dashboard import words
from dashboard.client import Time
from dashboard.fleet import Fleet, site_of
from dashboard.reads import Told

WITHOUT_PLAN: Final = timedelta(hours=12)
"""How far back *since your last shift* looks where no shifts are entered."""


class OnShift(msgspec.Struct, frozen=True, rename={"begins": "from", "ends": "to"}):
    """A shift that was, is or will be. crew: null where the plan names none."""

    begins: Time
    ends: Time
    crew: str | None = None


class SitePlan(msgspec.Struct, frozen=True):
    """A site's shifts around now, from `GET /shifts`. now: null while nobody is on shift."""

    site: str
    before: OnShift | None = None
    now: OnShift | None = None
    after: OnShift | None = None


@dataclass(frozen=True, slots=True)
class Duty:
    """The plan of the site that is shown, if it has one. fault: why it could not be read."""

    plan: SitePlan | None = None
    fault: str = ""

    @classmethod
    def of(cls, fleet: Fleet, told: Told[tuple[SitePlan, ...]]) -> Duty:
        """The plan of the fleet's site among those that were told."""
        site = site_of(fleet.presses[0].press) if fleet.presses else ""
        return cls(_plan_of(told.value or (), site), told.fault if told.value is None else "")

    def since(self, now: datetime) -> datetime:
        """Begin of the last shift; twelve hours ago without one."""
        last = self.plan.before if self.plan else None
        return last.begins if last else now - WITHOUT_PLAN


def _plan_of(plans: Sequence[SitePlan], site: str) -> SitePlan | None:
    return next((plan for plan in plans if plan.site == site), None)


def now_words(duty: Duty, fleet: Fleet) -> str:
    """`shift until 18:00, crew Cedar`; empty without a plan."""
    plan = duty.plan
    if plan is None:
        return ""
    if plan.now is not None:
        until = words.since(plan.now.ends, fleet.zone, fleet.now)
        return f"shift until {until}{_crew(plan.now)}"
    if plan.after is not None:
        return f"no shift now, next {words.moment(plan.after.begins, fleet.zone, fleet.now)}"
    return "no shift now"


def last_words(duty: Duty, fleet: Fleet) -> str:
    """`since Sun 22 Nov 18:00: crew Alder until 06:00, then this shift`, or what stands in."""
    last = duty.plan.before if duty.plan else None
    if last is None:
        why = "the shifts could not be read" if duty.fault else "no shifts are entered"
        return f"the last twelve hours; {why}"
    begin = words.moment(last.begins, fleet.zone, fleet.now)
    end = words.since(last.ends, fleet.zone, fleet.now)
    return f"{begin} to {end}{_crew(last)}, and until now"


def _crew(shift: OnShift) -> str:
    return f", crew{words.NB}{shift.crew}" if shift.crew else ""

"""What the fake API tells of shifts and of the last one: crews in turn, a jam, a late entry."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import msgspec

from dashboard.beside import Beside
from dashboard.entry_tools import Place
from dashboard.fleet import Fleet
from dashboard.reads import Told
from dashboard.record import Event
from dashboard.records import LOOK_BACK, Asked, PressFlag
from dashboard.shifts import Duty, SitePlan
from dashboard.spares import deal
from dashboard.tool_room_facts import Stock
from duestroke.times import format_time
from tests.browser import fake_api, fake_doubts, fake_record, fake_stock

JAMMED = ("ring-1", "ring-2", "ring-3")


def shifts(plant: fake_api.Plant, now: datetime) -> list[dict[str, Any]]:
    """`GET /shifts`: two shifts a day; a plant of fewer than four presses has entered none."""
    if len(plant.presses) < 4:
        return []
    begin = now.replace(hour=6, minute=0, second=0, microsecond=0)
    half = timedelta(hours=12)
    crews = ("Alder", "Cedar", "Birch")
    around = [
        {"from": format_time(begin + half * at), "to": format_time(begin + half * (at + 1)),
         "crew": crews[at + 1]}
        for at in (-1, 0, 1)
    ]  # fmt: skip
    return [
        {
            "site": fake_api.SITE,
            "timezone": "Europe/London",
            "shifts": [{"from": "06:00", "to": "18:00"}, {"from": "18:00", "to": "06:00"}],
            "rota": None,
            "before": around[0],
            "now": around[1],
            "after": around[2],
            **fake_api.ENTERED,
        }
    ]


def lately(plant: fake_api.Plant, now: datetime) -> list[dict[str, Any]]:
    """A jam on 1/05 that hurt three rings, and 2/01's ring keyed two days late."""
    known = {press["press"] for press in plant.presses}
    jam = now.replace(hour=2, minute=14)
    made = [
        fake_record.event_of(
            f"{fake_api.SITE}/1/05", "pull", f"IR25-09{at}0", position, jam, reason="collateral"
        )
        for at, position in enumerate(JAMMED)
    ]
    done = (now - timedelta(days=2)).replace(hour=9, minute=20)
    late = (now - done) / timedelta(minutes=1) - 50
    made.append(
        fake_record.event_of(
            f"{fake_api.SITE}/2/01", "fit", "IR26-0507-B", "ring-2", done, minutes_late=late
        )
    )
    return [event for event in made if event["press"] in known]


def beside(plant: fake_api.Plant, fleet: Fleet, now: datetime, **changed: Any) -> Beside:
    """What the board reads beside the fleet, as it would from this API. changed: parts by name."""

    def told(path: str, kind: Any, **asked: str) -> Told[Any]:
        found = fake_doubts.answer(plant, path, asked, now)
        if found is None:
            found = fake_record.answer(plant, path, asked, now)
        return Told(tuple(msgspec.convert(found, list[kind])), now)

    stock = tuple(msgspec.convert(fake_stock.stock(plant, now), list[Stock]))
    parts = {
        "duty": Duty.of(fleet, told("/shifts", SitePlan)),
        "spares": deal(fleet, stock, told("/positions", Place).value),
        "events": told("/tool-events", Event, **{"from": format_time(now - LOOK_BACK)}),
        "questions": told("/questions", Asked, open="true"),
        "flags": told("/flags", PressFlag, open="true"),
    }
    return Beside(**{**parts, **changed})

"""The tool room from the API's answers: short by when, spares in turn, promises."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import msgspec
import pytest

from dashboard import tool_room_queue as queue
from dashboard import tool_room_rows as rows
from dashboard.client import LEVELS, Forecast, Press, Stop
from dashboard.entry_tools import Place
from dashboard.fleet import Answers, arrange
from dashboard.tool_room_facts import (
    DemandList,
    Models,
    Number,
    Room,
    Stock,
    short_at,
    there,
    weak_batches,
)
from tests.browser import fake_api, fake_record, fake_stock
from tests.browser.fake_api import NOW


def plain(text):
    return text.replace("\u00a0", " ").replace("\u202f", " ").replace("\u2011", "-")


@pytest.fixture(scope="module")
def room():
    plant = fake_api.plant_of_21(NOW)
    answers = Answers(
        at=NOW,
        presses=tuple(msgspec.convert(plant.presses, list[Press])),
        forecasts=tuple(
            msgspec.convert(fake_api.forecasts(plant, NOW, list(LEVELS)), list[Forecast])
        ),
        stops=tuple(msgspec.convert(plant.stops, list[Stop])),
    )
    places = msgspec.convert(fake_record.positions(), list[Place])
    stock = msgspec.convert(fake_stock.stock(plant, NOW), list[Stock])
    return Room(
        fleet=arrange(answers, NOW, 42, "harlow-mere"),
        demand=msgspec.convert(fake_stock.demand(plant, NOW), DemandList).items,
        stock={each.kind: each for each in stock},
        places={each.position: each for each in places},
    )


def demand_of(room, position):
    return next(each for each in room.demand if position in each.positions)


def test_short_is_the_first_week_in_which_more_is_wanted_than_there(room):
    ring = demand_of(room, "ring-3")
    week = short_at(ring, "90")
    before = ring.weeks[ring.weeks.index(week) - 1]
    assert week.wanted_by_then.level_90 > there(week, ring)
    assert before.wanted_by_then.level_90 <= there(before, ring)
    tone, said = rows.verdict(room, ring)
    assert tone == "act"
    assert plain(said) == (
        "May be short by Mon 7 Dec: 4 wanted by then at 90 %, 3 there if the 2 promised by then "
        "are back. As likely as not by Mon 14 Dec."
    )


def test_where_half_and_nine_in_ten_say_the_same_week_it_is_said_once(room):
    punch = demand_of(room, "punch")
    none = msgspec.structs.replace(punch, shelf=())
    weeks = tuple(
        msgspec.structs.replace(each, wanted_by_then=Number(2.0, 2, 2)) for each in punch.weeks
    )
    said = plain(rows.verdict(room, msgspec.structs.replace(none, weeks=weeks))[1])
    assert said == "Likely short by Mon 30 Nov: 2 wanted by then at 90 %, 0 there."


def test_a_weak_batch_on_the_shelf_is_marked_only_where_the_records_tell_it(room):
    ratio = {"median": 0.62, "low": 0.5, "high": 0.8}
    group = {"label": "PB-2601", "lives": 9, "failures": 4, "ratio": ratio, "needed": {}}
    told = [
        {"kind": "punch", "position": "punch", "groups": {"batch": {"groups": [g], "words": []}}}
        for g in (group | {"differs": True}, group | {"label": "PB-2500", "differs": False})
    ]
    weak = weak_batches(msgspec.convert({"items": told}, Models))
    assert [each.batch for each in weak] == ["PB-2601"]
    told_rows = rows.wanted(replace(room, weak=weak), DemandList(tuple(room.demand), NOW), False)
    shelf = next(each for each in told_rows["rows"] if each["places"] == "punch")["shelf"]
    assert [each["weak"] for each in shelf] == ["", "", "lasts 0.62 of the others"]
    assert shelf[2]["life"] == "/life?position=punch"
    assert weak_batches(None) == ()


def test_a_full_shelf_is_enough_and_one_that_leans_on_a_regrind_says_so(room):
    assert plain(rows.verdict(room, demand_of(room, "stripper"))[1]) == (
        "Enough at 90 % for 6 weeks."
    )
    ring = demand_of(room, "ring-2")
    bare = msgspec.structs.replace(ring, shelf=())
    assert "only if what comes back is ground to this size" in rows.verdict(room, bare)[1]


def test_without_a_range_the_page_cannot_tell(room):
    none = msgspec.structs.replace(demand_of(room, "punch"), tools=0)
    assert rows.verdict(room, none) == ("doubt", "Can’t tell: no tool in a press has a range.")


def test_the_lead_names_what_is_short_soonest_first(room):
    said = plain(rows.short_words(room))
    assert said.startswith("May be short: redraw-die by Mon 30 Nov, ironing-ring 66.150 mm by")
    assert "Enough of every kind" in rows.short_words(
        replace(room, demand=[demand_of(room, "stripper")])
    )
    assert "Nothing is wanted" in rows.short_words(replace(room, demand=[]))


def test_spares_stand_by_the_day_and_go_to_the_worst_none_twice(room):
    made = queue.ready(room, opened=True)["table"]
    days = [row[0] for row in made["csv"]["rows"]]
    assert days == sorted(days)
    spares = [row[4] for row in made["csv"]["rows"]]
    given = [text for text in spares if "on the shelf" in text]
    assert len(set(given)) == len(given)
    rings = [row for row in made["csv"]["rows"] if row[2] == "ring-3"]
    served = [(row[1], row[5]) for row in rings if "on the shelf" in row[4]]
    assert served == [("harlow-mere/2/03", "overdue")]
    assert {row[4] for row in rings if row[5] != "overdue"} == {"none in this kind and size"}


def test_a_tool_for_the_stop_after_next_is_wanted_then(room):
    change = next(each for each in queue.changes(room) if each.tool.state == "plan")
    ahead = [each.at for each in change.tool.chance_before if each.at > NOW]
    assert change.by == ahead[1]


def test_what_is_promised_back_by_then_serves_where_the_shelf_is_empty(room):
    stock = dict(room.stock)
    kind = stock["redraw-die"]
    out = msgspec.structs.replace(kind.out[0], back_at=NOW + timedelta(days=2))
    stock["redraw-die"] = msgspec.structs.replace(kind, out=(out,))
    made = queue.ready(replace(room, stock=stock), opened=True)["table"]
    die = next(row for row in made["csv"]["rows"] if row[2] == "redraw-die")
    assert plain(die[4]) == "RD24-0041-K, promised Wed 25 Nov"


def test_the_bench_comes_in_the_order_in_which_kinds_run_short(room):
    made = queue.bench(room, opened=False)
    assert [row[0] for row in made["table"]["csv"]["rows"]] == [
        *("RD25-0033-Q", "IR26-0455-3", "IR25-0377-K")
    ]
    assert "Enter" not in [each["word"] for each in made["table"]["head"]]
    crew = queue.bench(replace(room, can_enter=True), opened=False)["table"]
    links = [row["cells"][-1]["href"] for row in crew["rows"]]
    assert links[1] == "/entry?do=rework&serial=IR26-0455-3"
    assert queue.bench(replace(room, stock={}), opened=False)["state"] == "empty"


def test_a_late_rework_is_said_and_its_bracket_starts_now(room):
    made = rows.away(room)["rows"]
    late = next(each for each in made if each["serial"] == "IR25-0301-T")
    assert plain(late["says"]) == "Late: promised Fri 20 Nov, 2 days ago."
    assert late["returns"].startswith("M0 75H")
    none = next(each for each in made if each["serial"] == "PU25-0090-V")
    assert (none["tone"], none["returns"]) == ("doubt", "")
    ahead = next(each for each in made if each["serial"] == "RD24-0041-K")
    assert ahead["returns"] == "M1800 25V75H2700V25"
    assert rows.away(replace(room, stock={}))["state"] == "empty"


def test_heights_follow_the_numbers_and_places_the_weeks(room):
    told = DemandList(tuple(room.demand), NOW)
    row = next(
        each for each in rows.wanted(room, told, False)["rows"] if each["places"] == "ring\u20113"
    )
    assert row["marks"][0] == {"left": 8.33, "text": "2–3", "none": False}
    # Three is the greatest number of any week, so its outline has the full height.
    top = rows.BASE - rows.HIGH
    assert row["perhaps"].startswith(f"M280 {rows.BASE:g}V{top:.1f}H420V")
    assert row["orders"] == [{"key": "0", "left": 73.81, "text": "+4\u00a0new"}]


def test_orders_and_lead_times(room):
    made = queue.orders(room)["table"]["csv"]["rows"]
    assert next(row for row in made if row[1])[:3] == ["ironing-ring", 4, 66.15]
    assert queue.orders(replace(room, stock={}))["state"] == "empty"

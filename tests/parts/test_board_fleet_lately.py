"""What Shift says beside the ranges: the shift, what happened since the last one, the spares."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import msgspec
import pytest

from dashboard import desk, fleet, lately, shifts, spares
from dashboard.entry_tools import Place
from dashboard.reads import Told
from dashboard.record import Event
from dashboard.shifts import Duty, OnShift, SitePlan
from dashboard.tool_room_facts import Stock
from tests.browser import fake_api, fake_record, fake_shifts
from tests.browser.fake_api import NOW
from tests.parts.test_board_fleet import answers_of, plain

SITE = "harlow-mere"
UNREAD = Told(None, NOW, "the API answered 500 on /flags")


def arranged(plant):
    return fleet.arrange(answers_of(plant), NOW, desk.DAYS)


def section(plant=None, opened=(), **changed):
    plant = plant or fake_api.plant_of_21(NOW)
    known = arranged(plant)
    return lately.section(known, fake_shifts.beside(plant, known, NOW, **changed), opened)


def lists(**given):
    return {each["key"]: each for each in section(**given)["lists"]}


def told(*events):
    return Told(tuple(msgspec.convert(events, list[Event])), NOW)


def event(kind, at, position="ring-3", press="1/01", serial="A-1", **more):
    return fake_record.event_of(f"{SITE}/{press}", kind, serial, position, at, **more)


# ---- the shift ----


def on(begin_hours, end_hours, crew="Cedar"):
    return OnShift(NOW + timedelta(hours=begin_hours), NOW + timedelta(hours=end_hours), crew)


@pytest.mark.parametrize(
    ("plan", "said"),
    [
        (None, ""),
        (SitePlan(SITE, now=on(-1, 11)), "shift until 17:02, crew Cedar"),
        (SitePlan(SITE, now=on(-1, 11, None)), "shift until 17:02"),
        (SitePlan(SITE, after=on(3, 11)), "no shift now, next Mon 23 Nov 09:02"),
        (SitePlan(SITE), "no shift now"),
    ],
    ids=["no-plan", "on-shift", "no-crew", "between", "never"],
)
def test_the_head_names_the_shift_that_is_on(plan, said):
    assert plain(shifts.now_words(Duty(plan), arranged(fake_api.plant_of_21(NOW)))) == said


def test_the_plan_is_that_of_the_site_that_is_shown():
    plans = (SitePlan("wold-end", now=on(-1, 1, "Elm")), SitePlan(SITE, now=on(-1, 1, "Cedar")))
    duty = Duty.of(arranged(fake_api.plant_of_21(NOW)), Told(plans, NOW))
    assert duty.plan is plans[1]


def test_without_a_plan_the_last_twelve_hours_are_told_and_said():
    made = section(duty=Duty())
    assert made["say"] == "the last twelve hours; no shifts are entered"
    assert Duty().since(NOW) == NOW - timedelta(hours=12)
    unread = section(duty=Duty(fault="the API gave no answer"))
    assert unread["say"] == "the last twelve hours; the shifts could not be read"


def test_the_last_shift_begins_where_the_plan_says():
    assert plain(section()["say"]) == "Sun 22 Nov 18:00 to 06:00, crew Alder, and until now"


# ---- the four lists ----


def test_a_pull_and_a_fit_of_one_time_at_one_place_are_one_change():
    at = NOW - timedelta(hours=2)
    made = lists(
        events=told(
            event("pull", at, serial="OLD", reason="worn"),
            event("fit", at, serial="NEW"),
            event("fit", at, position="ring-2", serial="ALONE"),
        )
    )["changes"]
    assert plain(made["title"]) == "2 changes"
    assert sorted(plain(each["text"]) for each in made["items"]) == [
        "ring-2, fitted, 04:02",
        "ring-3, worn, 04:02",
    ]
    assert {each["href"] for each in made["items"]} == {"/tool/NEW", "/tool/ALONE"}


def test_broken_tools_and_can_defects_are_counted_and_stand_first():
    hours = (5, 4, 3)
    reasons = ("broken", "can-defect", "planned")
    made = lists(
        events=told(
            *(
                event("pull", NOW - timedelta(hours=h), serial=f"S-{h}", reason=reason)
                for h, reason in zip(hours, reasons, strict=True)
            )
        )
    )["changes"]
    assert plain(made["title"]) == "3 changes, 1 broken, 1 can defect"
    assert [each["loud"] for each in made["items"]] == [True, True, False]
    assert made["items"][0]["href"] in ("/tool/S-5", "/tool/S-4")


def test_collateral_pulls_of_one_time_at_one_press_are_one_jam():
    at = NOW - timedelta(hours=2)
    events = [event("pull", at, position=p, serial=p, reason="collateral") for p in ("a", "b", "c")]
    events.append(event("pull", at, press="1/02", serial="d", reason="collateral"))
    events.append(event("pull", at - timedelta(hours=1), serial="e", reason="collateral"))
    made = lists(events=told(*events))
    assert plain(made["jams"]["title"]) == "3 jams"
    assert "3 tools hurt: a, b, c" in {plain(e["text"])[7:] for e in made["jams"]["items"]}
    assert made["changes"]["title"] == "No change"


def test_what_was_taken_back_or_lies_before_the_last_shift_is_not_told():
    late = NOW - timedelta(hours=2)
    made = lists(
        events=told(
            event("pull", late, serial="X", reason="worn", void=True),
            event("pull", late, serial="Y", reason="worn", corrected_by="z"),
            event("pull", NOW - timedelta(days=2), serial="Z", reason="worn"),
        )
    )
    assert (made["changes"]["title"], made["changes"]["items"]) == ("No change", [])


def test_a_late_entry_stands_with_both_times():
    """Question 10: changed on Saturday, keyed by nobody until now."""
    made = lists()["words"]
    assert plain(made["title"]) == "1 question, 1 late entry"
    late = plain(made["items"][1]["text"])
    assert late.startswith("ring-2 fitted Sat 21 Nov 09:20, entered 44 hours late by ")
    assert made["items"][1]["href"] == "/records#h-late"


def test_open_flags_say_what_they_may_hide_the_largest_first():
    made = lists()["flags"]
    assert plain(made["title"]) == "4 open flags, at most 242,506 strokes"
    hidden = [int(each["text"].rpartition(" ")[2].replace(",", "")) for each in made["items"]]
    assert hidden == sorted(hidden, reverse=True)
    assert (len(made["items"]), made["more"]) == (3, "all 4")
    whole = lists(opened={"flags"})["flags"]
    assert (len(whole["items"]), whole["more"]) == (4, "fewer")


def test_a_list_that_could_not_be_read_says_so_and_the_others_stand():
    made = lists(flags=UNREAD)
    assert made["flags"]["fault"] == "Could not be read at 06:02: the API answered 500 on /flags."
    assert made["flags"]["title"] == "Open flags"
    assert made["changes"]["fault"] == ""
    unread = lists(events=UNREAD)
    assert all(unread[key]["fault"] for key in ("changes", "jams", "words"))


def test_what_is_old_says_since_when():
    old = Told((), NOW - timedelta(minutes=9), "the API gave no answer")
    assert lists(flags=old)["flags"]["old"] == "As of 05:53."


def test_another_site_is_not_told_of():
    at = NOW - timedelta(hours=1)
    other = event("pull", at, reason="worn") | {"press": "wold-end/1/01"}
    assert lists(events=told(other))["changes"]["title"] == "No change"


# ---- the spares ----

RINGS = [
    {"serial": "R-1", "size_mm": 66.149, "batch": None, "reworks": 0},
    {"serial": "R-2", "size_mm": 66.2, "batch": None, "reworks": 0},
    {"serial": "R-3", "size_mm": None, "batch": None, "reworks": 0},
]
PLACE = {"position": "ring-3", "kind": "ironing-ring", "order": 60}


def stock_of(shelf=(), out=(), bench=(), on_order=()):
    made = {"kind": "ironing-ring", "lead_days": None, "usual_lateness": None}
    held = {"shelf": shelf, "out": out, "bench": bench, "on_order": on_order}
    return (msgspec.convert(made | held, Stock),)


def places(**size):
    return (msgspec.convert({**PLACE, **size}, Place),)


def wanted(*chosen):
    """Ring 3 of these presses of line 1, worst first."""
    marks = {"1/01": (-3, -1, 2), "1/02": (0.5, 4, 9), "1/03": (1.5, 6, 12)}
    plant = fake_api.plant_of_21(NOW)
    plant.tools = [
        fake_api.Tool(f"{SITE}/{press}", "ring-3", marks[press], 1e6)
        for press in marks
        if press in chosen
    ]
    return arranged(plant)


def dealt(known, stock, held=None):
    made = spares.deal(known, stock, held or places(size_mm=66.15, size_tolerance_mm=0.004))
    return {
        tool.press[-4:]: spares.said(made, known, tool)
        for tools in known.tools.values()
        for tool in tools
    }


def test_the_worst_gets_the_only_spare_and_it_is_said_to_be_the_last():
    said = dealt(wanted("1/01", "1/02"), stock_of(RINGS))
    assert (said["1/01"]["serial"], said["1/01"]["lead"]) == ("R-1", "")
    assert plain(said["1/01"]["text"]) == "66.149 mm, last one that suits"
    assert (said["1/02"]["lead"], said["1/02"]["tone"]) == ("No spare on the shelf.", "act")


@pytest.mark.parametrize(
    ("size", "found"),
    [
        ({"size_mm": 66.15, "size_tolerance_mm": 0.004}, "R-1"),
        ({"size_mm": 66.2, "size_tolerance_mm": 0.004}, "R-2"),
        ({"size_mm": 65.0, "size_tolerance_mm": 0.004}, ""),
        ({"size_mm": 66.2, "size_tolerance_mm": 0.004,
          "sizes": [{"scope": f"{SITE}/1", "size_mm": 66.15, "size_tolerance_mm": 0.004}]}, "R-1"),
        ({"size_mm": 66.15, "size_tolerance_mm": 0.004,
          "sizes": [{"scope": f"{SITE}/1", "size_mm": 66.15, "size_tolerance_mm": 0.004},
                    {"scope": f"{SITE}/1/01", "size_mm": 66.2, "size_tolerance_mm": 0.01}]}, "R-2"),
    ],
    ids=["plant", "other-size", "none", "line", "press"],
)  # fmt: skip
def test_a_spare_has_the_size_of_its_own_press(size, found):
    said = dealt(wanted("1/01"), stock_of(RINGS), places(**size))
    assert said["1/01"]["serial"] == found


def test_each_serial_is_dealt_once():
    rings = [{**RINGS[0], "serial": f"R-{at}"} for at in (5, 6)]
    said = dealt(wanted("1/01", "1/02", "1/03"), stock_of(rings))
    assert [said[press]["serial"] for press in ("1/01", "1/02", "1/03")] == ["R-5", "R-6", ""]


def away(serial, back, late):
    at = lambda days: None if days is None else fake_api.z_time(NOW + timedelta(days=days))  # noqa: E731
    made = {"serial": serial, "size_mm": None, "batch": None, "reworks": 1, "sent_at": None}
    return made | {"back_at": at(back), "back_by_90": at(late)}


def test_without_one_the_soonest_from_rework_is_named_with_its_bracket():
    known = wanted("1/01")
    stock = stock_of(out=[away("LATER", 20, 30), away("SOON", 10, 18), away("OPEN", None, None)])
    said = dealt(known, stock)["1/01"]
    assert said["serial"] == "SOON"
    assert plain(said["text"]) == "in rework, promised 3 Dec, 90 % by 11 Dec"
    made = spares.deal(known, stock, places())
    tool = known.tools[f"{SITE}/1/01"][0]
    assert spares.bracket(made, known, tool) == "M1000 99V91H1800V99"


def test_no_bracket_where_the_shelf_serves_or_all_days_have_passed():
    known = wanted("1/01")
    tool = known.tools[f"{SITE}/1/01"][0]
    full = spares.deal(known, stock_of(RINGS, out=[away("SOON", 10, 18)]), places())
    assert spares.bracket(full, known, tool) == ""
    past = spares.deal(known, stock_of(out=[away("PAST", -9, -1)]), places())
    assert spares.bracket(past, known, tool) == ""
    assert "(late)" in spares.said(past, known, tool)["text"]


ORDER = {"quantity": 4, "size_mm": None, "due_at": "2026-12-20T00:00:00Z"}


@pytest.mark.parametrize(
    ("stock", "said"),
    [
        ({"on_order": [ORDER]}, "4 new on order, due 20 Dec."),
        ({"bench": RINGS[:2]}, "2 of its kind on the bench, none that suits ready."),
        ({}, "None in rework, none on order."),
    ],
    ids=["on-order", "bench", "nothing"],
)
def test_what_there_is_instead_is_said(stock, said):
    assert plain(dealt(wanted("1/01"), stock_of(**stock))["1/01"]["text"]) == said


def test_spares_that_could_not_be_read_are_said_and_call_nobody():
    known = wanted("1/01")
    made = spares.deal(known, None, None, "the API gave no answer")
    tool = known.tools[f"{SITE}/1/01"][0]
    said = spares.said(made, known, tool)
    assert (said["lead"], said["tone"]) == ("Spares not known:", "doubt")
    assert not made.is_missing(tool)


def test_a_press_that_can_not_be_told_and_the_press_itself_want_no_spare():
    plant = fake_api.plant_of_21(NOW)
    known = arranged(plant)
    made = fake_shifts.beside(plant, known, NOW).spares
    silent = next(t for t in known.tools[f"{SITE}/3/02"] if t.state == "cant-tell")
    itself = next(t for t in known.tools[f"{SITE}/2/05"] if t.position == "press")
    assert spares.said(made, known, silent)["text"] == "no spare wanted yet"
    assert spares.said(made, known, itself)["text"] == "a service: no spare wanted"


# ---- who may enter ----


def rows(*, can_enter):
    plant = fake_api.plant_of_21(NOW)
    known = arranged(plant)
    beside = fake_shifts.beside(plant, known, NOW, can_enter=can_enter)
    return {row["key"][12:]: row for row in desk.document(known, beside)["do"]["rows"]}


def test_a_row_leads_the_crew_to_the_entry_that_it_asks_for():
    found = rows(can_enter=True)
    assert found["2/03:ring-3"]["enter"]["href"] == (
        "/entry?do=exchange&press=harlow-mere/2/03&position=ring-3&serial=IR26-0412-M"
    )
    assert found["3/04:ring-3"]["enter"]["href"] == (
        "/entry?do=exchange&press=harlow-mere/3/04&position=ring-3"
    )


def test_a_viewer_is_offered_no_entry():
    assert all(row["enter"] is None for row in rows(can_enter=False).values())


def test_every_figure_opens_to_where_it_comes_from():
    row = rows(can_enter=False)["3/06:ring-3"]
    assert row["basis_at"] == f"/life?position=ring-3&serial={row['serial']}"
    assert row["serial"]


def test_twelve_hours_back_is_utc_safe():
    """Twelve hours are twelve hours, also over the night in which the clocks go back."""
    autumn = datetime(2026, 10, 25, 6, 0, tzinfo=UTC)
    assert Duty().since(autumn) == datetime(2026, 10, 24, 18, 0, tzinfo=UTC)

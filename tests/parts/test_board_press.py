"""From the API's answers to the document of one press: rows, readings, K, flags, origins."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from statistics import median
from zoneinfo import ZoneInfo

import msgspec
import pytest

from dashboard import (
    counter,
    figures,
    fleet,
    origins,
    press,
    readings,
    rough,
    section,
    sight,
    stack,
)
from dashboard.client import LEVELS, Forecast, Press, Stop
from dashboard.fleet import Answers
from dashboard.record import Bucket, DryWindow, Event, Flag, Inspection, Position, Question, Record
from dashboard.section import Part
from duestroke.stroke import Drive, drive_ram_ratio, peak_acceleration, peak_speed
from tests.browser import fake_api, fake_record
from tests.browser.fake_api import NOW

NARROW = "\u202f"
LONDON = ZoneInfo("Europe/London")
LINE_2 = Drive(0.250, 2.0)


def plain(text):
    return text.replace("\u00a0", " ").replace(NARROW, " ")


def fleet_of(plant, **changed):
    forecasts = fake_api.forecasts(plant, NOW, list(LEVELS))
    parts = {
        "at": NOW,
        "presses": tuple(msgspec.convert(plant.presses, list[Press])),
        "forecasts": tuple(msgspec.convert(forecasts, list[Forecast])),
        "stops": tuple(msgspec.convert(plant.stops, list[Stop])),
    }
    return fleet.arrange(Answers(**{**parts, **changed}), NOW, press.DAYS, "harlow-mere")


def record_of(plant, name, **changed):
    def items(path, kind, **asked):
        found = fake_record.answer(plant, path, {"press": name, **asked}, NOW)
        return tuple(msgspec.convert(found, list[kind]))

    back = {days: (NOW - timedelta(days=days)).isoformat() for days in (60, 150)}
    parts = {
        "positions": items("/positions", Position),
        "events": items("/tool-events", Event),
        "inspections": items("/inspections", Inspection),
        "flags": items("/flags", Flag),
        "questions": items("/questions", Question),
        "dry": items("/dry-windows", DryWindow),
        "hours": items(f"/presses/{name}/series", Bucket, bucket="1h", **{"from": back[150]}),
        "days": items(f"/presses/{name}/series", Bucket, bucket="1d", **{"from": back[60]}),
        "read_at": NOW,
        "series_at": NOW,
    }
    return Record(**{**parts, **changed})


def page_of(short, plant=None, *, opened=(), fault="", answers=None, **changed):
    name = f"harlow-mere/{short}"
    plant = plant or fake_api.plant_of_21(NOW)
    arranged = fleet_of(plant, **(answers or {}))
    found = next(each for each in arranged.presses if each.press == name)
    return press.document(
        arranged, found, record_of(plant, name, **changed), fault=fault, opened=opened
    )


def row_of(page, position):
    return next(row for row in page["stack"]["rows"] if row["key"] == position)


def texts(value):
    """Every text in a document."""
    if isinstance(value, str):
        return [value]
    if isinstance(value, dict):
        return [text for each in value.values() for text in texts(each)]
    if isinstance(value, list | tuple):
        return [text for each in value for text in texts(each)]
    return []


# ---- rows ----


def test_the_press_comes_first_then_its_tools_from_cup_to_dome():
    """The sleeve is inside the cup and presses it on the die: common practice, no source."""
    assert [row["key"] for row in page_of("2/05")["stack"]["rows"]] == [
        *("press", "punch", "redraw-sleeve", "redraw-die", "ring-1"),
        *("ring-2", "ring-3", "stripper", "dome-die"),
    ]


def test_the_plants_own_order_and_positions_are_kept():
    own = [
        Position("hold-ring", "hold-ring", 75),
        Position("dome-die", "dome-die", 80),
        Position("redraw-sleeve", "redraw-sleeve", 5),
        Position("elsewhere", "hold-ring", 76),
        Position("ring-3", "ironing-ring", 60),
        Position("press", "press", 900),
    ]
    plant = fake_api.plant_of_21(NOW)
    at = fake_api.z_time(NOW - timedelta(days=3))
    fit = Event("e-1", "fit", "HR-1", datetime.fromisoformat(at), NOW, "crew", position="hold-ring")
    rows = page_of("2/05", plant, positions=tuple(own), events=(fit,))["stack"]["rows"]
    known = [row["key"] for row in rows if row["key"] in {place.position for place in own}]
    assert known == ["press", "redraw-sleeve", "ring-3", "hold-ring", "dome-die"]
    assert {row["key"] for row in rows} >= {"punch", "ring-1"}


def test_each_row_has_the_engines_word_and_the_tools_own_figures():
    row = row_of(page_of("2/03"), "ring-3")
    assert (row["word"], row["mark"]) == ("overdue", "over")
    assert plain(row["strokes"]) == "35.9 M"
    assert row["serial"].startswith("IR25-")
    assert next(fig["next"] for fig in row["figures"]) is True


def test_a_place_without_a_tool_says_so_and_shows_no_figure():
    plant = fake_api.plant_of_21(NOW)
    plant.tools = [tool for tool in plant.tools if tool.position != "ring-2"]
    row = row_of(page_of("2/05", plant), "ring-2")
    assert (row["serial"], row["strokes"], row["word"]) == ("no tool recorded", "", "")
    assert (row["paths"], row["read"]["text"], row["range"]) == ({}, "", "")
    assert any("unknown" in shape["c"] for shape in row["part"])


def test_unsettled_flags_are_added_up_beside_the_strokes_they_may_belong_to():
    page = page_of("3/02")
    assert plain(row_of(page, "ring-2")["hidden"]) == "+ up to 0.10 M"
    assert row_of(page_of("2/05"), "ring-3")["hidden"] == ""


def flag(days_ago, hides, settled=False):
    return msgspec.convert(
        fake_record.flag_of(
            "harlow-mere/1/01", ["restart"], NOW - timedelta(days=days_ago), 30, 100, hides,
            {"strokes": 5, "reason": "can count", "by": "x", "at": fake_api.z_time(NOW)}
            if settled else None,
        ),
        Flag,
    )  # fmt: skip


def test_a_flag_from_before_the_fit_hides_nothing_of_the_tool():
    flags = [flag(30, 40_000), flag(10, 25_000), flag(5, 9_000, settled=True)]
    assert counter.hidden_since(flags, NOW - timedelta(days=20)) == 25_000
    assert counter.hidden_since(flags, None) == 65_000
    assert counter.hidden_since(flags, NOW - timedelta(days=1)) == 0


@pytest.mark.parametrize(
    ("count", "words"),
    [(0, ""), (1_930, "+ up to 1,930"), (100_120, "+ up to 0.10 M"), (2_400_000, "+ up to 2.40 M")],
)
def test_hidden_strokes_never_read_as_none(count, words):
    assert plain(counter.hidden_words(count)) == words


def test_strokes_count_from_the_last_fit_that_stands():
    def fit(name, days, **more):
        at = NOW - timedelta(days=days)
        return Event(name, "fit", "IR-1", at, at, "crew", position="ring-3", **more)

    events = [fit("a", 40), fit("b", 20), fit("c", 5)]
    assert stack.fitted(events, "ring-3", "IR-1").id == "c"
    assert stack.fitted(events, "ring-3", "IR-2") is None
    assert stack.fitted(events, "ring-2", "IR-1") is None
    assert not fit("d", 1, void=True).stands
    assert not fit("d", 1, corrected_by="e").stands


# ---- what is said in the title ----


def test_the_title_says_the_worst_tool_the_others_and_the_count():
    top = page_of("3/02")["top"]
    assert (top["word"], plain(top["id"])) == ("can’t tell", "3 02")
    assert top["lead"] == "The ranges of 2 of its tools can’t be told now."
    assert "at most 100,120 strokes are hidden from its count" in top["rest"]
    top = page_of("2/05")["top"]
    assert top["lead"] == "The press itself is to be serviced at the next stop."
    assert plain(top["figures"][0]) == "390 a minute · 10.9 m/s · 44.4 g peak"
    assert plain(top["figures"][1]) == "counts up to 06:01 · 0.50 M a running day"


def test_a_press_on_which_nothing_is_due_says_what_comes_first():
    top = page_of("2/07")["top"]
    assert top["lead"] == "Nothing is wanted at the next two stops."
    assert top["rest"].startswith("First to come is redraw-die: ")


def test_a_press_that_never_reported_shows_no_pace_and_no_date():
    page = page_of("1/02", fake_api.plant_of_3(NOW), hours=(), days=())
    assert (page["top"]["figures"], page["top"]["silent"]) == (["never reported"], True)
    assert page["rough"]["figure"] is None
    assert page["count"]["figure"] is None
    assert page["rough"]["empty"]
    assert page["count"]["empty"]


def test_what_a_reading_asks_is_said_and_never_answered():
    page = page_of("1/02", opened=["ring-1"])
    assert "A question: Bore read 2.1 um after 4.9 um: was the ring changed?" in page["top"]["rest"]
    assert [row["key"] for row in page["stack"]["rows"] if row["asks"]] == ["ring-1"]
    said = row_of(page, "ring-1")["opened"][2]["says"]
    assert plain(said[0]).startswith("Asked 19 Nov: Bore read 2.1 um")


# ---- readings ----


def reading(value, limit, uncertainty=None, days_ago=3, **more):
    at = NOW - timedelta(days=days_ago)
    share = value / limit if value is not None and limit else None
    given = {"quantity": "bore", "unit": "um", "position": "ring-3", "share": share, **more}
    return Inspection(
        f"i-{days_ago}", "IR-1", at, at, "crew", value=value, limit=limit, uncertainty=uncertainty,
        **given,
    )  # fmt: skip


RING = Position("ring-3", "ironing-ring", 60, "bore", "um", 6.0)


def small(*found):
    return readings.small_form(fleet_of(fake_api.plant_of_21(NOW)), list(found), RING)


@pytest.mark.parametrize(
    ("value", "limit", "dot"), [(0, 6, 4), (3, 6, 77), (6, 6, 150), (-2, -4, 77), (9, 6, 165)]
)
def test_a_reading_stands_at_its_share_of_the_limit(value, limit, dot):
    """The limit stands at 150 and no change at 4, whatever the sign of its direction."""
    assert small(reading(value, limit))["track"]["dot"] == dot


@pytest.mark.parametrize(
    ("value", "uncertainty", "act"),
    [(5.0, 0.8, False), (5.3, 0.8, True), (5.2, 0.8, True), (6.0, None, True), (5.9, None, False)],
)
def test_a_reading_calls_someone_when_its_range_touches_the_limit(value, uncertainty, act):
    """A reading near a limit is neither in nor out. Source: ISO 14253-1:2017 (decision rules)."""
    assert small(reading(value, 6.0, uncertainty))["act"] is act


def test_a_reading_says_value_limit_unit_and_day():
    assert plain(small(reading(-2.4, -4.0))["text"]) == "−2.4 of −4 µm · 20 Nov"


def test_a_reading_of_the_set_is_not_held_against_the_tools_limit():
    form = small(
        reading(76.2, 80.0, quantity="wall", of_set=True, share=None), reading(3.0, 6.0, days_ago=9)
    )
    assert form["track"]["dot"] == 77
    alone = small(reading(76.2, None, quantity="wall", of_set=True))
    assert (alone["track"], plain(alone["text"])) == (None, "wall 76.2 µm of the set, 20 Nov")


def test_a_look_is_said_in_words_and_nothing_is_made_up():
    look = reading(None, None, verdict="good", quantity=None, unit=None)
    assert plain(small(look)["text"]) == "by eye: good, 20 Nov"
    assert small() == readings.NOTHING | {"text": "not read since it was fitted"}


def test_a_reading_in_question_is_said_and_not_drawn():
    form = small(reading(0.006, 6.0, share=None))
    assert (form["track"], form["doubt"]) == (None, True)
    assert plain(form["text"]) == "0.006 of 6 µm · 20 Nov, in question"


def test_a_reading_without_a_limit_of_its_own_has_the_positions():
    assert plain(small(reading(3.0, None, share=0.5))["text"]) == "3 of 6 µm · 20 Nov"


def test_readings_from_before_the_fit_or_taken_back_do_not_count():
    old = reading(5.0, 6.0, days_ago=30)
    gone = msgspec.structs.replace(reading(4.0, 6.0, days_ago=2), corrected_by="i-1")
    kept = reading(1.0, 6.0, days_ago=4)
    other = msgspec.structs.replace(reading(2.0, 6.0, days_ago=1), serial="IR-2")
    found = readings.standing([old, gone, kept, other], "IR-1", NOW - timedelta(days=10))
    assert found == [kept]


# ---- roughness ----


def hour(at, rate, minutes, stood=0.0, drive=LINE_2, rough_by=1.0):
    """An hour of a drive at a rate; `stood` minutes of it went by without a stroke, unseen."""
    return Bucket(
        strokes=round(rate * (minutes - stood)),
        minutes_running=minutes,
        begins=at,
        ends=at + timedelta(hours=1),
        mean_speed_mps=peak_speed(drive, rate),
        mean_accel_mps2=peak_acceleration(drive, rate) * rough_by,
    )


def day_of_hours(day, stood=(), **more):
    start = datetime(2026, 11, day, tzinfo=UTC)
    return [
        hour(
            start + timedelta(hours=at), 390.0, 60.0, stood[at] if at < len(stood) else 0.0, **more
        )
        for at in range(24)
    ]


def test_a_day_has_the_k_of_its_drive_whatever_short_stops_it_had():
    """K of a slider-crank in good order, near (1 + L)/sqrt(1 + L^2): plane kinematics."""
    (day,) = rough.by_day(day_of_hours(10, stood=[6.0] * 14), UTC)
    assert day.ratio == pytest.approx(drive_ram_ratio(LINE_2), rel=1e-4)
    assert day.rate == pytest.approx(390.0, rel=1e-4)


def test_running_faster_is_not_running_rougher():
    start = datetime(2026, 11, 10, tzinfo=UTC)
    fast = [hour(start + timedelta(hours=at), 432.0, 60.0) for at in range(24)]
    (slow_day,), (fast_day,) = rough.by_day(day_of_hours(9), UTC), rough.by_day(fast, UTC)
    assert fast_day.speed_mps > 1.1 * slow_day.speed_mps
    assert fast_day.ratio == pytest.approx(slow_day.ratio, rel=1e-4)


def test_a_rougher_ram_has_a_higher_k_by_as_much():
    (day,) = rough.by_day(day_of_hours(10, rough_by=1.085), UTC)
    assert day.ratio == pytest.approx(1.085 * drive_ram_ratio(LINE_2), rel=1e-4)


def test_too_few_hours_make_no_day_and_a_silent_hour_no_figure():
    assert rough.by_day(day_of_hours(10)[:11], UTC) == []
    start = datetime(2026, 11, 10, tzinfo=UTC)
    silent = Bucket(strokes=0, minutes_running=0.0, begins=start, ends=start + timedelta(hours=1))
    assert len(rough.by_day([silent, *day_of_hours(10)[1:]], UTC)) == 1


def test_days_are_the_plants_own():
    hours = day_of_hours(10)
    tokyo = rough.by_day([*day_of_hours(9), *hours, *day_of_hours(11)], ZoneInfo("Asia/Tokyo"))
    assert [day.day.day for day in tokyo] == [9, 10, 11]


def test_the_own_level_is_that_of_the_days_before_those_shown():
    plant = fake_api.plant_of_21(NOW)
    record = record_of(plant, "harlow-mere/2/05")
    found = rough.of_hours(record.hours, LONDON, NOW, sight.DAYS_SHOWN)
    assert found.own == pytest.approx(1.116, abs=0.001)
    assert found.recent == pytest.approx(1.21, abs=0.003)
    assert len(found.days) == 60
    short = rough.of_hours(record.hours[-24 * 65 :], LONDON, NOW, sight.DAYS_SHOWN)
    assert short.own is None


def test_the_section_says_both_levels_and_no_verdict():
    page = page_of("2/05")
    said = plain(" ".join(page["rough"]["after"]))
    assert said.startswith("Last seven days: K 1.2")
    assert "Its own, over the days before these: 1.116 (dashed), so +8." in said
    assert row_of(page, "press")["read"]["text"] == "K 1.21, its own 1.12"
    assert "no change" in " ".join(page_of("2/01")["rough"]["after"]) or "%" in said


# ---- figures ----


def test_a_scale_holds_its_values_between_round_figures():
    for values, least in (([1.0, 1.001], 0.04), ([1.1, 1.21], 0.04), ([0.5], 0.01), ([3e-3], 0.01)):
        scale = figures.heights(values, least)
        assert scale.low <= min(values) <= max(values) <= scale.high
        assert scale.high - scale.low >= least * 0.999
        tops = [tick["top"] for tick in scale.ticks(3)]
        assert 3 <= len(tops) <= 8
        assert (tops[0], tops[-1]) == (100, 0)
    counted = figures.heights([0.2, 0.52], 0.01, low=0.0)
    assert counted.low == 0


def test_days_are_equally_wide_and_labels_keep_apart():
    days = figures.Days(date(2026, 9, 25), date(2026, 11, 23))
    assert days.count == 60
    assert days.x(date(2026, 9, 25), 0) == 0
    assert days.x(date(2026, 11, 23), 1) == 1000
    places = [label["left"] for label in days.labels()]
    assert all(two - one > 20 for one, two in pairwise(places))


def test_labels_of_changes_do_not_overlap_and_the_newest_win():
    days = figures.Days(date(2026, 9, 25), date(2026, 11, 23))
    marks = [(date(2026, 11, 1) + timedelta(days=at), f"{at} Nov ring-3 broken") for at in range(9)]
    placed = figures.in_lanes(days, marks)
    assert len(placed) == figures.LANES
    assert {each["text"] for each in placed} == {text for _, text in marks[-3:]}
    assert len({each["lane"] for each in placed}) == 3
    path = figures.uprights(days, [day for day, _ in marks], placed)
    assert path.count("M") == 9
    assert path.count(" 0V100") == 6


# ---- the drawing ----

KINDS = (
    *("press", "punch", "redraw-sleeve", "redraw-die"),
    *("ironing-ring", "ironing-ring", "ironing-ring", "stripper", "hold-ring", "dome-die"),
)


def wall_widths(slices):
    return [[shape["w"] for shape in each["part"] if shape["c"] == "metal"] for each in slices]


def test_the_wall_gets_thinner_at_each_ring_and_ends_at_the_dome():
    """Metal is conserved and ironing thins it: common practice, no source."""
    slices = section.slices([Part(kind) for kind in KINDS])
    below = [[shape["w"] for shape in each["below"] if shape["c"] == "metal"] for each in slices]
    assert below == [[], [], [5.0], [8.0], [6.2], [4.0], [2.2], [2.2], [2.2], []]
    assert wall_widths(slices)[4] == [8.0, 6.2]


def test_only_parts_that_call_someone_are_filled():
    slices = section.slices([Part(kind, calls=kind == "stripper") for kind in KINDS])
    hot = [at for at, each in enumerate(slices) if any("hotp" in s["c"] for s in each["part"])]
    assert hot == [KINDS.index("stripper")]
    slices = section.slices([Part(kind, calls=kind == "punch") for kind in KINDS])
    hot = [at for at, each in enumerate(slices) if any("hotp" in s["c"] for s in each["part"])]
    assert hot == list(range(1, 10))


def test_any_order_and_any_kind_can_be_drawn():
    for kinds in (KINDS[::-1], ("press",), (), ("hold-ring", "cutter"), ("dome-die", "punch")):
        slices = section.slices([Part(kind) for kind in kinds])
        assert len(slices) == len(kinds)
        assert all(shape["d"].startswith("M") for each in slices for shape in each["part"])


def test_more_rings_than_usual_are_drawn_as_thin_as_the_last():
    slices = section.slices([Part(kind) for kind in ("punch", *["ironing-ring"] * 5)])
    assert wall_widths(slices)[-1] == [2.2, 2.2]


# ---- counter record ----


def test_flags_that_nobody_settled_come_first_each_with_its_rule():
    table = page_of("3/05")["count"]["flags"]
    assert [row["open"] for row in table["rows"]] == [True, True, False, False, False, False]
    assert table["more"] == "all 9 flags"
    first = table["rows"][0]
    assert (first["name"], first["settled"]) == ("sender restarted, clock set back", "not settled")
    assert (first["counted"], first["hides"]) == ("7,600", "12,000")
    assert "ten minutes more were allowed for" in first["rule"]
    whole = page_of("3/05", opened=["flags"])["count"]["flags"]
    assert len(whole["rows"]) == 9


def test_a_settled_flag_says_who_when_and_why():
    (row,) = page_of("2/05")["count"]["flags"]["rows"]
    assert (
        plain(row["settled"])
        == "+12: stood for the download; by the can count (R. Ashdown, 14 Sep)"
    )
    assert row["hides"] == "0"


def test_hidden_turns_name_their_candidates():
    (row,) = page_of("1/02")["count"]["flags"]["rows"]
    assert row["rule"].endswith("It may have been 25,664, 91,200.")


def test_a_press_without_flags_says_so():
    assert page_of("2/06")["count"]["flags"]["empty"].startswith("No flag")


def test_every_kind_of_flag_has_words_and_a_rule():
    from typing import get_args

    from duestroke.counting.types import Kind

    assert set(counter.KINDS) == set(counter.RULES) == set(get_args(Kind))


def test_strokes_a_day_stand_as_uprights_and_today_lighter():
    figure = page_of("2/05")["count"]["figure"]
    assert figure["bars"].count("M") == 59
    assert figure["light"].count("M") == 1
    assert [tick["text"] for tick in figure["ticks"]] == ["0.0", "0.2", "0.4", "0.6"]


def test_a_counter_that_stands_while_the_ram_moves_is_said():
    assert page_of("2/05")["count"]["stands"] == ""
    plant = fake_api.plant_of_21(NOW)
    for each in plant.presses:
        since = fake_api.z_time(NOW - timedelta(hours=3))
        each["counter_stands"] = {"since": since, "not_counted_at_most": 86_400}
    assert page_of("2/05", plant)["count"]["stands"] == (
        "The counter stands still since 03:02 while the ram moves: at most 86,400 strokes are not "
        "counted."
    )


def test_dry_strokes_are_said_with_their_reason_and_stay_counted():
    said = plain(page_of("3/08")["count"]["after"][-1])
    assert said == (
        "Run dry, and counted: 9,000 strokes, 14 Oct 07:02–07:27, set up after the change of can "
        "size (R. Ashdown)."
    )
    assert not any("dry" in said for said in page_of("2/05")["count"]["after"])


def test_what_is_missing_is_said():
    plant = fake_api.plant_of_21(NOW)
    for each in plant.presses:
        each["missing"] = 6
    said = " ".join(page_of("2/05", plant)["count"]["after"])
    assert "6 reports are missing by number" in said
    assert "Counter turns at 4,294,967,296; 480 a minute at most." in said


# ---- what a figure opens to ----


def opened_of(short, position, **changed):
    blocks = row_of(page_of(short, opened=[position], **changed), position)["opened"]
    return {block["title"]: block for block in blocks}


def test_a_row_opens_to_strokes_range_readings_and_events():
    blocks = opened_of("3/02", "ring-2")
    assert list(blocks) == ["Strokes", "Range", "Readings", "What was done here"]
    said = plain(" ".join(blocks["Strokes"]["says"]))
    assert "33,700,000 since fit, rework or service." in said
    assert "total then 96,000,000, now 131,204,877" in said
    assert "at most 100,120 strokes more" in said
    assert "Rule: " in said
    said = plain(" ".join(blocks["Range"]["says"]))
    assert (
        "From 84 lives, 31 of them failed; weibull 46 %, lognormal 54 %. Fit ring-2/4f2a." in said
    )
    assert "At 0.50 M a running day" in said


def test_a_row_that_is_closed_carries_no_origins():
    assert all(row["opened"] == [] for row in page_of("2/05")["stack"]["rows"])


def test_a_late_entry_says_how_late_and_by_whom():
    at = NOW - timedelta(days=9)
    late = Event("e", "pull", "IR-1", at, at + timedelta(days=3), "crew Birch", reason="worn")
    block = origins.all_events(fleet_of(fake_api.plant_of_21(NOW)), [late])[0]
    assert plain(block["table"]["rows"][0]["cells"][4]).startswith("3 days late, Tue 17 Nov 06:02")
    on_time = msgspec.structs.replace(late, entered_at=at + timedelta(hours=1))
    block = origins.all_events(fleet_of(fake_api.plant_of_21(NOW)), [on_time])[0]
    assert "late" not in block["table"]["rows"][0]["cells"][4]


def test_a_correction_keeps_both_entries():
    rows = page_of("2/05", opened=["events"])["rough"]["events"][0]["table"]["rows"]
    gone = [row for row in rows if row["gone"]]
    assert len(gone) == 1
    assert gone[0]["cells"][4].endswith("no longer holds, see its correction")
    assert any(row["cells"][4].endswith("corrects an earlier entry") for row in rows)


def test_every_state_has_its_rule():
    from duestroke.forecast.facts import STATES

    assert set(origins.STATE_RULES) == set(STATES)


# ---- what could not be read ----

PARTS = {
    "dry": "Dry windows could not be read.",
    "inspections": "readings not read",
    "flags": "The flags could not be read.",
    "hours": "The series of this press could not be read.",
    "days": "Strokes a day could not be read.",
    "positions": "The positions could not be read: the usual ones are shown, without limits.",
}


@pytest.mark.parametrize("part", PARTS)
def test_a_part_that_could_not_be_read_is_said_and_never_reads_as_none(part):
    page = page_of("2/05", **{part: None})
    assert PARTS[part] in texts(page)
    assert len(page["stack"]["rows"]) == 9


def test_ranges_that_could_not_be_read_leave_the_count():
    page = page_of("2/05", answers={"forecasts": None, "faults": ("the API answered 500",)})
    assert page["top"]["lead"] == "Ranges could not be read."
    assert row_of(page, "ring-3")["serial"] == "range not read"
    assert page["count"]["figure"] is not None


def test_an_old_part_is_said_in_a_bar():
    page = page_of("2/05", aged=("the API answered 500 on /flags",))
    assert page["bar"]["lead"] == "Part of this page is old."
    assert "06:02" in page["bar"]["rest"]


@pytest.mark.parametrize("plant", [name for name in dir(fake_api) if name.startswith("plant_")])
def test_every_press_of_every_plant_makes_a_document_without_a_bare_word(plant):
    """No `None`, no `nan`, no code name of the contract where words belong."""
    made = getattr(fake_api, plant)(NOW)
    for each in made.presses[:4]:
        page = page_of(each["press"].partition("/")[2], made, opened=["ring-3", "events", "days"])
        json.dumps(page)
        said = " ".join(texts({**page, "stack": [
            {name: value for name, value in row.items() if name not in ("part", "below")}
            for row in page["stack"]["rows"]
        ]}))  # fmt: skip
        for bare in ("None", "nan", "inf ", "cant-tell", "…"):
            assert bare not in said.split(), (each["press"], bare)


def test_medians_are_those_of_the_hours():
    hours = day_of_hours(10)
    ratios = [each.mean_accel_mps2 / each.mean_speed_mps for each in hours]
    (day,) = rough.by_day(hours, UTC)
    assert day.ratio == pytest.approx(median(ratios) * 60 / (2 * 3.141592653589793 * day.rate))

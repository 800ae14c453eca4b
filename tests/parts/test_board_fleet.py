"""From the API's answers to the page's document: every state, every empty one, nothing made up."""

from __future__ import annotations

import json
from datetime import timedelta

import msgspec
import pytest

from dashboard import axis, desk, fleet, stops, wall, wall_columns
from dashboard.app import digest_of
from dashboard.client import LEVELS, Forecast, Press, Stop
from dashboard.fleet import Answers
from tests.browser import fake_api, fake_shifts
from tests.browser.fake_api import NOW

NARROW = "\u202f"
PLANTS = [name for name in dir(fake_api) if name.startswith("plant_")]


def answers_of(plant, **changed):
    forecasts = fake_api.forecasts(plant, NOW, list(LEVELS))
    parts = {
        "at": NOW,
        "presses": tuple(msgspec.convert(plant.presses, list[Press])),
        "forecasts": tuple(msgspec.convert(forecasts, list[Forecast])),
        "stops": tuple(msgspec.convert(plant.stops, list[Stop])),
    }
    return Answers(**{**parts, **changed})


def desk_of(plant, *, fault="", opened=(), now=NOW, site="", **changed):
    arranged = fleet.arrange(answers_of(plant, **changed), now, desk.DAYS, site)
    beside = fake_shifts.beside(plant, arranged, NOW)
    return desk.document(arranged, beside, fault=fault, opened=opened)


def wall_of(plant, columns=wall.COLUMNS, **changed):
    arranged = fleet.arrange(answers_of(plant, **changed), NOW, wall.DAYS)
    return wall.document(arranged, fake_shifts.beside(plant, arranged, NOW), columns=columns)


def plain(text):
    return text.replace("\u00a0", " ").replace(NARROW, " ").replace("\u2011", "-")


@pytest.fixture(scope="module")
def page():
    return desk_of(fake_api.plant_of_21(NOW))


def row_of(page, press):
    return next(row for row in page["fleet"]["rows"] if row["key"].endswith(press))


def test_every_press_stands_once_in_stamped_order(page):
    ids = [plain(row["id"]) for row in page["fleet"]["rows"]]
    assert ids == [name.replace("/", " ") for name in sorted(fake_api.WORST)]


def test_all_five_states_occur_each_with_its_own_mark(page):
    pairs = {(row["word"], row["mark"]) for row in page["fleet"]["rows"]}
    assert pairs == {
        *{("fine", "fine"), ("plan", "plan"), ("this stop", "stop")},
        *{("overdue", "over"), ("can’t tell", "doubt")},
    }


def test_states_are_the_engines_whatever_the_figures_say():
    plant = fake_api.plant_of_21(NOW)
    plant.tools = [fake_api.Tool("harlow-mere/1/01", "punch", (0.1, 0.2, 0.3), 1e6, state="fine")]
    assert row_of(desk_of(plant), "1/01")["word"] == "fine"


def test_the_head_says_how_far_the_counts_go_and_who_is_silent(page):
    head = page["head"]
    assert plain(head["now"]) == "Mon 23 Nov 06:02"
    assert (head["offset"], head["counts"]) == ("+00:00", "06:01")
    assert head["reporting"] == "20 of 21 presses reporting"
    assert plain(head["gap"]) == "3 02 silent since 05:10"


def test_do_this_shift_has_at_most_seven_rows_worst_first(page):
    listed = page["do"]
    assert [row["word"] for row in listed["rows"][:3]] == ["overdue", "can’t tell", "this stop"]
    assert len(listed["rows"]) == 7
    assert listed["more"] == "all 9 that need someone"
    chances = [int(row["figures"][0]["text"].split("\u00a0")[0]) for row in listed["rows"][2:]]
    assert chances == sorted(chances, reverse=True)
    whole = desk_of(fake_api.plant_of_21(NOW), opened={"do"})["do"]
    assert len(whole["rows"]) == 9
    assert [row["word"] for row in whole["rows"]][-2:] == ["this stop", "plan"]


def test_a_reason_is_made_of_the_chances_that_the_engine_gave(page):
    row = next(row for row in page["do"]["rows"] if row["key"] == "harlow-mere/3/06:ring-3")
    assert (
        plain(row["why"])
        == "30 % chance that it won’t reach Thursday’s stop, 81 % by the one after."
    )
    assert plain(row["range"]) == "23 Nov to 5 Dec"
    assert plain(row["half"]) == "half by 28 Nov"


def test_a_date_in_the_past_is_never_shown(page):
    row = page["do"]["rows"][0]
    assert plain(row["range"]) == "now to 26 Nov"
    assert row["half"] == ""
    assert "p50" not in row["paths"]


def test_a_silent_press_stands_once_with_its_last_range_broken(page):
    row = page["do"]["rows"][1]
    assert (plain(row["id"]), row["label"]) == ("3 02", "not reporting")
    assert (row["serial"], row["strokes"]) == ("", "2 of its 8 tools")
    assert set(row["paths"]) == {"ghost", "dots"}
    assert (plain(row["cap"]), row["figures"], row["range"]) == ("as of 05:10", [], "")
    assert row["why"].startswith("No report since 05:10")
    assert row_of(page, "3/02")["chance"] == ""


def test_vermilion_only_where_a_person_must_act(page):
    for row in page["fleet"]["rows"]:
        assert row["quiet"] == (row["word"] in ("fine", "plan"))
        if row["quiet"]:
            assert "hot" not in row["paths"]


def test_each_line_has_its_own_stops_and_the_long_one_says_so(page):
    lines = page["lines"]
    assert list(lines) == ["harlow-mere/1", "harlow-mere/2", "harlow-mere/3"]
    assert len({line["next"] for line in lines.values()}) == 3
    assert [flag["text"] for flag in page["axis"]["flags"] if flag["long"]] == ["2 24 h"]


def named(row):
    return [plain(f"{each['id']} {each['text']}") for each in row["tools"]]


def test_a_stop_is_measured_by_what_is_wanted_and_what_fits(page):
    row = page["stops"]["rows"][2]
    assert named(row) == ["3 06 ring-3", "3 04 ring-3", "3 08 redraw-sleeve"]
    first = row["measures"][0]
    assert (plain(first["count"]), plain(first["room"])) == ("3 wanted", "room for 8")
    assert (first["fill"], first["next"], first["over"]) == (38, True, False)
    assert plain(row["when"]) == "Thu 26 Nov 07:00–11:00"


def test_the_load_to_come_puts_each_tool_at_its_next_change_alone():
    plant = fake_api.plant_of_21(NOW)
    arranged = fleet.arrange(answers_of(plant), NOW, desk.DAYS)
    for line in arranged.lines:
        ahead = axis.of_line(arranged.stops, line)
        load = stops.counts(arranged, line, ahead)
        held = [tool for press in arranged.tools if press.startswith(line + "/")
                for tool in arranged.tools[press]]  # fmt: skip
        at_once = [tool for tool in held if tool.state in ("overdue", "this-stop")]
        assert load[0] == len(at_once)
        assert load[1] == sum(tool.state == "plan" for tool in held)
        told = [tool for tool in held if tool.state != "cant-tell"]
        assert sum(load) <= len(told)


def test_a_later_stop_is_the_last_before_the_range_reaches_a_quarter():
    """By the days given: stops on 1, 8, 15, 22, 29 ...; the 25 % day between 22 and 29."""
    plant = fake_api.plant_of_21(NOW)
    marks = (24.0, 27.0, 40.0)
    quarter = fake_api.days_at(marks, 0.25)
    assert 22.1 < quarter < 29.0
    plant.tools = [fake_api.Tool("harlow-mere/1/01", "punch", marks, 1e6, "fine")]
    arranged = fleet.arrange(answers_of(plant), NOW, desk.DAYS)
    ahead = axis.of_line(arranged.stops, "harlow-mere/1")
    days = [(stop.begins - NOW) / timedelta(days=1) for stop in ahead]
    at = max(place for place, day in enumerate(days) if day < quarter)
    load = stops.counts(arranged, "harlow-mere/1", ahead)
    assert load == [int(place == at) for place in range(len(ahead))]


def test_a_stop_too_small_says_what_is_left_out_and_its_risk():
    plant = fake_api.plant_of_21(NOW)
    for stop in plant.stops:
        stop["max_changes"] = min(stop["max_changes"], 2)
    row = desk_of(plant)["stops"]["rows"][2]
    out = row["with"][0]
    chance = fake_api.chance_by((3.4, 13, 27), 10 + 58 / 1440)
    said = f"No room for 1: 3 08 redraw-sleeve ({100 * chance:.0f} % to end before the stop after)."
    assert (plain(out["text"]), out["tone"]) == (said, "act")
    assert (row["measures"][0]["fill"], row["measures"][0]["over"]) == (100, True)


def test_what_stop_has_no_spare_and_what_can_not_be_told_stand_beside_it(page):
    told = [plain(each["text"]) for each in page["stops"]["rows"][2]["with"]]
    assert told == ["No spare for 3 06 ring-3, 3 04 ring-3.", "3 02 can’t be told.", "room for all"]


def test_while_a_line_stands_its_tools_are_to_be_changed_now():
    """To the engine a stop under way is the next one; the figures speak of the stop after it."""
    page = desk_of(fake_api.plant_in_stop(NOW))
    row = next(row for row in page["do"]["rows"] if row["key"] == "harlow-mere/1/05:ring-3")
    assert row["why"].startswith("It stands until 09:02: change it now. ")
    assert "tomorrow’s stop" in row["why"]
    assert row["figures"][0]["next"]
    assert row["figures"][0]["left"] > 0
    assert "hot" in row["paths"]
    stop = page["stops"]["rows"][0]
    assert (stop["ahead"], stop["measures"][0]["left"]) == ("now", 0.0)
    header = wall_of(fake_api.plant_in_stop(NOW))["pages"][0]["columns"][0]
    assert header["begins"] == "stands until 09:02"
    assert header["says"].startswith("now: ")


def test_a_caution_that_holds_for_all_rows_is_said_once():
    page = desk_of(fake_api.plant_in_stop(NOW))
    said = "the handbook life is the default, not your plant's."
    assert page["do"]["note"] == f"For all of these: {said}"
    with_range = [row for row in page["do"]["rows"] if row["word"] != "can’t tell"]
    assert all("handbook" not in row["why"] for row in with_range)


def test_an_opened_press_shows_all_its_tools_worst_first():
    opened = desk_of(fake_api.plant_of_21(NOW), opened={"harlow-mere/1/03"})["fleet"]["rows"]
    at = next(place for place, row in enumerate(opened) if row["key"] == "harlow-mere/1/03")
    assert opened[at]["open"]
    tools = opened[at + 1 : at + 9]
    assert tools[0]["label"] == "redraw-die"
    assert {row["label"] for row in tools} == set(fake_api.POSITIONS)
    assert len(opened) == 21 + 8


def test_the_foot_counts_each_fit_once(page):
    # Nine positions by fit: eight with 84 lives, the dome-die with none.
    assert "from 672 lives" in page["foot"]
    assert "no screen is proof that a machine is safe" in page["foot"]


def test_a_stop_of_one_press_is_drawn_on_its_row_alone():
    plant = fake_api.plant_of_21(NOW)
    plant.stops.append({**plant.stops[0], "id": "service", "scope": "harlow-mere/1/04"})
    page = desk_of(plant)
    assert row_of(page, "1/04")["stops"] is not None
    assert row_of(page, "1/05")["stops"] is None


# ---- empty states, stale and broken ----


def test_nothing_registered_says_the_one_thing_to_do():
    page = desk_of(fake_api.plant_of_none(NOW))
    assert "PUT /api/v1/presses" in page["fleet"]["empty"]
    assert page["do"]["empty"]
    assert page["stops"]["empty"]
    assert page["head"]["reporting"] == "no press is registered"


def test_presses_without_tools_have_no_state_and_say_why():
    page = desk_of(fake_api.plant_without_tools(NOW))
    assert {(row["word"], row["label"]) for row in page["fleet"]["rows"]} == {("", "no range yet")}
    assert "POST /api/v1/tool-events" in page["do"]["empty"]


def test_a_calm_shift_names_what_comes_next():
    plant = fake_api.plant_of_21(NOW)
    plant.tools = [tool for tool in plant.tools if tool.marks and tool.marks[0] > 8]
    plant.tools = [tool for tool in plant.tools if not tool.state]
    page = desk_of(plant)
    assert page["do"]["empty"] == "Nothing is wanted this shift. Next to come is the tool below."
    assert len(page["do"]["rows"]) == 1


def test_without_stops_the_days_that_stand_in_are_named():
    page = desk_of(fake_api.plant_of_3(NOW))
    assert "seven, fourteen and twenty-one days" in page["stops"]["empty"]
    plant = fake_api.plant_of_3(NOW)
    plant.tools = [fake_api.Tool("harlow-mere/1/01", "ring-3", (1, 5, 9), 4e6, state="this-stop")]
    why = plain(desk_of(plant)["do"]["rows"][0]["why"])
    assert "won’t reach 7 days from now" in why


def test_a_press_that_never_moved_has_no_range_and_no_drawn_one():
    page = desk_of(fake_api.plant_of_3(NOW))
    row = page["do"]["rows"][0]
    assert row["why"] == "The press has never moved."
    assert (row["paths"], row["cap"]) == ({"dots": "M0 86H4200"}, "")
    assert page["head"]["gap"] == f"1{NARROW}02 has never reported"


def test_a_fixed_interval_is_drawn_where_no_life_is_known():
    page = desk_of(fake_api.plant_of_3(NOW))
    assert "bar" in row_of(page, "1/03")["paths"]


def test_the_handbook_alone_is_said():
    page = desk_of(fake_api.plant_of_3(NOW))
    assert "from the handbook alone" in page["foot"]


def test_all_silent_puts_a_bar_over_figures_that_stay():
    page = desk_of(fake_api.plant_all_silent(NOW))
    assert page["bar"]["lead"] == "No data since 05:10."
    assert "52 minutes" in plain(page["bar"]["rest"])
    assert page["head"]["gap"] == "all presses silent"
    assert all(row["chance"] for row in page["fleet"]["rows"] if row["mark"] != "doubt")


def test_an_api_that_went_away_leaves_the_figures_and_says_how_old_they_are():
    later = NOW + timedelta(minutes=7)
    page = desk_of(fake_api.plant_of_21(NOW), fault="the API gave no answer", now=later)
    assert page["bar"]["lead"] == "No data since 06:02."
    assert "asked at 06:09 and got no answer" in page["bar"]["rest"]
    assert "7 minutes old" in plain(page["bar"]["rest"])
    assert len(page["fleet"]["rows"]) == 21


def test_ranges_that_could_not_be_read_are_said_in_place():
    page = desk_of(
        fake_api.plant_of_21(NOW), forecasts=None, faults=("the API answered 500 on /forecasts",)
    )
    assert page["do"]["fault"].startswith("At 06:02 the API answered 500 on /forecasts.")
    assert row_of(page, "1/01")["label"] == "range not read"
    assert page["do"]["rows"] == []


def test_stops_that_could_not_be_read_are_said_in_place():
    page = desk_of(fake_api.plant_of_21(NOW), stops=None, faults=("x",))
    assert page["stops"]["empty"] == "The planned stops could not be read."


def test_several_zones_are_told_in_utc():
    plant = fake_api.plant_of_3(NOW)
    plant.presses[0]["timezone"] = "America/New_York"
    assert "Times are plant time, UTC" in desk_of(plant)["foot"]


@pytest.mark.parametrize("name", PLANTS)
def test_a_document_is_plain_json_and_small(name):
    plant = getattr(fake_api, name)(NOW)
    for made in (desk_of(plant), wall_of(plant)):
        assert json.loads(json.dumps(made)) is not None
        assert "…" not in json.dumps(made, ensure_ascii=False)
    assert len(json.dumps(desk_of(plant))) < 100_000


def test_the_same_answers_give_the_same_digest():
    one, two = (desk_of(fake_api.plant_of_21(NOW)) for _ in range(2))
    assert digest_of(one) == digest_of(two)
    assert digest_of(one) != digest_of(desk_of(fake_api.plant_all_silent(NOW)))


def test_several_sites_are_shown_one_at_a_time():
    """2 05 names a press within its site only."""
    plant = fake_api.plant_of_3(NOW)
    for press in plant.presses[1:]:
        press["press"] = press["press"].replace("harlow-mere", "wold-end")
    page = desk_of(plant)
    assert (page["head"]["site"], page["head"]["others"]) == ("harlow-mere", ["wold-end"])
    assert len(page["fleet"]["rows"]) == 1
    other = desk_of(plant, site="wold-end")
    assert [row["press"][:8] for row in other["fleet"]["rows"]] == ["wold-end"] * 2
    assert desk_of(plant, site="nowhere")["head"]["site"] == "harlow-mere"


# ---- wall ----


def test_the_wall_has_a_column_a_line():
    page = wall_of(fake_api.plant_of_21(NOW))
    columns = page["pages"][0]["columns"]
    assert [plain(column["name"]) for column in columns] == ["Line 1", "Line 2", "Line 3"]
    assert [len(column["rows"]) for column in columns] == [6, 7, 8]
    assert len(page["pages"]) == 1
    assert [each["mark"] for each in page["tally"]] == ["over", "doubt", "stop"]
    assert plain(columns[2]["says"]) == "in 3 days: 3 changes wanted, room for 8"


def calling(page):
    return {row["key"] for column in page["columns"] for row in column["rows"] if row["calls"]}


@pytest.mark.parametrize(("plant", "columns"), [("plant_of_21", 2), ("plant_of_60", 3)])
def test_rows_that_call_someone_never_turn_away(plant, columns):
    """Sixty presses on a wide screen, 21 on a narrow one: neither fits in a column a line."""
    page = wall_of(getattr(fake_api, plant)(NOW), columns)
    need = sum(each["count"] for each in page["tally"])
    assert len(page["pages"]) > 1
    assert all(len(calling(one)) == need for one in page["pages"])
    assert {one["elsewhere"] for one in page["pages"]} == {""}
    assert all(len(one["columns"]) <= columns for one in page["pages"])


@pytest.mark.parametrize("columns", [2, 3])
def test_every_press_of_sixty_has_its_turn(columns):
    plant = fake_api.plant_of_60(NOW)
    pages = wall_of(plant, columns)["pages"]
    shown = {row["key"] for one in pages for column in one["columns"] for row in column["rows"]}
    assert shown == {press["press"] for press in plant.presses}
    for one in pages:
        keys = [row["key"] for column in one["columns"] for row in column["rows"]]
        assert len(keys) == len(set(keys))
        assert all(
            len(each["rows"]) * wall_columns.ROW_PX[each["set"]] <= wall_columns.HIGH_PX
            for each in one["columns"]
        )


def test_those_that_call_someone_stand_worst_first():
    columns = wall_of(fake_api.plant_of_60(NOW))["pages"][0]["columns"]
    rows = [row for column in columns for row in column["rows"] if row["calls"]]
    assert [row["word"] for row in rows] == sorted(
        (row["word"] for row in rows), key=["overdue", "can’t tell", "this stop"].index
    )
    chances = [int(row["chance"].split("\u00a0")[0]) for row in rows if row["word"] == "this stop"]
    assert chances == sorted(chances, reverse=True)


def test_more_than_the_screen_holds_have_every_other_turn_and_are_named():
    page = wall_of(fake_api.plant_of_60(NOW), 2)
    need = sum(each["count"] for each in page["tally"])
    told = [len(calling(one)) for one in page["pages"]]
    assert set(told[::2]) == {need}
    assert all(count < need for count in told[1::2])
    assert all(one["elsewhere"].startswith("Also: ") for one in page["pages"][1::2])


def test_free_space_under_a_column_tells_of_the_last_hours_and_of_missing_spares():
    columns = wall_of(fake_api.plant_of_21(NOW))["pages"][0]["columns"]
    notes = [column["note"] for column in columns]
    assert [plain(line) for line in notes[0]["lines"]] == [
        "1 05 jam, 02:14",
        "3 07 stripper broken, Sun 22 Nov 22:00",
    ]
    assert (notes[1]["title"], plain(notes[1]["lines"][0])) == (
        "No spare on the shelf",
        "3 06 ring-3, 3 more",
    )
    assert notes[2] is None

"""The entry page without a browser: forms, what is said of a serial, plant time."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

import msgspec
import pytest

from api.routes.inspections import InspectionIn
from api.routes.tool_events import EventIn
from api.routes.tools import ToolIn
from dashboard import entry, entry_lately, entry_says, entry_time, entry_words, words
from dashboard.access import Who
from dashboard.client import Press
from dashboard.entry_tools import Ages, Place, Size, Tool, ToolWhole, alike
from dashboard.fleet import Answers
from dashboard.pages import Ask, Sources
from dashboard.reads import Told
from dashboard.record import PlacedInspection, WholeEvent
from dashboard.source import Seen
from duestroke.ledger import EVENT_TYPES, REASONS
from tests.browser import fake_api
from tests.browser.fake_api import NOW
from tests.parts.test_board_wire import document, item_of  # noqa: F401 (a fixture)

LONDON = ZoneInfo("Europe/London")
PRESS = "harlow-mere/2/03"
RING = Place(
    "ring-3", "ironing-ring", 60, "bore", "um", 6.0, 65.999, 0.002,
    [Size("harlow-mere/2", 66.080, 0.002), Size(PRESS, 66.082, None)],
)  # fmt: skip
MODELS = {"tool-events": EventIn, "inspections": InspectionIn, "tools": ToolIn}


class FakeFleet:
    """The fleet's answers, none of them asked for."""

    def read(self):
        plant = fake_api.plant_of_21(NOW)
        presses = tuple(msgspec.convert(each, Press) for each in plant.presses)
        return Seen(Answers(at=NOW, presses=presses, forecasts=(), stops=()))


class FakeReads:
    """Lists and things by path, as `Reads` tells them; anything else was never answered."""

    def __init__(self, **known):
        self.lists = known

    def items(self, path, kind, asked=None, fresh_for=None):
        value = self.lists.get(path.strip("/").replace("-", "_"))
        if value is None:
            return Told(None, NOW, "the API gave no answer")
        wanted = (asked or {}).items()
        keep = [each for each in value if all(_is(each, name, told) for name, told in wanted)]
        return Told(tuple(keep), NOW)

    def one(self, path, kind, asked=None, fresh_for=None):
        serial = path.rpartition("/")[2]
        found = [each for each in self.lists["tools"] if each.serial == serial]
        return Told(found[0], NOW) if found else Told(None, NOW, missing=True)


def _is(each, name, told):
    return name == "from" or getattr(each, name, told) == told


def tool(serial, state="shelf", kind="ironing-ring", size=66.082, ran=0, **more):
    return ToolWhole(
        serial=serial, kind=kind, state=state, size_mm=size, strokes=Ages(None, ran), **more
    )


SITS = tool("IR25-0418", "fitted", press=PRESS, position="ring-3", ran=35_900_000)
PUNCH = Place("punch", "punch", 10)
OTHERS = (
    tool("IR26-0231"),
    tool("IR25-0001", "scrapped"),
    tool("IR26-0232", "bench", size=None),
    tool("IR26-0233", "out"),
    tool("IR26-0234", "scrapped"),
    tool("IR26-0235", size=65.999),
    tool("IR25-0500", "fitted", press="harlow-mere/1/02", position="ring-2"),
    tool("PU26-0001", kind="punch", size=None),
)
FIT = WholeEvent(
    "0b9f3a52-4c0e-4f0f-9a35-0f6a3d1c7e11", "fit", "IR25-0418", NOW - timedelta(days=2),
    NOW - timedelta(days=1), "crew", PRESS, "ring-3", "worn", by="T. Elm", replaces=True,
)  # fmt: skip
PULL = WholeEvent(
    "1b9f3a52-4c0e-4f0f-9a35-0f6a3d1c7e11", "pull", "IR25-0001", NOW - timedelta(days=2),
    NOW - timedelta(days=1), "crew", PRESS, "ring-3", "worn", implied_by=FIT.id,
)  # fmt: skip
LOOK = PlacedInspection(
    "look-1", "IR25-0418", NOW - timedelta(hours=3), NOW, "crew", press=PRESS, position="ring-3",
    verdict="good", quantity="bore", value=4.2, unit="um",
)  # fmt: skip


def ask(opened=(), **params):
    reads = FakeReads(
        positions=(PUNCH, RING, Place("redraw-die", "redraw-die", 20),
                   Place("redraw-sleeve", "redraw-sleeve", 30), Place("press", "press", 900)),
        tools=(SITS, *OTHERS), tool_events=(FIT, PULL), inspections=(LOOK,),
    )  # fmt: skip
    sources = Sources(FakeFleet(), None, reads)
    return Ask(NOW, Who("crew", "R. Ash", "word"), sources, params, frozenset(opened))


def form(opened=(), **params):
    return entry.document(ask(opened, **params))


# ---- forms ----


KINDS = {
    "exchange": {"position": "ring-3"},
    "fit": {"do": "exchange", "position": "punch"},
    "pull": {"do": "pull", "position": "ring-3"},
    "inspect": {"do": "inspect", "position": "ring-3"},
    "service": {"do": "service"},
    "send": {"do": "send"},
    "rework": {"do": "rework"},
    "shelve": {"do": "shelve", "serial": "IR26-0232"},
    "scrap": {"do": "scrap"},
    "register": {"do": "register"},
    "void": {"do": "void", "event": FIT.id},
    "void-look": {"do": "void", "event": LOOK.id},
    "correct": {"do": "exchange", "position": "ring-3", "event": FIT.id},
    "correct-look": {"do": "inspect", "position": "ring-3", "event": LOOK.id},
    "age": {"do": "exchange", "position": "ring-3", "age": "said"},
}


@pytest.mark.parametrize("given", KINDS.values(), ids=KINDS)
def test_a_form_sends_what_the_api_takes_and_no_more(given):
    made = form(opened=("age",), press=PRESS, **given)
    known = set(MODELS[made["call"]].model_fields)
    assert made["template"]
    assert set(made["template"]) <= known
    names = {field["name"] for field in made["fields"]}
    parts = [str(value) for value in made["template"].values() if str(value).startswith("$")]
    asked = {part.lstrip("$").rpartition(":")[2].partition(" ")[0] for part in parts}
    assert asked - names <= {"note"}, "a template asks for what no field holds"
    assert all(set(need["names"]) <= names for need in made["needs"])


@pytest.mark.parametrize("given", KINDS.values(), ids=KINDS)
def test_the_cautions_stand_above_each_form_and_the_law_below(given):
    made = form(press=PRESS, **given)
    assert made["care"] == entry_words.CARE
    assert made["law"] == entry_words.LAW
    assert (made["more_care"] == entry_words.DUST) == (given.get("do") == "rework")


def test_an_exchange_says_who_comes_out_and_what_will_be_entered():
    made = form(press=PRESS, position="ring-3", reason="worn", serial="IR26-0231")
    assert made["send"]["repeat"] == "IR25-0418 out, worn · IR26-0231 in, starts at 0"
    assert made["template"]["replaces"] is True
    assert made["fields"][0]["label"].startswith("Comes out: IR25-0418, ring-3")


def test_a_place_that_is_empty_takes_a_fit_without_a_reason():
    made = form(press=PRESS, position="punch", serial="PU26-0001")
    assert made["lead"] == "Nothing is recorded at punch."
    assert not {"replaces", "reason"} & set(made["template"])
    assert form(press=PRESS, do="pull", position="punch")["send"] is None


def test_all_reasons_and_types_of_the_ledger_have_words():
    assert [value for value, _, _ in entry_words.REASONS] == list(REASONS)
    assert set(entry_words.EVENT_WORDS) == set(EVENT_TYPES) == set(entry_lately.FORM_OF)


def test_places_stand_as_the_cup_meets_them_and_the_punch_last():
    made = form(press=PRESS)
    assert [seat["value"] for seat in made["seats"]] == [
        *("redraw-sleeve", "redraw-die", "ring-3", "punch"),
    ]
    assert made["lead"] == "Choose the place on the left."


def test_without_a_press_it_asks_which_and_a_press_of_nowhere_is_none():
    for press in ("", "harlow-mere/9/99", "../x", "<b>"):
        made = form(press=press)
        assert made["choose"] == "press"
        assert [len(line["presses"]) for line in made["presses"]] == [6, 7, 8]


def test_where_the_places_could_not_be_read_it_says_so():
    sources = Sources(FakeFleet(), None, FakeReads())
    made = entry.document(Ask(NOW, Who("crew", "R"), sources, {"press": PRESS}))
    assert made["lead"] == "The places could not be read: the API gave no answer."
    assert made["send"] is None


def test_an_exchange_is_corrected_with_the_tool_that_it_put_out():
    made = form(press=PRESS, position="ring-3", event=FIT.id, serial="IR25-0418", reason="worn")
    assert made["template"]["corrects"] == FIT.id
    assert made["template"]["replaces"] is True
    assert "Instead of: ring-3: IR25-0418 in, worn" in made["lead"]
    assert made["send"]["word"] == "Enter the correction"


def test_what_was_entered_lately_can_be_corrected_but_not_what_follows_from_it():
    rows = form(press=PRESS, do="lately")["fields"][0]["rows"]
    assert [row["value"] for row in rows] == [LOOK.id, FIT.id]
    assert rows[1]["fill"]["serial"] == "IR25-0418"
    assert rows[1]["small"].startswith("done Sat\u00a021\u00a0Nov\u00a006:02 by T. Elm, entered ")
    assert rows[0]["form"] == "inspect"


def test_an_entry_that_is_gone_can_not_be_taken_back():
    made = form(press=PRESS, do="void", event="another")
    assert made["lead"].startswith("There is no such entry")
    assert made["send"] is None


# ---- what is said of a serial ----


SAID = {
    "IR26-0231": ("ok", "On the shelf, 66.082\u00a0mm, suits ring-3 of this press."),
    "IR26-0232": ("ask", "On the bench, no size on record; ring-3 of this press wants 66.082"),
    "IR26-0233": ("no", "Out for rework."),
    "IR26-0234": ("no", "Scrapped."),
    "IR25-0418": ("no", "It sits here already."),
    "IR25-0500": ("no", "It sits in 1\u202f02 at ring-2."),
    "PU26-0001": ("no", "PU26-0001 is a punch; ring-3 takes a ironing-ring."),
    "IR26-231": ("no", "No tool has the serial IR26-231. Is IR26-0231"),
    "IR 26": ("no", "A serial has letters"),
    "": ("quiet", "Scan it, type it, or pick it."),
}


@pytest.mark.parametrize(("serial", "said"), SAID.items())
def test_a_serial_is_judged_for_its_place(serial, said):
    made = form(press=PRESS, position="ring-3", serial=serial)
    field = next(each for each in made["fields"] if each["kind"] == "serial")
    assert field["says"]["tone"] == said[0]
    assert field["says"]["text"].startswith(said[1])
    assert field["echo"] == serial


@pytest.mark.parametrize(
    ("kind", "state", "tone"),
    [("send", "bench", "ok"), ("send", "out", "no"), ("shelve", "shelf", "no"),
     ("rework", "out", "ok"), ("scrap", "fitted", "no"), ("scrap", "scrapped", "no")],
)  # fmt: skip
def test_a_tool_is_moved_only_from_where_it_may(kind, state, tone):
    assert entry_says.to_move(tool("X", state), kind).tone == tone


def test_the_narrowest_scope_says_which_size_a_place_asks_for():
    assert RING.size_in(PRESS) == (66.082, None)
    assert RING.size_in("harlow-mere/2/04") == (66.080, 0.002)
    assert RING.size_in("harlow-mere/1/01") == (65.999, 0.002)


@pytest.mark.parametrize(
    ("size", "press", "suits"),
    [(65.997, "harlow-mere/1/01", True), (65.9969, "harlow-mere/1/01", False),
     (None, "harlow-mere/1/01", None), (70.0, PRESS, True)],
)  # fmt: skip
def test_a_size_suits_within_its_tolerance(size, press, suits):
    assert RING.suits(Tool("X", "ironing-ring", "shelf", size_mm=size), press) is suits


def test_a_serial_is_alike_whatever_its_case():
    assert alike("ir26-0231", ["IR26-0231", "PU25-0001"]) == ["IR26-0231"]
    assert alike("X", ["IR26-0231"]) == []


# ---- plant time ----


TYPED = {
    "winter": ("2026-11-22", "05:41", "", "+00:00", 0),
    "summer": ("2026-07-01", "05:41", "", "+01:00", 0),
    "in-haste": ("2026-11-22", "5.41", "", "+00:00", 0),
    "hour-twice-first": ("2026-10-25", "01:30", "", "+01:00", 2),
    "hour-twice-second": ("2026-10-25", "01:30", "1", "+00:00", 2),
    "hour-missing": ("2026-03-29", "01:30", "", "", 0),
    "no-time": ("2026-11-22", "", "", "", 0),
    "no-day": ("", "05:41", "", "", 0),
    "no-hour": ("2026-11-22", "24:00", "", "", 0),
}
"""Day, time, which of two, and: offset, how many of it there were. Clocks of Europe/London change
on the last Sundays of March and October (IANA time zone database)."""


@pytest.mark.parametrize("case", TYPED.values(), ids=TYPED)
def test_a_typed_plant_time_has_its_offset(case):
    day, clock, fold, offset, twice = case
    made = entry_time.meaning(day, clock, fold, NOW, LONDON)
    assert (made["offset"], len(made["twice"])) == (offset, twice)
    assert (made["tone"] == "no") == (clock == "01:30" and not offset)


def test_a_late_entry_says_by_how_much():
    made = entry_time.said(NOW - timedelta(days=3), NOW, LONDON)
    assert made["says"].startswith(
        "Fri\u00a020\u00a0Nov\u00a006:02 +00:00. Entered 3\u00a0days late"
    )
    assert entry_time.said(NOW - timedelta(minutes=20), NOW, LONDON)["tone"] == "quiet"
    assert entry_time.said(NOW + timedelta(minutes=5), NOW, LONDON)["tone"] == "no"


def test_words_of_the_api_are_in_plant_time_and_plant_names():
    said = (
        "IR25-0500 is fitted since the fit at ring-2 of harlow-mere/1/02 at 2026-07-01T04:00:00Z "
        "(event 0b9f3a52-4c0e-4f0f-9a35-0f6a3d1c7e11); that stands against it"
    )
    assert words.of_the_api(said, LONDON, NOW).replace("\u00a0", " ") == (
        "IR25-0500 is fitted since the fit at ring-2 of 1\u202f02 at Wed 1 Jul 05:00; "
        "that stands against it."
    )


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/tool-events", WholeEvent),
        ("/inspections", PlacedInspection),
        ("/tools", Tool),
        ("/positions", Place),
    ],
)
def test_each_field_that_the_form_reads_is_answered(document, path, kind):  # noqa: F811
    known = item_of(document, path)
    names = {field.encode_name for field in msgspec.structs.fields(kind)}
    assert names <= set(known["properties"])

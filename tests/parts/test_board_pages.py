"""What pages have in common: addresses, navigation, panels, tables, charts, kept reads."""

from __future__ import annotations

from datetime import timedelta

import msgspec
import pytest

from dashboard import charts, pages, panels, tables
from dashboard.access import LOOKING, NOBODY, Who
from dashboard.charts import Point, Scale, Series
from dashboard.client import Client
from dashboard.pages import Ask, Page, Sources
from dashboard.reads import Reads, Told
from dashboard.site import PAGES
from dashboard.tables import Cell, Column, Row
from tests.browser import fake_api
from tests.browser.fake_api import NOW, TOKEN, FakeApi
from tests.browser.stand import Clock

CREW = Who("crew", "Alder", "word")


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def api(clock):
    with FakeApi(fake_api.plant_of_3, clock) as fake:
        yield fake


@pytest.fixture
def client(api):
    made = Client(api.url, TOKEN, timeout_s=3)
    yield made
    made.close()


@pytest.fixture
def ask(client, clock):
    return Ask(NOW, LOOKING, Sources.over(client, clock))


def who_asks(ask, who, **params):
    return Ask(NOW, who, ask.sources, params)


# ---- addresses and navigation ----


TOOL = Page("tool", "/tool/{serial}", "Tool", lambda ask: {})
PRESS_ = Page("press", "/press/{press}", "Press", lambda ask: {})


@pytest.mark.parametrize(
    ("page", "path", "parts"),
    [
        (TOOL, "/tool/IR25-0418-F", {"serial": "IR25-0418-F"}),
        (TOOL, "/tool/", None),
        (TOOL, "/tool/a/b", None),
        (TOOL, "/tool/<b>", None),
        (TOOL, "/tools/x", None),
        (PRESS_, "/press/harlow-mere/2/05", {"press": "harlow-mere/2/05"}),
        (PRESS_, "/press/harlow-mere/2/05/", None),
        (PRESS_, "/press/A/2/05", None),
    ],
)
def test_an_address_names_its_parts(page, path, parts):
    assert page.match(path) == parts


def test_pages_have_addresses_and_views_of_their_own():
    assert len({page.path for page in PAGES}) == len(PAGES)
    assert len({page.view for page in PAGES}) == len(PAGES)
    assert [page.view for page in PAGES if page.is_open] == ["sign-in"]


def words_of(made):
    return [way["word"] for way in made["ways"]]


def test_the_navigation_shows_what_the_role_may_do(ask):
    looking = pages.draw(PAGES, ask, "/")
    assert "Shift" in words_of(looking)
    assert "Enter" not in words_of(looking)
    assert "Enter" in words_of(pages.draw(PAGES, who_asks(ask, CREW), "/"))
    assert words_of(pages.draw(PAGES, who_asks(ask, NOBODY), "/")) == []


def test_the_way_to_the_form_knows_where_one_came_from(ask):
    made = pages.draw(PAGES, who_asks(ask, CREW), "/press/harlow-mere/1/01")
    way = next(way for way in made["ways"] if way["word"] == "Enter")
    assert way["href"] == "/entry?site=harlow-mere&press=harlow-mere/1/01"


def test_a_page_for_more_than_the_role_says_so_and_holds_nothing(ask):
    made = pages.draw(PAGES, ask, "/entry")
    assert made["away"] == {
        "lead": "This page is for the crew.",
        "rest": "You only look.",
        "sign_in": True,
    }
    assert not {"template", "fields", "care"} & set(made)
    viewer = pages.draw(PAGES, who_asks(ask, Who("viewer", "Wall", "w")), "/entry")
    assert viewer["away"]["rest"] == "You are signed in as Wall (viewer)."
    assert not viewer["away"]["sign_in"]


def test_a_page_that_a_session_ended_on_is_kept_by_the_screen(ask):
    ended = Who("viewer", ended=True)
    assert pages.draw(PAGES, who_asks(ask, ended), "/entry")["keep"]
    assert "keep" not in pages.draw(PAGES, who_asks(ask, ended), "/")
    assert pages.draw(PAGES, who_asks(ask, Who(None, ended=True)), "/")["keep"]


def test_a_page_that_has_nothing_yet_says_why(api, ask):
    api.die()
    made = pages.draw(PAGES, who_asks(ask, CREW), "/entry")
    assert "the API gave no answer" in made["away"]["rest"]


# ---- panels ----


def body(value):
    return {"shown": len(value)}


@pytest.mark.parametrize(
    ("told", "state", "lead"),
    [
        (Told((1, 2), NOW), "shown", ""),
        (Told((), NOW), "empty", ""),
        (Told(None, NOW, "the API gave no answer"), "error", "This could not be read."),
        (Told(None, NOW, missing=True), "empty", ""),
        (Told((1,), NOW - timedelta(minutes=9), "no answer"), "old", "As of 05:53."),
        (Told((9,), NOW), "cant-tell", "Can’t tell."),
    ],
    ids=["shown", "empty", "error", "missing", "old", "cant-tell"],
)
def test_a_panel_says_its_state_in_words(ask, told, state, lead):
    made = panels.panel(
        ask, "p", "Panel", told, body,
        empty="Nothing is wanted.",
        cant_tell=lambda value: "No figure in it." if value == (9,) else "",
    )  # fmt: skip
    assert (made["state"], made["lead"]) == (state, lead)
    assert ("shown" in made) == (state in ("shown", "old"))
    assert made["rest"] or state == "shown"


# ---- tables ----


def test_a_table_has_words_for_the_reader_and_values_for_a_download():
    columns = [Column("Serial", "serial"), Column("Strokes, M", "strokes", right=True)]
    row = Row("1", [Cell("IR25", "/tool/IR25"), "4.54 M"], ["IR25", 4_541_000])
    made = tables.table("lives", "Lives", columns, [row])
    assert made["csv"] == {"head": ["serial", "strokes"], "rows": [["IR25", 4_541_000]]}
    assert made["rows"][0]["cells"] == [
        {"text": "IR25", "href": "/tool/IR25", "tone": ""}, "4.54 M",
    ]  # fmt: skip
    assert [each["right"] for each in made["head"]] == [False, True]


def test_a_row_of_another_width_is_refused():
    with pytest.raises(ValueError, match="row '1'"):
        tables.table("t", "T", [Column("A", "a")], [Row("1", ["x", "y"], ["x"])])


def test_a_long_table_says_that_it_is_cut():
    rows = [Row(str(n), [str(n)], [n]) for n in range(1_001)]
    made = tables.table("t", "T", [Column("A", "a")], rows)
    assert len(made["rows"]) == 1_000
    assert made["more"] == "The first 1,000 of 1,001 rows."


# ---- charts ----


X = Scale("Strokes, M", 0.0, 50.0, [(0, "0"), (25, "25"), (50, "50")])
Y = Scale("Still sound, %", 0.0, 100.0, [(0, "0"), (50, "50"), (100, "100")])


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (0, 60, [0, 10, 20, 30, 40, 50, 60]),
        (0, 1, [0, 0.2, 0.4, 0.6, 0.8, 1.0]),
        (-4, 0, [-4, -3, -2, -1, 0]),
        (23.7, 45.9, [25, 30, 35, 40, 45]),
        (0, 7e6, [0, 2e6, 4e6, 6e6]),
        (5, 5, [5]),
        (0, float("inf"), [0]),
    ],
)
def test_ticks_are_round_and_lie_inside(low, high, expected):
    assert charts.ticks(low, high) == pytest.approx(expected)


def test_series_are_places_in_the_box():
    points = [(0, 100), (25, 50), (50, 0)]
    assert charts.line(X, Y, points) == "M0 0L500 50L1000 100"
    assert charts.steps(X, Y, points) == "M0 0H500V50H1000V100"
    assert charts.dots(X, Y, points[1:2]) == "M500 50h0"
    assert charts.band(X, Y, [(0, 40, 60), (50, 0, 20)]) == "M0 40L1000 80L1000 100L0 60Z"
    assert charts.uprights(X, Y, [(25, 0, 100)]) == "M500 100V0"
    assert charts.line(X, Y, []) == charts.steps(X, Y, []) == charts.band(X, Y, []) == ""


def test_a_chart_names_its_axes_and_its_points():
    made = charts.chart(
        "life", "Life", X, Y, [Series("line", "by end codes", "M0 0")],
        says="Half last 34 M.", points=[Point(25, 50, "25 M: 50 %")],
    )  # fmt: skip
    assert (made["x"]["title"], made["y"]["title"]) == ("Strokes, M", "Still sound, %")
    assert made["x"]["ticks"][1] == {"at": 50.0, "text": "25"}
    assert made["y"]["ticks"][0] == {"at": 100.0, "text": "0"}
    assert made["points"] == [{"left": 50.0, "top": 50.0, "text": "25 M: 50 %"}]


# ---- kept reads ----


class Named(msgspec.Struct, frozen=True):
    """A press by its name."""

    press: str


def test_a_read_is_kept_for_some_seconds_and_shared(api, client, clock):
    reads = Reads(client, clock)
    first = reads.items("/presses", Named)
    assert [each.press[-4:] for each in first.value] == ["1/01", "1/02", "1/03"]
    assert reads.items("/presses", Named) is first
    clock.at += timedelta(seconds=5)
    assert reads.items("/presses", Named) == Told(first.value, clock.at)
    assert api.asked.count("/presses") == 2


def test_what_was_read_stays_as_old_while_the_api_is_away(api, client, clock):
    reads = Reads(client, clock)
    good = reads.items("/presses", Named)
    api.die()
    clock.at += timedelta(minutes=1)
    told = reads.items("/presses", Named)
    assert (told.value, told.at, told.is_old) == (good.value, good.at, True)
    assert told.fault == "the API gave no answer"


def test_what_was_never_read_has_no_value(api, client, clock):
    api.die()
    told = Reads(client, clock).items("/presses", Named)
    assert (told.value, told.is_old, told.missing) == (None, False, False)


def test_a_thing_that_is_not_there_is_missing_and_no_fault(client, clock):
    told = Reads(client, clock).one("/tools/NOPE", Named)
    assert (told.value, told.fault, told.missing) == (None, "", True)


def test_after_a_write_all_is_read_anew(api, client, clock):
    reads = Reads(client, clock)
    reads.items("/presses", Named)
    reads.forget()
    reads.items("/presses", Named)
    assert api.asked.count("/presses") == 2


def test_questions_of_other_parameters_are_other_reads(api, client, clock):
    reads = Reads(client, clock)
    reads.items("/stops", Named, {"scope": "a"})
    reads.items("/stops", Named, {"scope": "b"})
    assert api.asked.count("/stops") == 2

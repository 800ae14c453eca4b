"""The press page in a real browser: every size and scheme, every state, all of it opened."""

from __future__ import annotations

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from tests.browser import fake_api
from tests.browser.faults import MEASURE, faults_of
from tests.browser.stand import SCHEMES, SIZES, running_board

pytestmark = pytest.mark.browser

ROW_NODES = ".stack .row, .stack .row svg, .stack .row path, .fig path"


def press_of(board, name):
    return f"{board.url}/press/harlow-mere/{name}"


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", SIZES, ids=lambda size: str(size[0]))
def test_a_press_is_shown_whole_in_every_size_and_scheme(boards, open_page, size, scheme):
    """WCAG 2.0 to 2.2, levels A and AA, by axe-core; text measured by its own boxes."""
    opened = open_page(press_of(boards("plant_of_21"), "2/05"), size, scheme)
    assert opened.page.locator(".stack .what .opens").all_inner_texts() == [
        *("press, ram", "punch", "redraw-sleeve", "redraw-die", "ring-1"),
        *("ring-2", "ring-3", "stripper", "dome-die"),
    ]
    assert opened.page.title() == "Press 2\u202f05 · Duestroke"
    assert faults_of(opened) == []


OTHERS = (
    *(("plant_of_21", "2/03"), ("plant_of_21", "3/02"), ("plant_of_21", "1/02")),
    *(("plant_of_3", "1/02"), ("plant_of_3", "1/03"), ("plant_without_tools", "1/01")),
    *(("plant_all_silent", "2/05"), ("plant_in_stop", "1/05"), ("plant_of_none", "1/01")),
)


@pytest.mark.parametrize(("plant", "press"), OTHERS)
def test_presses_in_other_states_are_shown_as_well(boards, open_page, plant, press):
    """The narrowest size, where text has least room; one scheme each, turn about."""
    scheme = SCHEMES[OTHERS.index((plant, press)) % 2]
    opened = open_page(press_of(boards(plant), press), SIZES[2], scheme)
    assert faults_of(opened) == []


def test_everything_opens_in_its_place(boards, open_page):
    opened = open_page(press_of(boards("plant_of_21"), "3/05"), SIZES[2])
    page = opened.page
    for name in ("press", "ring-3", "stripper", "days", "events", "flags"):
        button = page.locator(f"button[data-open={name}]")
        expect(button).to_have_attribute("aria-expanded", "false")
        button.press("Enter")
        expect(button).to_have_attribute("aria-expanded", "true")
        expect(button).to_be_focused()
    expect(page.locator(".row.opened")).to_have_count(3)
    expect(page.locator(".count .flagrow")).to_have_count(9)
    page.evaluate("window.scrollTo(0, 0)")
    assert faults_of(opened) == []
    page.locator("button[data-open=ring-3]").press("Enter")
    expect(page.locator(".row.opened")).to_have_count(2)


def test_a_row_opens_to_readings_range_and_what_was_done(boards, open_page):
    page = open_page(press_of(boards("plant_of_21"), "3/02")).page
    page.locator("button[data-open=ring-2]").click()
    opened = page.locator(".row.opened")
    expect(opened.locator("h3")).to_have_text(
        ["Strokes", "Range", "Readings", "What was done here"]
    )
    expect(opened).to_contain_text("at most 100,120 strokes more")
    expect(opened).to_contain_text("±\u00a00.8\u00a0µm")
    expect(opened).to_contain_text("pulled from ring-2, broken")


def test_a_correction_is_struck_through_and_both_stay(boards, open_page):
    page = open_page(press_of(boards("plant_of_21"), "2/05")).page
    page.get_by_role("button", name="All changes").click()
    gone = page.locator("tr.gone")
    expect(gone).to_have_count(1)
    expect(gone).to_contain_text("no longer holds")
    assert gone.locator("th").evaluate("n => getComputedStyle(n).textDecorationLine") == (
        "line-through"
    )
    expect(page.get_by_text("chip seen on the bench")).to_be_visible()


def test_parts_that_call_someone_are_filled_and_no_other(boards, open_page):
    page = open_page(press_of(boards("plant_of_21"), "2/03")).page
    rows = page.locator(".stack .row:has(.draw .hotp)")
    expect(rows).to_have_count(1)
    expect(rows.locator(".pos")).to_have_text("ring-3")
    act = page.evaluate(
        "getComputedStyle(document.documentElement).getPropertyValue('--act').trim()"
    )
    filled = rows.locator(".hotp").first.evaluate("node => getComputedStyle(node).fill")
    assert filled == f"rgb({', '.join(str(int(act[at : at + 2], 16)) for at in (1, 3, 5))})"


def test_strokes_that_may_be_hidden_stand_in_violet_beside_the_count(boards, open_page):
    page = open_page(press_of(boards("plant_of_21"), "3/02")).page
    flagged = page.locator(".stack .row:has([data-open=ring-2]) .flag")
    expect(flagged).to_have_text("+\u00a0up\u00a0to\u00a00.10\u00a0M")
    page = open_page(press_of(boards("plant_of_21"), "2/05")).page
    expect(page.locator(".stack .flag")).to_have_count(0)


def test_a_refresh_keeps_nodes_focus_scroll_and_what_is_open(quick_board, open_page):
    page = open_page(press_of(quick_board, "2/05")).page
    page.locator("button[data-open=ring-1]").click()
    expect(page.locator(".row.opened")).to_have_count(1)
    page.evaluate(f"document.querySelectorAll('{ROW_NODES}').forEach(n => {{ n.before = true }})")
    page.locator("button[data-open=ring-3]").focus()
    page.evaluate("window.scrollTo(0, 300)")
    quick_board.clock.at += timedelta(minutes=3)
    expect(page.locator(".now")).to_contain_text("06:05")
    fresh = f"[...document.querySelectorAll('{ROW_NODES}')].filter(n => !n.before).length"
    assert page.evaluate(fresh) == 0
    assert page.evaluate("document.activeElement.textContent") == "ring-3"
    assert page.evaluate("window.scrollY") == 300
    expect(page.locator(".row.opened")).to_have_count(1)


def test_when_the_api_goes_away_the_figures_stay_under_a_bar(quick_board, open_page):
    opened = open_page(press_of(quick_board, "2/05"), SIZES[2])
    page = opened.page
    quick_board.api.broken = {"/presses"}
    quick_board.clock.at += timedelta(minutes=8)
    expect(page.locator(".stale")).to_contain_text("No data since 06:02.")
    assert page.locator(".stack .row").count() == 9
    assert page.evaluate(MEASURE) == []
    quick_board.api.broken = set()
    quick_board.clock.at += timedelta(minutes=1)
    expect(page.locator(".stale")).to_have_count(0)
    assert opened.wrong == []


def test_lists_that_fail_are_said_in_their_places(open_page):
    with running_board(fake_api.plant_of_21) as board:
        board.api.broken = {
            *("/positions", "/tool-events", "/inspections", "/flags"),
            *("/series", "/forecasts", "/stops"),
        }
        opened = open_page(press_of(board, "2/05"), SIZES[2])
        opened.page.get_by_role("button", name="All changes").click()
        for said in (
            "The positions could not be read",
            "The ledger could not be read.",
            "The flags could not be read.",
            "The series of this press could not be read.",
            "Strokes a day could not be read.",
            "Ranges could not be read.",
            "the stops could not be read",
        ):
            expect(opened.page.get_by_text(said).first).to_be_visible()
        expect(opened.page.locator(".stack .row")).to_have_count(9)
        assert opened.page.evaluate(MEASURE) == []


def test_the_fleet_leads_to_the_press_and_back(boards, open_page):
    page = open_page(boards("plant_of_21").url).page
    page.locator("#press-harlow-mere-2-05 .id").click()
    expect(page.locator(".title h1")).to_contain_text("2\u202f05")
    expect(page.locator(".stack .row")).to_have_count(9)
    page.get_by_role("link", name="Shift").click()
    expect(page.locator(".fleet .row")).to_have_count(21)
    page.locator(".do .id").first.click()
    expect(page.locator(".title h1")).to_contain_text("2\u202f03")


def test_words_from_the_api_are_text_never_markup(open_page):
    mark = "<img src=x> & <b>b</b>"

    def marked(now):
        plant = fake_api.plant_of_21(now)
        plant.tools = [
            fake_api.Tool("harlow-mere/2/05", "ring-3", (-3, -1, 2), 4e6, cautions=(mark,))
        ]
        return plant

    with running_board(marked) as board:
        opened = open_page(press_of(board, "2/05"))
        expect(opened.page.locator(".title")).to_contain_text(mark)
        opened.page.locator("button[data-open=ring-3]").click()
        expect(opened.page.locator(".row.opened")).to_contain_text(mark)
        assert opened.page.locator("#board img").count() == 0
        assert opened.wrong == []


def test_focus_is_visible_and_follows_reading(boards, open_page):
    """WCAG 2.2, 2.4.7 and 2.4.3; the ring is 4 px by our own rule."""
    page = open_page(press_of(boards("plant_of_21"), "2/05"), SIZES[0]).page
    places = []
    for _ in range(12):
        page.keyboard.press("Tab")
        found = page.evaluate(
            """() => { const it = document.activeElement, style = getComputedStyle(it);
            const box = it.getBoundingClientRect();
            return [it.matches(':focus-visible'), style.outlineStyle, style.outlineWidth,
                    Math.round(box.top + window.scrollY)]; }"""
        )
        assert found[:3] == [True, "solid", "4px"]
        places.append(found[3])
    assert places == sorted(places)


def test_each_part_stands_on_its_own_row(boards, open_page):
    """The drawing is cut into slices as high as their rows, also with one opened."""
    page = open_page(press_of(boards("plant_of_21"), "2/05"), SIZES[0]).page
    page.locator("button[data-open=redraw-die]").click()
    expect(page.locator(".row.opened")).to_have_count(1)
    apart = page.evaluate(
        """() => [...document.querySelectorAll('.stack .row')].map(row => {
        const slice = row.querySelector('.draw svg').getBoundingClientRect();
        const box = row.getBoundingClientRect();
        return Math.max(Math.abs(slice.top - box.top), Math.abs(slice.bottom - box.bottom)); })"""
    )
    assert len(apart) == 10
    assert max(apart) <= 1.5

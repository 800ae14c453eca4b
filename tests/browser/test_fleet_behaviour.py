"""What the page does: refresh without a jump, say when it is old, open a press, turn the wall."""

from __future__ import annotations

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from tests.browser import fake_api
from tests.browser.faults import MEASURE
from tests.browser.stand import SIZES, running_board

pytestmark = pytest.mark.browser

ROW_NODES = ".fleet .row, .fleet .row svg, .fleet .row path"


def forward(board, **by):
    board.clock.at += timedelta(**by)


def test_a_refresh_keeps_nodes_focus_and_scroll(quick_board, open_page):
    page = open_page(quick_board.url).page
    page.evaluate(f"document.querySelectorAll('{ROW_NODES}').forEach(n => {{ n.before = true }})")
    page.locator("#press-harlow-mere-2-05 .id").focus()
    page.evaluate("window.scrollTo(0, 400)")
    forward(quick_board, minutes=3)
    expect(page.locator(".now")).to_contain_text("06:05")
    fresh = f"[...document.querySelectorAll('{ROW_NODES}')].filter(n => !n.before).length"
    assert page.evaluate(fresh) == 0
    assert page.evaluate("document.activeElement.textContent") == "2\u202f05"
    assert page.evaluate("window.scrollY") == 400


def test_a_press_that_gets_worse_changes_in_its_place(quick_board, open_page):
    page = open_page(quick_board.url).page
    row = page.locator("#press-harlow-mere-1-02")
    expect(row.locator(".state")).to_have_text("fine")

    def worse(now):
        plant = fake_api.plant_of_21(now)
        plant.tools.append(fake_api.Tool("harlow-mere/1/02", "ring-1", (-3, -1, 2), 40e6))
        return plant

    quick_board.api.plant = worse
    forward(quick_board, minutes=1)
    expect(row.locator(".state")).to_have_text("overdue")
    expect(row.locator(".lbl")).to_have_text("ring-1")


def test_when_the_api_goes_away_the_figures_stay_under_a_bar(quick_board, open_page):
    opened = open_page(quick_board.url, SIZES[2])
    page = opened.page
    quick_board.api.broken = {"/presses"}
    forward(quick_board, minutes=8)
    bar = page.locator(".stale")
    expect(bar).to_contain_text("No data since 06:02.")
    expect(bar).to_contain_text("8\u00a0minutes old")
    assert page.locator(".fleet .row").count() == 21
    assert page.evaluate(MEASURE) == []
    quick_board.api.broken = set()
    forward(quick_board, minutes=1)
    expect(bar).to_have_count(0)
    assert opened.wrong == []


def test_when_the_board_goes_away_the_screen_says_so_itself(quick_board, open_page):
    page = open_page(quick_board.url).page
    quick_board.serving.die()
    bar = page.locator(".stale")
    expect(bar).to_contain_text("No data since Mon\u00a023\u00a0Nov\u00a006:02.", timeout=15_000)
    assert page.locator(".fleet .row").count() == 21


def test_before_any_answer_the_page_says_what_is_wrong_and_tries_again(open_page):
    with running_board(fake_api.plant_of_21) as board:
        board.api.broken = {"/presses"}
        opened = open_page(board.url)
        page = opened.page
        expect(page.locator(".away")).to_contain_text("This page could not be drawn.")
        assert page.locator(".state").count() == 0
        board.api.broken = set()
        forward(board, seconds=10)
        page.get_by_role("button", name="Try again").click()
        expect(page.locator(".fleet .row")).to_have_count(21)
        assert opened.wrong == []


def test_ranges_that_fail_are_said_in_place(open_page):
    with running_board(fake_api.plant_of_21) as board:
        board.api.broken = {"/forecasts", "/stops"}
        page = open_page(board.url, SIZES[2]).page
        expect(page.locator(".do + .says, .says").first).to_contain_text(
            "Ranges could not be drawn."
        )
        expect(page.get_by_text("The planned stops could not be read.")).to_be_visible()
        assert page.locator(".fleet .row").count() == 21
        assert page.evaluate(MEASURE) == []


def test_a_press_opens_to_all_its_tools_and_closes_again(boards, open_page):
    opened = open_page(boards("plant_of_21").url, SIZES[2])
    page = opened.page
    button = page.locator("#press-harlow-mere-1-03 button")
    expect(button).to_have_attribute("aria-expanded", "false")
    button.press("Enter")
    expect(page.locator(".fleet .row.tool")).to_have_count(8)
    expect(button).to_have_attribute("aria-expanded", "true")
    expect(button).to_be_focused()
    page.evaluate("window.scrollTo(0, 0)")
    assert page.evaluate(MEASURE) == []
    button.press("Enter")
    expect(page.locator(".fleet .row.tool")).to_have_count(0)
    assert opened.wrong == []


def test_the_whole_list_opens_at_a_word(boards, open_page):
    page = open_page(boards("plant_of_21").url).page
    assert page.locator(".do > .row").count() == 7
    page.get_by_role("button", name="all 9 that need someone").click()
    expect(page.locator(".do > .row")).to_have_count(9)


def test_focus_is_visible_and_follows_reading(boards, open_page):
    """WCAG 2.2, 2.4.7 and 2.4.3; the ring is 4 px by our own rule."""
    page = open_page(boards("plant_of_21").url, SIZES[0]).page
    places = []
    for _ in range(12):
        page.keyboard.press("Tab")
        found = page.evaluate(
            """() => { const it = document.activeElement, style = getComputedStyle(it);
            // A row is read by columns: what leads on in it counts with the row.
            const box = (it.closest('.do > .row') || it).getBoundingClientRect();
            return [it.matches(':focus-visible'), style.outlineStyle, style.outlineWidth,
                    Math.round(box.top + window.scrollY)]; }"""
        )
        assert found[:3] == [True, "solid", "4px"]
        places.append(found[3])
    assert places == sorted(places)


def test_the_wall_turns_and_keeps_those_that_call_someone(boards, browser):
    context = browser.new_context(viewport={"width": 1920, "height": 1080})
    page = context.new_page()
    page.clock.install()
    page.goto(boards("plant_of_60").url + "/?view=wall")
    page.clock.run_for(3_000)
    expect(page.locator(".col")).to_have_count(3)
    called = page.locator(".tight .press .id").all_inner_texts()
    assert len(called) == 31
    expect(page.locator(".strip")).to_contain_text("Page 1 of 6.")
    page.clock.run_for(21_000)
    expect(page.locator(".strip")).to_contain_text("Page 2 of 6.")
    assert page.locator(".tight .press .id").all_inner_texts() == called
    assert page.evaluate(MEASURE) == []
    context.close()


def test_a_narrow_wall_has_two_columns_in_larger_letters(boards, open_page):
    """At 1024 x 768 a wall scaled down whole could not be read: one column less, not smaller."""
    opened = open_page(boards("plant_of_21").url + "/wall", SIZES[2])
    page = opened.page
    expect(page.locator(".col")).to_have_count(2)
    assert page.locator(".close .press").count() == 8
    size = "node => node.getBoundingClientRect().height"
    heights = [
        page.locator(f".press {part}").first.evaluate(size)
        for part in (".id", ".state span", ".lbl")
    ]
    assert min(heights) >= 20
    assert opened.wrong == []


def test_a_small_risk_is_seen_as_well(boards, open_page):
    """Five per cent before the next stop: the fill is a pixel high, the bar under it is not."""
    page = open_page(boards("plant_of_21").url + "/wall", SIZES[0]).page
    row = page.locator(".press", has_text="press5")
    assert row.locator("path.risk").evaluate("n => getComputedStyle(n).strokeWidth") == "6px"
    box = row.locator("path.risk").bounding_box()
    assert box["width"] > 20
    assert page.locator(".quietrow path.risk").count() == 0


def test_words_from_the_api_are_text_never_markup(open_page):
    def marked(now):
        plant = fake_api.plant_of_3(now)
        plant.tools = [
            fake_api.Tool(
                "harlow-mere/1/01", "ring-3", (-3, -1, 2), 4e6, cautions=("<img src=x> & <b>b</b>",)
            )
        ]
        return plant

    with running_board(marked) as board:
        opened = open_page(board.url)
        expect(opened.page.locator(".why")).to_contain_text("<img src=x> & <b>b</b>.")
        assert opened.page.locator("#board img").count() == 0
        assert opened.wrong == []


BROKEN = {
    "overlap": ".fleet .lbl { margin-left: -70px }",
    "text-overflow": ".fleet .lbl { text-overflow: ellipsis }",
    "clipped": ".fleet .lbl { width: 20px; overflow: hidden; white-space: nowrap }",
    "horizontal scroll": ".foot { width: 3000px; background: red }",
    "off the side": ".foot { margin-left: -60px }",
}


@pytest.mark.parametrize("fault", BROKEN)
def test_the_measure_sees_a_badly_set_page(boards, open_page, fault):
    """A measure that finds nothing proves nothing: each fault, put in on purpose, is named."""
    page = open_page(boards("plant_of_21").url).page
    page.add_style_tag(content=BROKEN[fault])
    assert any(found.startswith(fault) for found in page.evaluate(MEASURE))


def test_the_measure_sees_an_empty_section(boards, open_page):
    page = open_page(boards("plant_of_21").url).page
    page.evaluate("document.querySelectorAll('.load li').forEach(row => row.remove())")
    assert any(found.startswith("empty section") for found in page.evaluate(MEASURE))

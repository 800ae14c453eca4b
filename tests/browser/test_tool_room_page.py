"""The tool room in a real browser, in every size and scheme."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser import fake_api
from tests.browser.faults import MEASURE, faults_of
from tests.browser.stand import SCHEMES, SIZES, running_board

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("scheme", SCHEMES)
def test_the_tool_room_in_every_size_and_scheme(boards, open_page, scheme):
    """One load a scheme: the sheet follows the size of its window."""
    opened = open_page(boards("plant_of_21").url + "/tool-room", SIZES[0], scheme)
    page = opened.page
    expect(page.locator(".need .row")).to_have_count(8)
    for wide, high in SIZES:
        page.set_viewport_size({"width": wide, "height": high})
        assert page.evaluate(MEASURE) == [], wide
    assert faults_of(opened) == []


def test_question_5_have_we_the_spares_in_that_size_on_that_day(boards, open_page):
    """One action from the first page: the words Tool room."""
    opened = open_page(boards("plant_of_21").url)
    page = opened.page
    page.click("nav >> text=Tool room")
    expect(page.locator(".top")).to_contain_text("May be short: redraw\u2011die by Mon")
    ring = page.locator(".need .row", has_text="66.150")
    expect(ring).to_contain_text(
        "4 wanted by then at 90 %, 3 there if the 2 promised by then are back."
    )
    expect(ring.locator(".shelf a")).to_have_attribute("href", "/tool/IR26-0412-M")
    expect(ring.locator("path.back")).to_have_count(1)
    ready = page.locator("section.panel", has_text="To be ready, in order")
    overdue = ready.locator("tr", has_text="overdue")
    expect(overdue).to_contain_text("IR26-0412-M, on the shelf")
    expect(ready.locator("td.act", has_text="none in this kind and size").first).to_be_visible()
    page.click("button[data-open=demand]")
    expect(page.locator("table", has_text="By then, 90 %")).to_be_visible()
    with page.expect_download() as download:
        page.click("button[data-csv=demand] >> nth=0")
    text = Path(download.value.path()).read_text(encoding="utf-8-sig")
    assert text.splitlines()[0].startswith("kind,size_mm,week_to,expected,level_50,level_90")
    assert len(text.splitlines()) == 1 + 8 * 6
    assert opened.wrong == []


def test_who_only_looks_finds_no_entry_and_a_list_that_fails_is_said_in_place(open_page):
    with running_board(fake_api.plant_of_21) as board:
        board.api.broken.add("/demand")
        page = open_page(board.url + "/tool-room").page
        expect(page.locator(".p-error")).to_have_count(2)
        expect(page.locator("section.panel", has_text="On the bench")).to_contain_text(
            "IR26-0455-3"
        )
        expect(page.locator("a[href^='/entry?do']")).to_have_count(0)


def test_nothing_registered_is_said_in_every_panel(boards, open_page):
    opened = open_page(boards("plant_of_none").url + "/tool-room")
    expect(opened.page.locator(".p-empty")).to_have_count(5)
    assert faults_of(opened) == []

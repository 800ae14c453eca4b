"""Trace in a real browser: question 6 of a first week, in every size and scheme."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser.faults import faults_of
from tests.browser.stand import SCHEMES, SIZES

pytestmark = pytest.mark.browser

CAN = "/trace?site=harlow-mere&line=2&press=05&at=2026-11-14T02:15"


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", SIZES, ids=lambda size: str(size[0]))
def test_a_can_is_traced_in_every_size_and_scheme(boards, open_page, size, scheme):
    opened = open_page(boards("plant_of_21").url + CAN, size, scheme)
    expect(opened.page.locator(".tracerows .row")).to_have_count(7)
    assert faults_of(opened) == []


def test_question_6_a_can_stamped_2_05_from_the_night_of_the_14th_which_tools(boards, open_page):
    """Two actions from the first page: the word Trace, then the form."""
    opened = open_page(boards("plant_of_21").url)
    page = opened.page
    page.click("nav >> text=Trace")
    page.select_option("#t-line", "2")
    page.select_option("#t-press", "05")
    page.fill("#t-at", "2026-11-14T02:15")
    page.press("#t-at", "Enter")
    head = page.locator(".p-shown .says").first
    expect(head).to_contain_text("2\u202f05, Sat\u00a014\u00a0Nov\u00a002:15: 7 tools.")
    ring = page.locator(".tracerows .row", has_text="ring-3")
    expect(ring.locator("a")).to_have_attribute("href", "/tool/IR26-0412-M")
    expect(ring).to_contain_text("12.1\u00a0M")
    expect(ring).to_contain_text("bore 0.4 ±0.8\u00a0um, good")
    expect(page.locator(".gaps")).to_contain_text("stripper: no tool on record then.")
    expect(page.locator(".window li")).to_have_count(7)
    expect(page.locator("text=At most 18,0")).to_be_visible()
    late = page.locator(".tracerows .row", has_text="punch")
    expect(late).to_contain_text("entered 31\u00a0hours later")
    assert opened.wrong == []


def test_a_time_or_a_press_that_is_none_is_said_in_place(boards, open_page):
    board = boards("plant_of_21").url
    page = open_page(board + CAN.replace("press=05", "press=77")).page
    expect(page.locator("text=No press 2\u202f77 is registered")).to_be_visible()
    page = open_page(board + CAN.replace("2026-11-14T02:15", "yesterday")).page
    expect(page.locator("text=The time can’t be read.")).to_be_visible()
    expect(page.locator("#t-press")).to_have_value("05")

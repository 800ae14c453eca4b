"""Lives in a real browser: how long tools last, what moves that, and how we know."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser.faults import MEASURE, faults_of
from tests.browser.stand import SCHEMES, SIZES

pytestmark = pytest.mark.browser

PLACE = "/life?kind=ironing-ring&position=ring-3"


def panel(page, title):
    return page.locator("section.panel").filter(has=page.locator("h2", has_text=title))


def worked_out(page):
    """What takes some seconds has come."""
    expect(page.locator(".p-loading")).to_have_count(0, timeout=20_000)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_place_is_shown_whole_in_every_size_and_scheme(boards, open_page, scheme):
    """One load a scheme: the sheet follows the size of its window."""
    opened = open_page(boards("plant_of_21").url + PLACE, SIZES[0], scheme)
    page = opened.page
    worked_out(page)
    expect(page.locator(".blabel")).to_have_count(3)
    for wide, high in SIZES:
        page.set_viewport_size({"width": wide, "height": high})
        assert page.evaluate(MEASURE) == [], wide
    assert faults_of(opened) == []


def test_questions_2_8_9_and_12_find_their_answers_on_one_page(boards, open_page):
    """Two actions from the first page: the word Lives, then the place."""
    opened = open_page(boards("plant_of_21").url)
    page = opened.page
    page.click("nav >> text=Lives")
    page.click(".pick >> text=ring-3")
    expect(page.locator(".title h1")).to_contain_text("ring-3")
    expect(page.locator(".title .why")).to_contain_text("54 lives")
    worked_out(page)

    # 2. How do you know? Last system said "90 %" for months.
    held = panel(page, "Past forecasts, as they were made").locator("tbody tr").first
    expect(held).to_contain_text("80 % of strokes")
    expect(held.locator("td").nth(1)).to_contain_text("–")
    expect(page.locator(".sentences")).to_contain_text("Forecasts use this one.")

    # 8. Is this supplier batch worse, or are we unlucky?
    batch = panel(page, "Is a batch worse").locator("tbody tr").first
    expect(batch).to_contain_text("RB-2403")
    expect(batch).to_contain_text("yes, shorter")

    # 9. What does running line 3 at 432 cost in tools?
    cost = panel(page, "What running faster costs")
    expect(cost).to_contain_text("times the strokes to the end")
    expect(cost.locator("tbody tr")).to_have_count(3)

    # 12. Which tools do we pull too early, which too late?
    left = panel(page, "Pulled too early").locator("table").first
    expect(left.locator("tbody tr")).to_have_count(4)
    expect(left.locator("tbody tr").nth(2)).to_contain_text("14")
    most = panel(page, "Pulled too early").locator("table").nth(1)
    expect(most.locator("a").first).to_have_attribute("href", "/tool/IR25-3001")
    assert opened.wrong == []


def test_question_7_why_did_ring_3_break_at_12_m_its_life_is_marked_among_the_others(
    boards, open_page
):
    opened = open_page(boards("plant_of_21").url + PLACE + "&serial=IR25-1004")
    page = opened.page
    worked_out(page)
    expect(page.locator("path.v-marked")).to_have_count(1)
    shared = panel(page, "Surprises, and what they had in common")
    expect(shared).to_contain_text("early ends: reason broken")
    expect(shared.locator("a", has_text="IR25-1004")).to_have_count(1)
    _group_list_and_take_away(page)
    assert opened.wrong == []


def test_the_form_reckons_both_and_a_refusal_is_said_in_place(boards, open_page):
    opened = open_page(boards("plant_of_21").url + PLACE)
    page = opened.page
    told = panel(page, "What if").locator(".told")
    page.fill("#w-rate", "fast")
    page.press("#w-rate", "Enter")
    expect(told).to_contain_text("Rate, % of now: a number from 20 to 500.")
    page.fill("#w-rate", "108")
    page.select_option("#w-leave", "batch:RB-2403")
    page.press("#w-rate", "Enter")
    expect(told).to_contain_text("Median life", timeout=30_000)
    sides = panel(page, "What if").locator("table").first
    expect(sides.locator("tr", has_text="lives, failures")).to_contain_text("36,")
    page.click("[data-what-clear]")
    expect(panel(page, "What if").locator("table")).to_have_count(0)
    expect(page.locator("#w-rate")).to_have_value("")
    assert opened.wrong == []


def _group_list_and_take_away(page):
    """On the page that is open: lines grouped otherwise, the other paper, all lives as CSV."""
    page.click("button[data-value=batch]")
    expect(page.locator(".lifefig .ys")).to_contain_text("RB-2401")
    page.click("button[data-value=weibull]")
    expect(page.locator(".charttitle", has_text="Weibull paper")).to_have_count(1)
    page.focus(".plot[data-reads=curve]")
    page.keyboard.press("ArrowRight")
    expect(page.locator(".readout").first).to_contain_text("B10")
    page.click("button[data-open=lives]")
    expect(panel(page, "All lives").locator("tbody tr")).to_have_count(54)
    with page.expect_download() as download:
        page.click("button[data-csv=lives]")
    text = Path(download.value.path()).read_text(encoding="utf-8-sig")
    assert text.splitlines()[0].endswith("mean_roughness,source")
    assert len(text.splitlines()) == 55


def test_a_place_without_a_model_and_a_plant_without_anything_say_so(boards, open_page):
    page = open_page(boards("plant_of_21").url + "/life?kind=punch&position=punch").page
    expect(page.locator("text=No life model stands for this place")).to_be_visible()
    opened = open_page(boards("plant_of_none").url + "/life")
    assert faults_of(opened) == []

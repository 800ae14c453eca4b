"""Questions of a first week that the Shift page answers, each in two actions or fewer."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from dashboard.guard import COOKIE
from tests.browser import fake_api
from tests.browser.faults import MEASURE
from tests.browser.stand import SIZES, running_board

pytestmark = pytest.mark.browser

CREW = "crew-token-of-the-tests"


@pytest.fixture
def on_shift(boards, open_page):
    """The Shift page of the plant, for somebody who only looks."""
    opened = open_page(boards("plant_of_21").url)
    yield opened.page
    assert opened.wrong == []


def crew_at(board, open_page, size=SIZES[1]):
    opened = open_page(board.url, size)
    opened.page.context.request.post(board.url + "/sign-in", data={"token": CREW})
    opened.page.reload()
    expect(opened.page.locator(".me")).to_contain_text("crew")
    return opened


def test_question_1_which_presses_can_not_wait_for_their_next_stop(on_shift):
    """No action: worst first, each with its chance at the stop line, its spare and its shelf."""
    rows = on_shift.locator(".do > .row")
    assert [each.inner_text() for each in rows.locator(".id").all()[:3]] == [
        "2\u202f03",
        "3\u202f02",
        "3\u202f06",
    ]
    expect(rows.nth(0).locator(".ch.next")).to_have_text("82\u00a0%")
    expect(rows.nth(0).locator(".spare")).to_contain_text("IR26-0412-M 66.150\u00a0mm")
    expect(rows.nth(2).locator(".spare")).to_contain_text("No spare on the shelf.")
    assert rows.nth(2).locator("path.back").count() == 1


def test_question_2_how_do_you_know(on_shift):
    """One action to the tool's own record, one to the lives behind the range."""
    row = on_shift.locator(".do > .row").nth(2)
    basis = row.locator("a.basis")
    expect(basis).to_have_text("from 84\u00a0lives, 31 failed")
    assert basis.get_attribute("href").startswith("/life?position=ring-3&serial=IR25-")
    serial = row.locator("a.ser").inner_text()
    row.locator("a.ser").click()
    on_shift.wait_for_url(f"**/tool/{serial}")
    expect(on_shift.locator("main")).to_contain_text(serial)


def test_question_4_what_exactly_do_i_change_at_the_next_stop(on_shift):
    """No action for the list and what does not fit; one to the spares in order of the day."""
    line = on_shift.locator("section", has=on_shift.locator("#h-stops")).first
    expect(line).to_contain_text("Thu 26\u00a0Nov: 3 wanted, room for 8")
    expect(line).to_contain_text("3\u202f08 redraw\u2011sleeve")
    expect(line).to_contain_text("No spare for 3\u202f06")
    on_shift.click("nav >> text=Tool room")
    row = on_shift.locator("tr", has_text="Thu\u00a026\u00a0Nov\u00a007:00").first
    expect(row).to_contain_text("none in this kind and size")


def test_question_11_what_if_we_skip_the_clean_on_line_1(on_shift):
    """No action: beside the chance at the next stop stand those at the two after it."""
    row = on_shift.locator(".do > .row", has_text="1\u202f05")
    figures = [each.inner_text() for each in row.locator(".ch").all()]
    assert figures == ["9\u00a0%", "54\u00a0%", "90\u00a0%"]
    expect(row).to_contain_text("54\u00a0% by the one after")


def test_question_7_why_did_it_end_so_soon(on_shift):
    """One action to the tool, one to the lives at its place, its own marked among them."""
    on_shift.locator(".do > .row").nth(0).locator("a.ser").click()
    on_shift.wait_for_url("**/tool/IR25-0590")
    on_shift.click("text=Lives of its kind there")
    on_shift.wait_for_url("**/life?kind=ironing-ring&position=ring-3&serial=IR25-0590")
    expect(on_shift.locator(".panel").first).to_be_visible()


def test_question_10_one_was_changed_on_saturday_and_nobody_keyed_it(on_shift):
    """No action for who keyed it late; one for both times in the records."""
    late = on_shift.locator(".lately-words li", has_text="entered")
    expect(late).to_contain_text("Sat\u00a021\u00a0Nov\u00a009:20, entered 44\u00a0hours late")
    late.locator("a").click()
    on_shift.wait_for_url("**/records#h-late")
    row = on_shift.locator("tr", has_text="IR26-0507-B")
    expect(row).to_contain_text("Sat\u00a021\u00a0Nov\u00a009:20")
    expect(on_shift.locator("#h-late")).to_be_in_viewport()


def test_a_row_opens_the_entry_with_what_is_known(boards, open_page):
    """Question 10 for the crew: two actions to the form, the spare already in it."""
    opened = crew_at(boards("plant_of_21"), open_page)
    page = opened.page
    page.locator(".do > .row").nth(0).get_by_role("link", name="Enter the change").click()
    page.wait_for_url("**/entry?do=exchange&press=harlow-mere/2/03&position=ring-3&serial=*")
    expect(page.locator("main")).to_contain_text("2\u202f03")
    assert opened.wrong == []


def test_a_viewer_who_may_not_write_is_offered_nothing_to_enter(on_shift):
    assert on_shift.locator("a[href^='/entry']").count() == 0
    assert on_shift.locator(".do > .row").count() == 7


def test_an_ended_session_leaves_the_page_and_says_so(open_page):
    with running_board(fake_api.plant_of_21, refresh_s=1.0) as board:
        page = crew_at(board, open_page).page
        page.context.add_cookies([{"name": COOKIE, "value": "ended", "url": board.url}])
        expect(page.locator(".ended")).to_contain_text("Your session has ended.")
        assert page.locator(".do > .row").count() == 7
        assert page.evaluate(MEASURE) == []


def test_lists_that_fail_are_said_in_their_places_and_the_rest_stands(open_page):
    with running_board(fake_api.plant_of_21) as board:
        board.api.broken = {"/shifts", "/stock", "/flags", "/tool-events"}
        page = open_page(board.url, SIZES[2]).page
        expect(page.locator(".lately-flags")).to_contain_text("Could not be read at 06:02")
        expect(page.locator(".lately-changes")).to_contain_text("Could not be read at 06:02")
        expect(page.locator(".do .spare").first).to_contain_text("Spares not known:")
        expect(page.locator("#h-lately + p")).to_contain_text("the shifts could not be read")
        assert page.locator(".now .shift").count() == 0
        assert page.locator(".fleet .row").count() == 21
        assert page.evaluate(MEASURE) == []


def test_a_list_opens_whole_at_a_word(on_shift):
    more = on_shift.get_by_role("button", name="all 4, 4\u00a0open flags")
    more.click()
    expect(on_shift.locator(".lately-flags li")).to_have_count(4)
    expect(on_shift.locator(".lately-flags button")).to_have_attribute("aria-expanded", "true")

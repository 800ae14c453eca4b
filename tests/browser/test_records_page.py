"""Records in a real browser: flags settled, questions answered, payloads tried again."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser import fake_api
from tests.browser.faults import faults_of
from tests.browser.stand import SCHEMES, SIZES, running_board

pytestmark = pytest.mark.browser

ENGINEER = "engineer-token-of-the-tests"


def sign_in(page, url):
    page.goto(f"{url}/sign-in?next=/records")
    page.fill("#token", ENGINEER)
    page.press("#token", "Enter")
    expect(page.locator(".actform").first).to_be_visible()


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", SIZES, ids=lambda size: str(size[0]))
def test_records_are_shown_whole_in_every_size_and_scheme(boards, open_page, size, scheme):
    opened = open_page(boards("plant_of_21").url + "/records", size, scheme)
    expect(opened.page.locator(".panel")).to_have_count(5)
    expect(opened.page.locator(".actform")).to_have_count(0)
    sign_in(opened.page, boards("plant_of_21").url)
    assert faults_of(opened) == []


def test_question_3_is_the_count_right_who_settles_it(open_page):
    """We downloaded 3/02: the flag, at most how many are hidden, and the form that settles it."""
    with running_board(fake_api.plant_of_21, refresh_s=1.0) as board:
        opened = open_page(board.url)
        page = opened.page
        page.click("nav >> text=Records")
        flag = page.locator(".items li", has_text="3\u202f02, restart")
        expect(flag).to_contain_text("Counted 1,930; at most 100,120 more may be hidden.")
        sign_in(page, board.url)
        flag.locator("input[name=strokes]").fill("12")
        flag.locator("input[name=reason]").fill("line log: 12 strokes before the download")
        flag.locator("text=Settle").click()
        expect(flag.locator("[role=status]")).to_have_text("Taken.")
        method, path, secret, body = board.api.written[-1]
        assert (method, path.startswith("/flags/"), secret) == ("POST", True, ENGINEER)
        assert body == {"strokes": 12, "reason": "line log: 12 strokes before the download"}
        assert opened.wrong == []


def test_questions_are_answered_and_payloads_tried_again_in_place(open_page):
    with running_board(fake_api.plant_of_21, refresh_s=1.0) as board:
        opened = open_page(board.url)
        page = opened.page
        sign_in(page, board.url)
        asks = page.locator(".p-shown", has_text="Questions that readings ask").locator("li").first
        expect(asks).to_contain_text("was the ring changed?")
        asks.locator("input").fill("no: read again, 5.1 um")
        asks.locator("text=Answer").click()
        expect(asks.locator("[role=status]")).to_have_text("Taken.")
        assert board.api.written[-1][1].endswith("/close")
        held = page.locator(".items li", has_text="a field is wrong")
        expect(held).to_contain_text("seq: -4 is not an integer")
        board.api.refuses = (409, {"detail": "it was replayed already", "errors": []})
        held.locator("text=Try again").click()
        expect(held.locator("[role=status]")).to_have_text("It was replayed already.")
        assert board.api.written[-1][:2] == ("POST", "/quarantine/1/replay")

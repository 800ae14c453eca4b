"""Signing in by a real browser: the field, the cookie, the wall's token, and how a session ends."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from dashboard.app import create_app
from dashboard.guard import COOKIE
from tests.browser import fake_api
from tests.browser.fake_api import TOKEN, FakeApi
from tests.browser.faults import faults_of
from tests.browser.stand import SCHEMES, SIZES, Clock, Serving, running_board

pytestmark = pytest.mark.browser

LOOKS = ((SIZES[1], SCHEMES[0]), (SIZES[2], SCHEMES[1]))
CREW = "crew-token-of-the-tests"


def sign_in(page, token=CREW):
    page.fill("#token", token)
    page.press("#token", "Enter")


@pytest.fixture
def closed_board():
    """A board at which nobody may look without signing in."""
    clock = Clock()
    with FakeApi(fake_api.plant_of_21, clock) as api:
        app = create_app(api_url=api.url, token=TOKEN, unsigned=None, refresh_s=1.0, now=clock)
        with Serving(app) as serving:
            yield serving


@pytest.mark.parametrize(("size", "scheme"), LOOKS, ids=["1280-light", "1024-dark"])
def test_the_field_is_shown_whole(boards, open_page, size, scheme):
    opened = open_page(boards("plant_of_21").url + "/sign-in", size, scheme)
    assert faults_of(opened) == []


def test_signing_in_leads_back_and_the_token_is_nowhere(boards, open_page):
    board = boards("plant_of_21")
    opened = open_page(board.url + "/press/harlow-mere/2/05")
    page = opened.page
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.click("text=Sign in")
    sign_in(page)
    expect(page.locator(".title h1")).to_contain_text("2\u202f05")
    expect(page.locator(".me")).to_have_text("Alder · crew")
    held = page.evaluate("JSON.stringify([localStorage, sessionStorage, document.cookie])")
    assert CREW not in page.content() + held + " ".join(asked) + page.url
    cookie = next(each for each in page.context.cookies() if each["name"] == COOKIE)
    assert (cookie["httpOnly"], cookie["sameSite"]) == (True, "Strict")
    assert faults_of(opened) == []
    page.click("text=Sign out")
    expect(page.locator("text=Sign in")).to_be_visible()
    assert not page.context.cookies()


def test_a_wrong_token_is_said_in_place_and_the_field_stays(boards, open_page):
    page = open_page(boards("plant_of_21").url + "/sign-in").page
    sign_in(page, "not-a-token")
    expect(page.locator("#token-says")).to_have_text(
        "This token is not known, has expired, or was taken back."
    )
    expect(page.locator("#token")).to_have_value("not-a-token")


@pytest.mark.parametrize("to", ["//plant.example/", "https://plant.example/", "/\\plant.example"])
def test_signing_in_never_leads_off_the_board(boards, open_page, to):
    board = boards("plant_of_21")
    opened = open_page(f"{board.url}/sign-in?next={to}")
    sign_in(opened.page)
    expect(opened.page.locator("#h-do")).to_be_visible()
    assert opened.page.url == board.url + "/"
    assert opened.wrong == []


def test_where_nobody_may_look_the_field_stands_in_for_each_page(closed_board, open_page):
    opened = open_page(closed_board.url + "/press/harlow-mere/2/05")
    page = opened.page
    expect(page.locator("#token")).to_be_visible()
    assert "2\u202f05" not in page.inner_text("#board")
    assert faults_of(opened) == []
    sign_in(page)
    expect(page.locator(".title h1")).to_contain_text("2\u202f05")


def test_a_wall_screen_brings_its_token_behind_the_hash_once(closed_board, open_page):
    """What stands behind the # reaches no server and no log; it is taken out of the address."""
    opened = open_page(f"{closed_board.url}/wall#token={TOKEN}", SIZES[0])
    page = opened.page
    expect(page.locator(".wall .press").first).to_be_visible()
    assert page.url == closed_board.url + "/wall"
    assert opened.wrong == []
    page.reload()
    expect(page.locator(".wall .press").first).to_be_visible()


def test_an_engineers_token_makes_no_wall(closed_board, open_page):
    opened = open_page(f"{closed_board.url}/wall#token=engineer-token-of-the-tests", SIZES[0])
    expect(opened.page.locator("#token-says")).to_have_text("A wall takes a viewer’s token only.")
    assert "token" not in opened.page.url


def test_an_ended_session_says_so_in_place_and_goes_on(open_page):
    with running_board(fake_api.plant_of_21, refresh_s=1.0) as board:
        opened = open_page(board.url + "/sign-in")
        page = opened.page
        sign_in(page)
        expect(page.locator(".me")).to_have_text("Alder · crew")
        page.context.clear_cookies()
        page.context.add_cookies([{"name": COOKIE, "value": "ended", "url": board.url}])
        expect(page.locator(".ended")).to_contain_text("Your session has ended.")
        assert faults_of(opened) == []
        page.fill("#token-again", CREW)
        page.press("#token-again", "Enter")
        expect(page.locator(".me")).to_have_text("Alder · crew")
        expect(page.locator(".ended")).to_have_count(0)
        assert opened.wrong == []


def test_only_looking_takes_the_ended_session_away(open_page):
    with running_board(fake_api.plant_of_21, refresh_s=1.0) as board:
        page = open_page(board.url).page
        page.context.add_cookies([{"name": COOKIE, "value": "ended", "url": board.url}])
        page.click("text=Only look")
        expect(page.locator(".ended")).to_have_count(0)
        assert not page.context.cookies()

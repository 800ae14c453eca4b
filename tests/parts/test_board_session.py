"""Sessions over real sockets: who may look, what a cookie is, what is taken from whom."""

from __future__ import annotations

import json
import logging
from datetime import timedelta

import httpx2
import pytest
from starlette.datastructures import Headers

from dashboard.access import LOOKING, NOBODY, Who
from dashboard.app import create_app
from dashboard.client import Client
from dashboard.guard import COOKIE, Unsigned, is_own
from dashboard.session import CHECK_EVERY, LASTS, WALL_LASTS, Sessions, Tries, is_checked
from tests.browser import fake_api
from tests.browser.fake_api import TOKEN, FakeApi
from tests.browser.stand import Clock, Serving

CREW = "crew-token-of-the-tests"
ENGINEER = "engineer-token-of-the-tests"
ASK = {
    "output": "board-answer.data",
    "outputs": {"id": "board-answer", "property": "data"},
    "inputs": [{"id": "board-ask", "property": "data", "value": {"address": "/"}}],
    "changedPropIds": ["board-ask.data"],
}
"""A screen's question, as the page sends it."""


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def api(clock):
    with FakeApi(fake_api.plant_of_21, clock) as fake:
        yield fake


@pytest.fixture
def open_board(api, clock):
    with Serving(create_app(api_url=api.url, token=TOKEN, now=clock)) as serving:
        yield serving.url


@pytest.fixture
def closed_board(api, clock):
    app = create_app(api_url=api.url, token=TOKEN, unsigned=None, now=clock)
    with Serving(app) as serving:
        yield serving.url


@pytest.fixture
def screen():
    with httpx2.Client() as made:
        yield made


def sign_in(screen, board, token=CREW, **more):
    return screen.post(board + "/sign-in", json={"token": token, **more})


def shown(screen, board, address="/", headers=None):
    """The document that a screen gets."""
    question = json.loads(json.dumps(ASK))
    question["inputs"][0]["value"]["address"] = address
    answer = screen.post(board + "/_dash-update-component", json=question, headers=headers or {})
    assert answer.status_code == 200, answer.text
    return answer.json()["response"]["board-answer"]["data"]["page"]


def me(**more):
    """Who a page says is there; nobody, but for `more`."""
    return {"name": "", "role": "", "signed": False, "ended": False, "check": ""} | more


def write(screen, board, body, check=None, headers=None):
    given = {"X-Duestroke-Check": check} if check is not None else {}
    return screen.post(board + "/write", json=body, headers=given | (headers or {}))


# ---- who may look ----


def test_at_this_machine_the_first_page_opens_without_ado(screen, open_board):
    page = shown(screen, open_board)
    assert page["view"] == "desk"
    assert page["me"] == me(role="viewer")


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "plant.example"},
        {"X-Forwarded-For": "192.0.2.7"},
        {"Forwarded": "for=192.0.2.7"},
        {"Via": "1.1 proxy.plant.example"},
    ],
    ids=["another-name", "x-forwarded-for", "forwarded", "via"],
)
def test_who_comes_from_elsewhere_sees_nothing_of_the_plant(screen, open_board, headers):
    """A foreign name that points at this machine, and a proxy, must not let the world in."""
    page = shown(screen, open_board, headers=headers)
    assert page["view"] == "sign-in"
    assert page["me"]["role"] == ""
    assert "harlow-mere" not in json.dumps(page)
    assert "2\u202f05" not in json.dumps(page)


def test_where_nobody_may_look_each_page_is_the_sign_in(screen, closed_board):
    for address in ("/", "/wall", "/press/harlow-mere/2/05", "/?view=wall"):
        assert shown(screen, closed_board, address)["view"] == "sign-in"
    assert shown(screen, closed_board, "/nowhere")["view"] in ("sign-in", "away")


def test_only_a_loopback_address_counts_as_this_machine():
    def asked(peer, host="localhost:8050", **more):
        headers = [(b"host", host.encode())] + [(k.encode(), v) for k, v in more.items()]
        return {"type": "http", "client": (peer, 1), "headers": headers}

    rule = Unsigned()
    assert rule.may_look(asked("127.0.0.1"))
    assert rule.may_look(asked("::1", "[::1]:8050"))
    for peer in ("192.0.2.7", "172.17.0.1", "", "localhost"):
        assert not rule.may_look(asked(peer))
    assert Unsigned(any_peer=True).may_look(asked("172.17.0.1"))
    assert not Unsigned(any_peer=True).may_look(asked("172.17.0.1", "plant.example"))


# ---- signing in ----


def test_a_token_becomes_a_cookie_that_no_script_reads(screen, closed_board):
    answer = sign_in(screen, closed_board)
    assert answer.json() == {"name": "Alder", "role": "crew"}
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(f"{COOKIE}=")
    for part in ("HttpOnly", "SameSite=strict", "Path=/", f"Max-Age={12 * 3600}"):
        assert part in cookie
    assert "Secure" not in cookie
    assert CREW not in cookie + answer.text
    page = shown(screen, closed_board)
    assert page["view"] == "desk"
    assert (page["me"]["name"], page["me"]["role"]) == ("Alder", "crew")
    assert CREW not in json.dumps(page)


def test_over_https_the_cookie_stays_there(screen, closed_board):
    answer = screen.post(
        closed_board + "/sign-in", json={"token": CREW}, headers={"X-Forwarded-Proto": "https"}
    )
    assert "Secure" in answer.headers["set-cookie"]


def test_the_token_stands_in_no_log(screen, closed_board, caplog):
    with caplog.at_level(logging.DEBUG):
        sign_in(screen, closed_board)
        sign_in(screen, closed_board, "wrong-secret")
        shown(screen, closed_board)
    assert "Alder signed in" in caplog.text
    ours = [r for r in caplog.records if not r.name.startswith("httpcore")]
    told = "\n".join(record.getMessage() for record in ours)
    for secret in (CREW, "wrong-secret", screen.cookies[COOKIE]):
        assert secret not in told
    assert CREW not in caplog.text


def test_a_wrong_token_is_refused_and_too_many_wait(screen, closed_board, clock):
    for _ in range(8):
        assert sign_in(screen, closed_board, "wrong").status_code == 401
    assert sign_in(screen, closed_board).status_code == 429
    clock.at += timedelta(minutes=5)
    assert sign_in(screen, closed_board).status_code == 200


def test_tries_are_counted_by_address(clock):
    tries = Tries(clock, most=2)
    for _ in range(2):
        tries.was_bad("192.0.2.7")
    assert not tries.may_try("192.0.2.7")
    assert tries.may_try("192.0.2.8")


def test_without_the_api_nobody_signs_in_and_it_counts_for_nothing(screen, closed_board, api):
    api.die()
    for _ in range(10):
        assert sign_in(screen, closed_board).status_code == 503


@pytest.mark.parametrize("sent", [b"", b"{", b"[]", b'{"token": 7}', b'{"other": "x"}'])
def test_what_is_no_token_is_said(screen, closed_board, sent):
    headers = {"Content-Type": "application/json"}
    answer = screen.post(closed_board + "/sign-in", content=sent, headers=headers)
    assert answer.status_code == 400


def test_a_wall_takes_a_viewers_token_only(screen, closed_board):
    assert sign_in(screen, closed_board, ENGINEER, wall=True).status_code == 401
    answer = sign_in(screen, closed_board, TOKEN, wall=True)
    assert answer.status_code == 200
    assert f"Max-Age={round(WALL_LASTS.total_seconds())}" in answer.headers["set-cookie"]
    assert shown(screen, closed_board, "/wall")["view"] == "wall"


# ---- how a session ends ----


def test_signing_out_ends_the_session_on_the_server(screen, closed_board):
    sign_in(screen, closed_board)
    kept = screen.cookies[COOKIE]
    assert screen.post(closed_board + "/sign-out", json={}).status_code == 200
    screen.cookies.clear()
    screen.cookies.set(COOKIE, kept)
    page = shown(screen, closed_board)
    assert (page["view"], page["me"]["ended"]) == ("sign-in", True)


def test_signing_in_again_ends_the_session_before(screen, closed_board):
    """A session's id never outlives a change of who it stands for."""
    sign_in(screen, closed_board)
    first = screen.cookies[COOKIE]
    sign_in(screen, closed_board, ENGINEER)
    assert screen.cookies[COOKIE] != first
    screen.cookies.clear()
    screen.cookies.set(COOKIE, first)
    assert shown(screen, closed_board)["me"]["ended"]


def test_a_session_ends_after_a_shift(screen, closed_board, clock):
    sign_in(screen, closed_board)
    clock.at += LASTS - timedelta(seconds=1)
    assert shown(screen, closed_board)["me"]["signed"]
    clock.at += timedelta(seconds=1)
    assert shown(screen, closed_board)["me"] == me(ended=True)


def test_a_token_taken_back_ends_its_session(screen, closed_board, api, clock):
    sign_in(screen, closed_board)
    del api.tokens[CREW]
    clock.at += CHECK_EVERY
    assert shown(screen, closed_board)["me"]["ended"]


def test_a_role_that_changed_is_the_new_one(screen, closed_board, api, clock):
    sign_in(screen, closed_board)
    api.tokens[CREW] = ("Alder", "viewer")
    clock.at += CHECK_EVERY
    assert shown(screen, closed_board)["me"]["role"] == "viewer"


def test_while_the_api_is_away_a_session_stays(api, clock):
    client = Client(api.url, TOKEN, timeout_s=1)
    sessions = Sessions(client, clock)
    name, _ = sessions.begin(CREW)
    api.die()
    clock.at += CHECK_EVERY
    assert sessions.who(name, NOBODY).role == "crew"
    client.close()


def test_an_ended_session_at_this_machine_still_looks(api, clock):
    client = Client(api.url, TOKEN)
    who = Sessions(client, clock).who("never-was", LOOKING)
    assert (who.role, who.name, who.ended) == ("viewer", "", True)
    client.close()


# ---- posts ----


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
        {"Origin": "http://plant.example"},
        {"Origin": "null"},
    ],
    ids=["cross-site", "same-site", "none", "other-origin", "null-origin"],
)
@pytest.mark.parametrize("path", ["/sign-in", "/sign-out", "/write", "/_dash-update-component"])
def test_a_post_from_another_site_is_refused(screen, open_board, path, headers):
    answer = screen.post(open_board + path, json={"token": CREW}, headers=headers)
    assert answer.status_code == 403


def test_a_post_of_our_own_page_is_known():
    assert is_own(Headers({"sec-fetch-site": "same-origin", "origin": "http://x", "host": "y"}))
    assert is_own(Headers({"origin": "https://board.plant:8443", "host": "board.plant:8443"}))
    assert not is_own(Headers({"origin": "https://board.plant:8444", "host": "board.plant:8443"}))


def test_a_form_of_a_page_is_no_post(screen, open_board):
    """What an HTML form can send, a foreign page can send without asking."""
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        answer = screen.post(
            open_board + "/sign-out", content=b"{}", headers={"Content-Type": kind}
        )
        assert answer.status_code == 415


def test_a_post_of_any_length_is_not_read(screen, open_board):
    headers = {"Content-Type": "application/json"}
    long = screen.post(open_board + "/write", content=b" " * 1_000_001, headers=headers)
    assert long.status_code == 413
    chunks = screen.post(open_board + "/write", content=iter([b"{}"]), headers=headers)
    assert chunks.status_code == 411


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS"])
def test_other_methods_are_unknown(screen, open_board, method):
    assert screen.request(method, open_board + "/write").status_code == 404


# ---- writing ----


def test_who_has_not_signed_in_writes_nothing(screen, open_board, api):
    answer = write(screen, open_board, {"call": "tool-events", "body": {}})
    assert answer.status_code == 401
    assert not api.written


def test_a_viewer_writes_nothing(screen, open_board, api):
    sign_in(screen, open_board, TOKEN)
    check = shown(screen, open_board)["me"]["check"]
    answer = write(screen, open_board, {"call": "tool-events", "body": {}}, check)
    assert answer.status_code == 403
    assert "needs the role crew" in answer.json()["detail"]
    assert not api.written


def test_crew_may_not_do_what_an_engineer_does(screen, open_board, api):
    sign_in(screen, open_board)
    check = shown(screen, open_board)["me"]["check"]
    body = {"call": "settle-flag", "params": {"id": "7"}, "body": {"strokes": 1, "reason": "x"}}
    assert write(screen, open_board, body, check).status_code == 403
    assert not api.written


@pytest.mark.parametrize("check", [None, "", "another-word"])
def test_a_write_needs_the_word_of_its_session(screen, open_board, api, check):
    sign_in(screen, open_board)
    answer = write(screen, open_board, {"call": "tool-events", "body": {}}, check)
    assert answer.status_code == 403
    assert not api.written


def test_a_write_goes_with_the_persons_own_token(screen, open_board, api):
    sign_in(screen, open_board)
    check = shown(screen, open_board)["me"]["check"]
    answer = write(screen, open_board, {"call": "tool-events", "body": {"type": "pull"}}, check)
    assert answer.status_code == 200
    assert answer.json()["status"] == 201
    assert api.written == [("POST", "/tool-events", CREW, {"type": "pull"})]


def test_a_refusal_of_the_api_comes_back_in_plant_words(screen, open_board, api):
    """Presses as they are stamped, times as plant time, no ids of ours."""
    against = (
        "R1 sits at ring-3 of harlow-mere/1/02 since 2026-11-23T05:40:00Z "
        "(event 0b9f3a52-4c0e-4f0f-9a35-0f6a3d1c7e11)"
    )
    api.refuses = (409, {"detail": against, "errors": [{"field": "serial", "reason": against}]})
    sign_in(screen, open_board)
    check = shown(screen, open_board)["me"]["check"]
    told = write(screen, open_board, {"call": "tool-events", "body": {}}, check).json()
    assert told["status"] == 409
    assert told["detail"] == "R1 sits at ring-3 of 1\u202f02 since 05:40."
    assert told["errors"] == [{"field": "serial", "reason": told["detail"]}]


@pytest.mark.parametrize(
    "body",
    [
        {"call": "tokens", "body": {}},
        {"call": "settle-flag", "body": {}},
        {"call": "tool-events", "params": {"id": "7"}, "body": {}},
    ],
    ids=["unlisted", "part-missing", "part-too-many"],
)
def test_only_listed_calls_are_made(screen, open_board, api, body):
    sign_in(screen, open_board, ENGINEER)
    check = shown(screen, open_board)["me"]["check"]
    assert write(screen, open_board, body, check).status_code == 404
    assert not api.written


def test_a_part_of_a_path_can_not_lead_elsewhere(screen, open_board, api):
    sign_in(screen, open_board, ENGINEER)
    check = shown(screen, open_board)["me"]["check"]
    for part in ("../../tokens", "a/b", "", "%2e%2e", "x?y=1"):
        body = {"call": "settle-flag", "params": {"id": part}, "body": {}}
        assert write(screen, open_board, body, check).status_code == 400
    assert not api.written


def test_without_the_api_a_write_is_not_entered_and_says_so(screen, open_board, api):
    sign_in(screen, open_board)
    check = shown(screen, open_board)["me"]["check"]
    api.die()
    answer = write(screen, open_board, {"call": "tool-events", "body": {}}, check)
    assert answer.status_code == 503
    assert answer.json()["detail"].startswith("Not entered: the API gave no answer")


def test_after_a_write_the_page_is_read_anew(screen, open_board, api):
    sign_in(screen, open_board)
    check = shown(screen, open_board)["me"]["check"]
    count = api.asked.count("/presses")
    shown(screen, open_board)
    assert api.asked.count("/presses") == count
    write(screen, open_board, {"call": "tool-events", "body": {}}, check)
    shown(screen, open_board)
    assert api.asked.count("/presses") == count + 1


def test_the_word_of_a_session_is_compared_whole():
    who = Who("crew", "Alder", "the-word", "id")
    assert is_checked(who, "the-word")
    assert not is_checked(who, "the-wor")
    assert not is_checked(Who("viewer"), "")


@pytest.mark.parametrize(("role", "may"), [("viewer", "viewer"), ("admin", "engineer")])
def test_a_role_may_what_those_before_it_may(role, may):
    assert Who(role).may(may)
    assert not NOBODY.may("viewer")
    assert not Who("viewer").may("crew")

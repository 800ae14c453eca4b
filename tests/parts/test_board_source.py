"""The board over real sockets: whole lists, refusals, silence, one question for all screens."""

from __future__ import annotations

import threading
from datetime import timedelta

import httpx2
import pytest

from dashboard.app import answer, create_app, page
from dashboard.client import ApiFault, Client
from dashboard.guard import host_name
from dashboard.pages import Sources
from dashboard.source import Records, Source
from tests.browser import fake_api
from tests.browser.fake_api import NOW, TOKEN, FakeApi
from tests.browser.stand import Clock, running_board

PRESS = "harlow-mere/2/05"


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def api(clock):
    with FakeApi(fake_api.plant_of_21, clock) as fake:
        yield fake


@pytest.fixture
def client(api):
    made = Client(api.url, TOKEN, timeout_s=3)
    yield made
    made.close()


@pytest.fixture
def source(client, clock):
    return Source(client, clock)


@pytest.fixture
def records(client, clock):
    return Records(client, clock)


@pytest.fixture
def asked_of(client, clock):
    return Sources.over(client, clock)


def test_lists_are_read_to_their_last_page(api, client):
    api.most_per_page = 3
    assert len(client.presses()) == 21
    assert api.asked.count("/presses") == 7


def test_levels_are_asked_in_shortest_form(client):
    assert list(client.forecasts((0.05, 0.1, 0.5))[0].due) == ["0.05", "0.1", "0.5"]


def test_a_wrong_token_is_said_without_the_token(api):
    client = Client(api.url, "wrong-secret")
    with pytest.raises(ApiFault, match="refused the board's token") as caught:
        client.presses()
    assert "wrong-secret" not in str(caught.value)
    client.close()


def test_an_api_that_is_away_is_a_fault(api, client):
    api.die()
    with pytest.raises(ApiFault, match="gave no answer"):
        client.presses()


def test_an_answer_of_another_shape_is_a_fault(clock):
    def broken(now):
        plant = fake_api.plant_of_3(now)
        plant.presses[0]["last_report"] = "yesterday"
        return plant

    with FakeApi(broken, clock) as api:
        client = Client(api.url, TOKEN)
        with pytest.raises(ApiFault, match="could not be read"):
            client.presses()
        client.close()


def test_an_unknown_state_is_a_fault_not_a_blank(clock):
    def odd(now):
        plant = fake_api.plant_of_3(now)
        plant.tools = [fake_api.Tool("harlow-mere/1/01", "punch", (1, 2, 3), 1e6, state="maybe")]
        return plant

    with FakeApi(odd, clock) as api:
        client = Client(api.url, TOKEN)
        with pytest.raises(ApiFault, match="could not be read"):
            client.forecasts()
        client.close()


def test_many_screens_ask_once(api, source):
    threads = [threading.Thread(target=source.read) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert api.asked.count("/presses") == 1


def test_it_asks_anew_after_a_while(api, source, clock):
    source.read()
    clock.at += timedelta(seconds=4)
    source.read()
    assert api.asked.count("/presses") == 2


def test_old_answers_stay_while_the_api_is_away(api, source, clock):
    first = source.read().answers
    api.die()
    clock.at += timedelta(minutes=3)
    seen = source.read()
    assert seen.answers is first
    assert seen.fault == "the API gave no answer"


def test_a_part_that_fails_leaves_the_others(api, source):
    api.broken = {"/forecasts"}
    answers = source.read().answers
    assert answers.forecasts is None
    assert len(answers.presses) == 21
    assert answers.stops
    assert answers.faults == ("the API answered 500 on /forecasts",)


def test_before_the_first_answer_the_page_says_so_and_shows_no_figure(api, asked_of):
    api.die()
    for address in ("/", "/wall", f"/press/{PRESS}"):
        made = page(asked_of, NOW, {"address": address})
        assert made["away"]["rest"].startswith("Asked at 06:02 UTC: the API gave no answer.")
        assert not {"fleet", "do", "pages", "stack", "rough", "count"} & set(made)


def test_an_unchanged_page_is_not_sent_again(asked_of, clock):
    source = asked_of
    first = answer(source, NOW, {"address": "/"})
    asked = {"address": "/", "digest": first["digest"]}
    assert set(answer(source, NOW, asked)) == {"digest", "at", "lost", "every_s", "clock"}
    assert "page" in answer(source, NOW, {**asked, "address": "/wall"})
    assert "page" in answer(source, NOW, {**asked, "open": ["harlow-mere/1/01"]})
    clock.at += timedelta(minutes=1)
    assert "page" in answer(source, clock.at, asked)


def test_what_a_screen_asks_is_not_trusted(asked_of):
    for asked in (
        {"open": "do"},
        {"open": [{"a": 1}]},
        {"open": ["x"] * 1000},
        {"params": [7]},
        {"params": {"view": 7}},
    ):
        assert answer(asked_of, NOW, asked)["page"]["view"] == "desk"
    for address in (7, "//[", 9 * "/", "?", "/tool", "/press/A/1/2?site=%ff"):
        assert answer(asked_of, NOW, {"address": address})["page"]["view"] == "away"
    for name in ("", None, "../../etc", "a/b", "harlow-mere/2/05/../../9", "<b>/1/2", "A/1/2"):
        made = answer(asked_of, NOW, {"address": f"/press/{name}"})["page"]
        assert made["away"]["rest"]
        assert "stack" not in made


# ---- the record of a press ----


def test_a_press_is_asked_for_in_eight_questions(api, records):
    records.read(PRESS)
    assert sorted(api.asked) == sorted(
        [
            "/positions",
            "/tool-events",
            "/inspections",
            "/flags",
            "/questions",
            "/dry-windows",
            *[f"/presses/{PRESS}/series"] * 2,
        ]
    )


def test_a_press_that_is_not_registered_is_not_asked_for(api, asked_of):
    made = page(asked_of, NOW, {"address": "/press/harlow-mere/9/99"})
    assert made["away"]["lead"] == "No press harlow-mere/9/99 is registered."
    assert "/flags" not in api.asked


def test_series_are_asked_for_more_seldom_than_the_ledger(api, records, clock):
    for _ in range(4):
        records.read(PRESS)
        clock.at += timedelta(seconds=20)
    assert api.asked.count("/tool-events") == 4
    assert api.asked.count(f"/presses/{PRESS}/series") == 2
    clock.at += timedelta(minutes=2)
    records.read(PRESS)
    assert api.asked.count(f"/presses/{PRESS}/series") == 4


def test_many_screens_ask_for_a_press_once(api, records):
    for _ in range(5):
        records.read(PRESS)
    assert api.asked.count("/flags") == 1


def test_a_part_of_a_press_that_fails_is_none_then_old(api, records, clock):
    api.broken = {"/inspections"}
    first = records.read(PRESS)
    assert first.inspections is None
    assert first.events
    assert (first.faults, first.aged) == (("the API answered 500 on /inspections",), ())
    api.broken = set()
    clock.at += timedelta(minutes=1)
    good = records.read(PRESS)
    assert good.inspections
    assert good.faults == ()
    api.broken = {"/inspections"}
    clock.at += timedelta(minutes=1)
    third = records.read(PRESS)
    assert third.inspections == good.inspections
    assert third.aged == ("the API answered 500 on /inspections",)


def test_a_press_is_not_asked_for_while_the_api_is_away(api, asked_of, clock):
    asked = {"address": f"/press/{PRESS}"}
    before = page(asked_of, clock.at, asked)
    api.broken = {"/presses"}
    clock.at += timedelta(minutes=8)
    count = len(api.asked)
    after = page(asked_of, clock.at, asked)
    assert api.asked[count:] == ["/presses"]
    assert after["bar"]["lead"] == "No data since 06:02."
    assert [row["serial"] for row in after["stack"]["rows"]] == [
        row["serial"] for row in before["stack"]["rows"]
    ]


def test_records_of_presses_nobody_looks_at_are_let_go(clock):
    with FakeApi(fake_api.plant_of_21, clock) as api:
        client = Client(api.url, TOKEN)
        records = Records(client, clock, most=2)
        names = [each["press"] for each in fake_api.plant_of_21(NOW).presses][:3]
        for name in names:
            records.read(name)
        api.asked.clear()
        records.read(names[-1])
        assert api.asked == []
        records.read(names[0])
        assert "/flags" in api.asked
        client.close()


def test_refreshing_faster_than_a_second_is_refused():
    with pytest.raises(ValueError, match="refresh_s"):
        create_app(api_url="http://127.0.0.1:1", token="t", refresh_s=0.1)


@pytest.fixture(scope="module")
def board():
    with running_board(fake_api.plant_of_3) as made:
        yield made.url


def test_health_is_told_without_a_token_or_the_api(board):
    reply = httpx2.get(board + "/healthz")
    assert (reply.status_code, reply.json()) == (200, {"status": "ok"})


def test_the_page_forbids_what_is_not_its_own(board):
    reply = httpx2.get(board + "/")
    assert reply.status_code == 200
    assert '<html lang="en">' in reply.text
    assert "default-src 'self'" in reply.headers["content-security-policy"]
    assert reply.headers["referrer-policy"] == "no-referrer"


def test_a_press_has_an_address_of_its_own(board):
    reply = httpx2.get(f"{board}/press/{PRESS}")
    assert reply.status_code == 200
    assert "/assets/press.js" in reply.text
    assert "default-src 'self'" in reply.headers["content-security-policy"]


@pytest.mark.parametrize(
    "path",
    ["/press/", "/press/a/b", "/press/a/b/c/d", "/press/A/1/2", "/press/a//b", "/press/a/b/c/"],
)
def test_an_address_of_no_press_is_not_the_page(board, path):
    assert httpx2.get(board + path).status_code == 404


@pytest.mark.parametrize("path", ["/nope", "/api/v1/presses", "/docs", "/openapi.json"])
def test_an_unknown_path_is_not_the_page(board, path):
    assert httpx2.get(board + path).status_code == 404


@pytest.mark.parametrize(
    ("host", "name"),
    [("localhost:8050", "localhost"), ("127.0.0.1", "127.0.0.1"), ("[::1]:8050", "[::1]"),
     ("LOCALHOST", "localhost"), ("", "")],
)  # fmt: skip
def test_a_host_is_read_without_its_port(host, name):
    assert host_name(host) == name


def test_the_token_is_in_nothing_that_a_browser_gets(board):
    for path in ("/", "/_dash-layout", "/_dash-dependencies", "/assets/board.js"):
        assert TOKEN not in httpx2.get(board + path).text


def test_text_is_sent_compressed(board):
    reply = httpx2.get(board + "/assets/board.js", headers={"Accept-Encoding": "gzip"})
    assert reply.headers["content-encoding"] == "gzip"

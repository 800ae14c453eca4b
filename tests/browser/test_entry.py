"""Entry on a tablet: the board over the real API and a real database, driven by taps and a scanner.

Each test works at a press of its own, with spare rings of its own.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta

import httpx2
import psycopg
import pytest
from playwright.sync_api import expect

from dashboard.entry_words import CARE, DUST, LAW
from dashboard.guard import COOKIE
from tests.browser.entry_stand import SECRETS, Works, serial_at, spare, works_at
from tests.browser.faults import faults_on
from tests.browser.stand import SCHEMES, SIZES
from tests.conftest import database_at

pytestmark = pytest.mark.browser

LEAST_PX = 48


@pytest.fixture(scope="module")
def works(cluster, template) -> Iterator[Works]:
    name = f"t_{uuid.uuid4().hex}"
    with psycopg.connect(cluster.url, autocommit=True) as conn:
        conn.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
    with works_at(database_at(cluster.url, name)) as made:
        yield made
    with psycopg.connect(cluster.url, autocommit=True) as conn:
        conn.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(scope="module")
def sessions(works) -> dict[str, str]:
    """A session of each role, signed in once."""
    return {role: session_of(works, secret) for role, secret in SECRETS.items()}


def session_of(works, secret):
    answer = httpx2.post(works.url + "/sign-in", json={"token": secret})
    return answer.cookies[COOKIE]


@pytest.fixture
def tablet(works, sessions, browser) -> Iterator[Callable[..., object]]:
    """Opens an address of the board on a tablet on which somebody has signed in."""
    contexts = []

    def opening(address="/entry", *, size=SIZES[2], scheme="light", role="crew", session=""):
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme=scheme,
            reduced_motion="reduce",
            locale="en-GB",
        )
        contexts.append(context)
        context.add_cookies(
            [{"name": COOKIE, "value": session or sessions[role], "url": works.url}]
        )
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.wrong = []
        page.on("console", lambda m: page.wrong.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda fault: page.wrong.append(str(fault)))
        page.on("request", lambda r: r.url.startswith(works.url) or page.wrong.append(r.url))
        page.goto(works.url + address)
        page.wait_for_selector(".entry .right, .desk, .away")
        return page

    yield opening
    for context in contexts:
        context.close()


def go(page, works, address):
    page.goto(works.url + address)
    page.wait_for_selector(".entry .right")


def at_press(number, **more):
    """The address of the form at a press."""
    given = "".join(f"&{name}={value}" for name, value in more.items())
    return f"/entry?press=harlow-mere/{number}{given}"


def scan(page, serial):
    """What a hand scanner does, wherever the focus stands."""
    page.keyboard.type(serial)
    page.keyboard.press("Enter")


def says(page, text):
    expect(page.locator("#says-serial")).to_contain_text(text)


def send(page):
    page.click(".send")


def send_as(page, text):
    """Sent when the button repeats what will be entered, which then is what was entered."""
    expect(page.locator(".send")).to_contain_text(text)
    send(page)
    entered(page, text)


def entered(page, text=""):
    expect(page.locator(".done")).to_contain_text("Entered: ")
    expect(page.locator(".done")).to_contain_text(text)


def small_targets(page):
    """Buttons and fields that a glove can miss."""
    return page.evaluate(
        """(least) => [...document.querySelectorAll(".entry button, .entry input, .entry .foot a")]
          .filter((node) => node.getBoundingClientRect().height < least)
          .map((node) => node.outerHTML.slice(0, 90))""",
        LEAST_PX,
    )


def in_view(page, selector):
    box = page.locator(selector).bounding_box()
    return box["y"] >= 0 and box["y"] + box["height"] <= page.viewport_size["height"] + 1


# ---- how it looks ----


FORMS = ("", "&position=ring-3", "&do=inspect&position=ring-3", "&do=service", "&do=lately")
MOVES = ("/entry", "/entry?do=rework", "/entry?do=send", "/entry?do=register")


LOOKS = {
    "1024-light": (SIZES[2], SCHEMES[0], [*(at_press("1/07") + form for form in FORMS), *MOVES]),
    "1280-dark": (SIZES[1], SCHEMES[1], [at_press("1/07", position="ring-3"), "/entry?do=rework"]),
}


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
def test_each_form_is_shown_whole_with_its_cautions(works, tablet, look):
    """WCAG 2.0 to 2.2, levels A and AA, by axe-core; targets for gloves; the wording as agreed."""
    size, scheme, addresses = look
    page = tablet(at_press("1/07", position="ring-3"), size=size, scheme=scheme)
    for address in addresses:
        go(page, works, address)
        expect(page.locator(".care")).to_contain_text(f"{CARE[0][0]} {CARE[0][1]}")
        expect(page.locator(".care")).to_contain_text(f"{CARE[1][0]} {CARE[1][1]}")
        expect(page.locator(".foot .law")).to_have_text(LAW)
        assert (DUST[0] in page.inner_text(".care")) == ("rework" in address)
        assert faults_on(page, page.wrong) == [], address
        assert small_targets(page) == [], address


def test_cautions_and_foot_are_in_view_and_the_cautions_stay(tablet):
    page = tablet(at_press("1/07", position="ring-3"))
    expect(page.locator(".send")).to_be_visible()
    assert in_view(page, ".care")
    assert in_view(page, ".send")
    assert in_view(page, ".foot .law")
    page.click("[data-set=pick]")
    page.click("text=earlier")
    page.locator(".send").scroll_into_view_if_needed()
    assert page.evaluate("window.scrollY") > 0
    assert in_view(page, ".care")


# ---- the keyed exchange ----


def test_a_keyed_exchange_of_a_ring_takes_at_most_six_taps_and_one_scan(works, tablet):
    """Counted from the first page, whose press leads on to the form."""
    page = tablet("/")
    count = """window.addEventListener("pointerdown", () => { sessionStorage.taps = 1 + Number(sessionStorage.taps || 0); }, true);"""  # noqa: E501
    page.add_init_script(count)
    page.reload()
    page.click(".fleet >> text=1\u202f01")
    page.click(".ways >> text=Enter")
    page.click("[data-seat=ring-3]")
    page.click("text=at its limit")
    scan(page, spare(1))
    says(page, "suits ring-3 of this press")
    expect(page.locator(".send")).to_contain_text(f"{serial_at('h/1/01', 'ring-3')} out, worn")
    send(page)
    entered(page, f"{spare(1)} in")
    assert int(page.evaluate("sessionStorage.taps")) <= 6
    tool = works.ask(f"/tools/{spare(1)}")
    assert (tool["press"], tool["position"]) == ("harlow-mere/1/01", "ring-3")
    out = works.ask(f"/tools/{serial_at('h/1/01', 'ring-3')}")
    assert out["state"] == "bench"
    assert out["history"][-1]["reason"] == "worn"
    assert (out["history"][-1]["by"], out["history"][-1]["entered_by"]) == ("R. Ash", "R. Ash")
    assert page.wrong == []


def test_a_scanner_types_wherever_the_focus_stands(tablet):
    page = tablet(at_press("1/07", position="ring-3"))
    page.click("text=at its limit")
    scan(page, spare(2))
    says(page, "suits ring-3")
    expect(page.locator("text=at its limit")).to_be_visible()
    scan(page, spare(3))
    expect(page.locator("#f-serial")).to_have_value(spare(3))
    assert page.locator("[aria-pressed=true] >> text=worn").count() == 1


def test_a_ring_is_picked_from_those_in_the_right_size(works, tablet):
    page = tablet(at_press("1/02", position="ring-3"))
    page.click("text=broken")
    page.click("[data-set=pick]")
    offered = page.locator(".picks small")
    expect(offered.first).to_have_text("on the shelf, 65.999\u00a0mm")
    assert all("another size" not in text for text in offered.all_inner_texts())
    page.click(f".picks >> text={spare(5)}")
    says(page, "On the shelf, 65.999")
    send(page)
    entered(page, spare(5))
    assert works.ask(f"/tools/{spare(5)}")["press"] == "harlow-mere/1/02"


# ---- what contradicts is said at once ----


CONTRADICTIONS = {
    "no-such-serial": ("IR26-9999", "No tool has the serial IR26-9999."),
    "in-another-press": ("R1-207", "It sits in 2\u202f07 at ring-1. Pull it there first"),
    "here-already": ("R3-107", "It sits here already."),
    "another-kind": ("PU26-0007", "PU26-0007 is a punch; ring-3 takes a ironing-ring."),
    "another-size": (spare(4), "66.080\u00a0mm; ring-3 of this press wants 65.999 ± 0.002\u00a0mm"),
    "no-serial": ("IR26 0001", "A serial has letters, digits, dots, dashes and no blank."),
}


def test_what_contradicts_is_said_as_soon_as_it_is_typed(tablet):
    page = tablet(at_press("1/07", position="ring-3"))
    for serial, text in CONTRADICTIONS.values():
        page.fill("#f-serial", serial)
        says(page, text)


def test_a_serial_that_was_misread_is_offered_as_it_may_be_meant(tablet):
    page = tablet(at_press("1/07", position="ring-3"))
    page.fill("#f-serial", "IR26-007")
    meant = page.locator(".picks .t60 span").first.inner_text()
    page.locator(".picks .t60").first.click()
    expect(page.locator("#f-serial")).to_have_value(meant)


def test_a_refusal_of_the_api_stands_in_its_place_and_the_form_stays_filled(works, tablet):
    page = tablet(at_press("1/03", position="ring-3"))
    before = len(works.ask("/tool-events?press=harlow-mere/1/03")["items"])
    page.click("text=at its limit")
    scan(page, "R1-207")
    send(page)
    expect(page.locator(".s-no[role=alert]")).to_contain_text("R1-207 is fitted since the fit")
    expect(page.locator(".s-no[role=alert]")).to_contain_text("2\u202f07")
    expect(page.locator("#f-serial")).to_have_value("R1-207")
    assert page.locator("[aria-pressed=true] >> text=worn").count() == 1
    assert len(works.ask("/tool-events?press=harlow-mere/1/03")["items"]) == before
    assert faults_on(page, page.wrong) == []


def test_what_is_missing_or_no_number_is_said_before_anything_is_sent(tablet):
    page = tablet(at_press("1/07", position="ring-3"))
    posts = []
    page.on("request", lambda r: posts.append(r.url) if r.url.endswith("/write") else None)
    send(page)
    expect(page.locator("#no-reason")).to_have_text("Say why it comes out.")
    expect(page.locator("#says-serial")).to_have_text("Say which tool goes in.")
    page.goto(page.url + "&do=inspect")
    send(page)
    expect(page.locator("#no-verdict")).to_have_text("Give a verdict, a reading, or both.")
    page.fill("#f-value", "four")
    send(page)
    expect(page.locator("#no-value")).to_have_text("A number, please: four is none.")
    page.click("text=earlier")
    page.fill("#f-time", "25:10")
    send(page)
    expect(page.locator("#no-at")).to_have_text("Say the day and the time.")
    assert posts == []


def test_a_time_still_to_come_is_refused_at_its_field(tablet):
    page = tablet(at_press("1/07", do="inspect", position="ring-3"))
    page.click("text=goes on")
    page.click("text=earlier")
    page.fill("#f-day", (datetime.now(UTC) + timedelta(days=3)).strftime("%Y-%m-%d"))
    page.fill("#f-time", "0541")
    expect(page.locator(".k-time")).to_contain_text("That is still to come.")
    send(page)
    expect(page.locator("#no-at")).to_contain_text("not in the future")


# ---- every kind of entry ----


def test_a_tool_goes_the_round_from_press_to_bench_to_rework_and_back(works, tablet):
    """Pull, send out, back from rework with its size, fit into the place that is empty, scrap."""
    out = serial_at("h/1/04", "ring-3")
    page = tablet(at_press("1/04", do="pull", position="ring-3"))
    page.click("text=chip, pick-up")
    send_as(page, f"{out} out, broken")
    assert works.ask(f"/tools/{out}")["state"] == "bench"

    go(page, works, "/entry?do=send")
    scan(page, out)
    says(page, "On the bench, ironing-ring, 65.999")
    page.click("text=in 2 weeks")
    send_as(page, f"{out} out for rework")
    back = datetime.fromisoformat(works.ask(f"/tools/{out}")["back_at"])
    assert 13 <= (back - datetime.now(UTC)) / timedelta(days=1) <= 15

    go(page, works, "/entry?do=rework")
    scan(page, out)
    says(page, "Out for rework")
    page.fill("#f-size", "66,079")
    send_as(page, "back from rework")
    tool = works.ask(f"/tools/{out}")
    assert (tool["state"], tool["size_mm"], tool["reworks"]) == ("shelf", 66.079, 1)

    go(page, works, at_press("1/04", position="ring-3"))
    expect(page.locator(".lead")).to_have_text("Nothing is recorded at ring-3.")
    scan(page, spare(6))
    says(page, "suits ring-3")
    send_as(page, f"{spare(6)} into ring-3")
    fit = works.ask(f"/tools/{spare(6)}")["history"][-1]
    assert (fit["type"], fit["replaces"], fit["reason"]) == ("fit", False, None)

    go(page, works, "/entry?do=scrap")
    scan(page, out)
    send_as(page, f"{out} scrapped")
    assert works.ask(f"/tools/{out}")["state"] == "scrapped"
    assert page.wrong == []


def test_a_reading_is_entered_and_what_it_asks_is_shown(works, tablet):
    page = tablet(at_press("1/05", do="inspect", position="ring-3"))
    expect(page.locator(".k-number").first).to_contain_text("Its limit is 6\u00a0µm.")
    page.fill("#f-value", "4,2")
    page.fill("#f-uncertainty", "0.8")
    page.click("text=goes on")
    send(page)
    entered(page)
    page.click("[data-seat=ring-3]")
    page.fill("#f-value", "1.1")
    send(page)
    expect(page.locator(".done .s-ask")).to_contain_text("wear does not go back")
    looks = works.ask(f"/inspections?serial={serial_at('h/1/05', 'ring-3')}")["items"]
    assert [(each["value"], each["unit"], each["verdict"]) for each in looks] == [
        (4.2, "um", "good"),
        (1.1, "um", None),
    ]
    assert faults_on(page, page.wrong) == []


def test_a_late_entry_keeps_both_times(works, tablet):
    page = tablet(at_press("1/06", do="pull", position="stripper"))
    page.click("[data-set=reason][data-value=other]")
    page.fill("#f-note", "torn at the rim")
    page.click("text=earlier")
    page.click("text=yesterday")
    page.fill("#f-time", "5.41")
    expect(page.locator(".k-time")).to_contain_text("late: both times stay on record")
    page.click(".k-person >> text=other")
    page.fill("#f-by", "T. Elm")
    send(page)
    entered(page)
    pull = works.ask(f"/tools/{serial_at('h/1/06', 'stripper')}")["history"][-1]
    at = datetime.fromisoformat(pull["at"])
    assert at.strftime("%H:%M") in ("05:41", "04:41")  # plant time, which may be an hour ahead
    assert (pull["by"], pull["entered_by"], pull["note"]) == ("T. Elm", "R. Ash", "torn at the rim")
    assert datetime.fromisoformat(pull["entered_at"]) - at > timedelta(hours=6)


def test_an_entry_is_corrected_and_another_taken_back(works, tablet):
    out = serial_at("h/2/01", "ring-3")
    page = tablet(at_press("2/01", position="ring-3"))
    page.click("text=at its limit")
    scan(page, spare(7))
    send(page)
    entered(page)

    page.click("text=Other entry")
    page.click(".kinds >> text=correct or take back")
    page.click(f".entries li:has-text('{spare(7)}') >> text=Correct")
    expect(page.locator(".lead")).to_contain_text(f"Instead of: ring-3: {spare(7)} in, worn")
    page.click("text=chip, pick-up")
    send(page)
    entered(page)
    history = works.ask(f"/tools/{out}")["history"]
    assert [each["reason"] for each in history if each["type"] == "pull"][-1] == "broken"
    fits = fits_of(works, spare(7))
    assert sorted(each["corrected_by"] is None for each in fits) == [False, True]

    page.click(f".entries li:has-text('{spare(7)}') >> text=Take back")
    page.fill("#f-note", "never happened")
    send(page)
    entered(page)
    assert works.ask(f"/tools/{out}")["position"] == "ring-3"
    assert works.ask(f"/tools/{spare(7)}")["state"] == "shelf"
    assert page.wrong == []


def test_a_press_is_serviced_and_a_tool_registered_and_shelved(works, tablet):
    page = tablet(at_press("2/02", do="service"))
    page.click("text=serviced by plan")
    send(page)
    entered(page)
    events = works.ask("/tool-events?press=harlow-mere/2/02")["items"]
    assert [each["reason"] for each in events if each["type"] == "service"] == ["planned"]

    go(page, works, "/entry?do=register&serial=ST26-0100")
    page.click("text=ironing-ring")
    send(page)
    expect(page.locator(".done .s-ask")).to_contain_text("It waits on the bench until its size")
    go(page, works, "/entry?do=shelve&serial=ST26-0100")
    says(page, "On the bench")
    page.fill("#f-size", "65.998")
    send(page)
    entered(page)
    tool = works.ask("/tools/ST26-0100")
    assert (tool["state"], tool["size_mm"]) == ("shelf", 65.998)


# ---- a network that is lost ----


def fits_of(works, serial):
    return [each for each in works.ask(f"/tools/{serial}")["history"] if each["type"] == "fit"]


def test_an_entry_is_kept_over_a_lost_network_and_sent_once(works, tablet):
    page = tablet(at_press("2/03", position="ring-3"))
    page.click("text=at its limit")
    scan(page, spare(9))
    says(page, "suits ring-3")
    page.context.set_offline(True)
    send(page)
    expect(page.locator(".net")).to_contain_text("1 entry is kept in this tablet since ")
    expect(page.locator(".net")).to_contain_text(f"{spare(9)} in")
    expect(page.locator(".done")).to_contain_text("Kept in this tablet: ")
    assert fits_of(works, spare(9)) == []
    page.context.set_offline(False)
    expect(page.locator(".net")).to_have_count(0)
    assert len(fits_of(works, spare(9))) == 1


def test_what_was_typed_while_the_network_was_away_is_sent_as_typed(works, tablet):
    """The form is filled without an answer of the board; its words say what was typed last."""
    page = tablet(at_press("2/03", position="ring-2"))
    scan(page, spare(17))
    says(page, "65.999")
    page.context.set_offline(True)
    page.click("text=hurt by a jam")
    page.fill("#f-serial", spare(20))
    says(page, "Being checked.")
    send(page)
    expect(page.locator(".net li")).to_contain_text(f"{spare(20)} · ring-2 · 2\u202f03")
    page.context.set_offline(False)
    expect(page.locator(".net")).to_have_count(0)
    assert fits_of(works, spare(17)) == []
    pulled = works.ask(f"/tools/{serial_at('h/2/03', 'ring-2')}")["history"][-1]
    assert (pulled["type"], pulled["reason"]) == ("pull", "collateral")
    assert len(fits_of(works, spare(20))) == 1


def test_an_answer_that_is_lost_doubles_nothing(works, tablet):
    """The entry reaches the API, its answer does not reach the tablet; it is sent again."""
    page = tablet(at_press("2/04", position="ring-3"))
    sent = []

    def lose_the_first(route):
        sent.append(route.request.post_data_json["body"]["id"])
        if len(sent) > 1:
            route.continue_()
            return
        route.fetch()
        route.abort()

    page.route("**/write", lose_the_first)
    page.click("text=at its limit")
    scan(page, spare(10))
    says(page, "suits ring-3")
    send(page)
    expect(page.locator(".net")).to_be_visible()
    expect(page.locator(".net")).to_have_count(0)
    assert len(sent) == 2
    assert len(set(sent)) == 1
    assert len(fits_of(works, spare(10))) == 1


def test_what_is_kept_outlives_the_page_and_leaving_warns(works, tablet):
    page = tablet(at_press("2/05", position="ring-3"))
    page.click("text=at its limit")
    scan(page, spare(11))
    says(page, "suits ring-3")
    page.route("**/write", lambda route: route.abort())
    send(page)
    expect(page.locator(".net")).to_be_visible()
    asked = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
    page.reload()
    assert asked == ["beforeunload"]
    expect(page.locator(".net")).to_contain_text(f"{spare(11)} in")
    page.unroute("**/write")
    expect(page.locator(".net")).to_have_count(0)
    assert len(fits_of(works, spare(11))) == 1


def test_what_was_kept_and_then_refused_says_so_and_is_let_go_by_hand(works, tablet):
    page = tablet(at_press("2/06", position="ring-3"))
    page.click("text=at its limit")
    scan(page, "R1-207")
    page.route("**/write", lambda route: route.abort())
    send(page)
    expect(page.locator(".net")).to_be_visible()
    page.unroute("**/write")
    expect(page.locator(".net li")).to_contain_text("not taken: R1-207 is fitted since")
    assert [each for each in faults_on(page, page.wrong) if "net::" not in each] == []
    page.click(".net >> text=Discard")
    expect(page.locator(".net")).to_have_count(0)


def test_an_entry_of_another_person_is_not_sent_by_itself(works, tablet):
    page = tablet(at_press("2/07", position="ring-3"))
    page.click("text=at its limit")
    scan(page, spare(13))
    says(page, "suits ring-3")
    page.route("**/write", lambda route: route.abort())
    send(page)
    expect(page.locator(".net")).to_be_visible()
    page.unroute("**/write")
    kept = page.evaluate("JSON.parse(localStorage['duestroke-kept'])")
    kept[0]["who"] = "T. Elm"
    page.evaluate("(kept) => { localStorage['duestroke-kept'] = JSON.stringify(kept); }", kept)
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload()
    expect(page.locator(".net li")).to_contain_text("kept by T. Elm")
    page.wait_for_timeout(1_500)
    assert fits_of(works, spare(13)) == []
    page.click("text=Send as R. Ash")
    expect(page.locator(".net")).to_have_count(0)
    assert fits_of(works, spare(13))[0]["entered_by"] == "R. Ash"


# ---- who may not, and whose session has ended ----


def test_a_viewer_sees_no_form_and_the_board_refuses(tablet):
    page = tablet("/entry", role="viewer", size=SIZES[1])
    expect(page.locator("section.away")).to_contain_text("This page is for the crew.")
    assert page.locator("form, .send, .t60").count() == 0
    assert page.locator(".ways >> text=Enter").count() == 0
    told = page.evaluate(
        """async () => {
          const check = window.duestroke.shown.page.me.check;
          const sent = await fetch("/write", {method: "POST", headers: {"Content-Type": "application/json",
            "X-Duestroke-Check": check}, body: JSON.stringify({call: "tool-events", body: {type: "pull"}})});
          return sent.status;
        }"""  # noqa: E501
    )
    assert told == 403


def test_a_session_that_ends_keeps_what_is_typed_and_sends_it_after(works, tablet):
    own = session_of(works, SECRETS["crew"])
    page = tablet(at_press("1/07", position="ring-2"), session=own)
    page.click("text=sound, by plan")
    scan(page, spare(16))
    says(page, "66.080")
    page.context.clear_cookies()
    page.context.add_cookies([{"name": COOKIE, "value": "ended", "url": works.url}])
    expect(page.locator(".ended")).to_contain_text("Your session has ended.")
    expect(page.locator("#f-serial")).to_have_value(spare(16))
    assert page.locator("[aria-pressed=true] >> text=planned").count() == 1
    send(page)
    expect(page.locator(".net")).to_contain_text("Sent once you have signed in again")
    page.fill("#token-again", SECRETS["crew"])
    page.press("#token-again", "Enter")
    expect(page.locator(".net")).to_have_count(0)
    assert len(fits_of(works, spare(16))) == 1


def test_the_page_names_no_secret(tablet):
    page = tablet(at_press("1/07"))
    held = page.evaluate("JSON.stringify([localStorage, sessionStorage])") + page.content()
    for secret in SECRETS.values():
        assert secret not in held
    assert re.search(r"HttpOnly", page.evaluate("document.cookie")) is None


def test_a_keyboard_goes_on_where_a_button_is_gone(tablet):
    page = tablet()
    page.focus("[data-press='harlow-mere/1/07']")
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_contain_text("Exchange a tool in 1\u202f07")
    assert page.evaluate("document.activeElement.tagName") == "H1"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Other press"


def test_a_sign_is_turned_by_a_button(tablet):
    page = tablet(at_press("1/07", do="inspect", position="ring-3"))
    page.fill("#f-value", "2.4")
    page.click("text=±")
    expect(page.locator("#f-value")).to_have_value("-2.4")
    page.click("text=±")
    expect(page.locator("#f-value")).to_have_value("2.4")

"""The press page over the real API and a real database: what was entered is what it shows."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import quote

import pytest

from api.app import create_app
from dashboard.app import page
from dashboard.client import Client
from dashboard.pages import Sources
from duestroke.times import format_time
from tests.browser.stand import Serving
from tests.parts.conftest import NOW, PRESS, secret_of

RATE = 390
SPEED, OMEGA = 10.0, 2 * 3.141592653589793 * RATE / 60
ROUGH = 1.2


def ago(**gone):
    return format_time(NOW - timedelta(**gone))


@pytest.fixture
def told(api, send, report, foretell):
    """A press with four days of reports, one restart of its counter, a ring, and its reading."""
    api.put(f"/presses/{PRESS}", {"timezone": "Europe/London", "crank_radius_mm": 250.0})
    api.put(
        "/positions/ring-3",
        {"kind": "ironing-ring", "quantity": "bore", "unit": "um", "limit": 6.0},
    )
    peaks = {"peak_speed_mps": SPEED, "peak_accel_mps2": ROUGH * OMEGA * SPEED}
    minutes = range(-4 * 1440, 1, 20)
    reset = -1440
    send(*[
        report(at, RATE * (at + 4 * 1440) if at < reset else RATE * (at - reset + 20), **peaks)
        for at in minutes
    ])  # fmt: skip
    api.post("/tools", {"serial": "T-ring-3", "kind": "ironing-ring"})
    done = api.post(
        "/tool-events",
        {"type": "fit", "serial": "T-ring-3", "at": ago(days=3), "press": PRESS,
         "position": "ring-3", "by": "J. Thorne"},
    )  # fmt: skip
    assert done.status_code == 201, done.text
    read = api.post(
        "/inspections",
        {"serial": "T-ring-3", "at": ago(days=2), "quantity": "bore", "value": 1.5, "unit": "um",
         "uncertainty": 0.6},
    )  # fmt: skip
    assert read.status_code == 201, read.text
    foretell("ring-3", 20.0)
    return api


@pytest.fixture
def shown(told, database_url):
    """The page's document, read over a socket; whatever is named stands open."""
    app = create_app(database_url=database_url, pool_size=2, clock=lambda: NOW)
    with Serving(app) as serving:
        client = Client(serving.url, secret_of("viewer"))
        asked = Sources.over(client, lambda: NOW)

        def showing(*opened):
            return page(asked, NOW, {"address": f"/press/{PRESS}", "open": list(opened)})

        yield showing
        client.close()


def ring_of(made):
    return next(row for row in made["stack"]["rows"] if row["key"] == "ring-3")


def plain(text):
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def test_what_was_entered_is_what_the_page_shows(told, shown):
    made = shown("ring-3", "events")
    row = ring_of(made)
    assert made["bar"] is None
    assert (row["serial"], plain(row["strokes"]), row["word"]) == ("T-ring-3", "1.00 M", "fine")
    assert plain(row["read"]["text"]) == "1.5 of 6 µm · 27 Feb"
    assert row["read"]["track"] == {"dot": 40.5, "bar": "M25.9 12H55.1"}
    strokes = plain(" ".join(row["opened"][0]["says"]))
    total = told.get(f"/presses/{PRESS}").json()["strokes"]
    assert f"Its fit: Thu 26 Feb 12:00; total then 561,600, now {total:,}." in strokes
    (event,) = made["rough"]["events"][0]["table"]["rows"]
    assert event["cells"][1:4] == ["fitted in ring-3", "T-ring-3", "J. Thorne"]


def test_roughness_of_the_reports_is_roughness_of_the_page(shown):
    """K = peak acceleration / (w * peak speed), by definition; reports carry 1.2 of it."""
    made = shown("days")
    days = made["rough"]["days"][0]["table"]["rows"]
    assert {row["cells"][1] for row in days} == {"1.200"}
    assert {row["cells"][3] for row in days} == {"390"}
    assert any("in good order gives 1.000" in said for said in made["rough"]["after"])


def test_a_flag_is_shown_open_then_settled_by_name(told, shown, database_url):
    (flag,) = told.get("/flags", params={"press": PRESS}).json()["items"]
    assert flag["kinds"] == ["restart"]
    row = ring_of(shown())
    hidden = int(1.25 * 480 * 20 + 50) - RATE * 20
    assert flag["hidden_at_most"] == hidden
    assert plain(row["hidden"]) == f"+ up to {hidden:,}"
    (told_flag,) = shown()["count"]["flags"]["rows"]
    assert (told_flag["settled"], told_flag["hides"]) == ("not settled", f"{hidden:,}")
    done = told.post(f"/flags/{quote(flag['id'])}/settle", {"strokes": 12, "reason": "can count"})
    assert done.status_code == 200
    app = create_app(database_url=database_url, pool_size=2, clock=lambda: NOW)
    with Serving(app) as serving:
        client = Client(serving.url, secret_of("viewer"))
        asked = Sources.over(client, lambda: NOW)
        made = page(asked, NOW, {"address": f"/press/{PRESS}"})
        client.close()
    (settled,) = made["count"]["flags"]["rows"]
    assert plain(settled["settled"]) == "+12: can count (admin, 1 Mar)"
    assert ring_of(made)["hidden"] == ""


def test_a_reading_that_goes_backwards_asks_and_stays(told, shown):
    read = told.post(
        "/inspections",
        {"serial": "T-ring-3", "at": ago(days=1), "quantity": "bore", "value": -3.0, "unit": "um",
         "uncertainty": 0.6},
    )  # fmt: skip
    assert read.status_code == 201, read.text
    made = shown("ring-3")
    questions = told.get("/questions", params={"press": PRESS, "open": "true"}).json()["items"]
    assert len(questions) == 1
    assert ring_of(made)["asks"] == "a question is open"
    assert "A question: " in made["top"]["rest"]
    assert len(ring_of(made)["opened"][2]["table"]["rows"]) == 2

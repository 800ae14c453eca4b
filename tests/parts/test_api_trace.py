"""`GET /trace`: the tools that made a can, over HTTP."""

from __future__ import annotations

import uuid

import pytest

from store.unit import connect
from tests.support.plant import Plant

PRESS = "works/1/01"
T = "2026-01-01T{:02}:00:00Z"


@pytest.fixture
def plant(api):
    """A press that ran 10,000 strokes an hour for ten hours; ring R1 gave way to R2 at seven."""
    with connect(api.database_url) as conn:
        made = Plant(conn)
        made.press(PRESS)
        made.steady(PRESS, 10)
    for serial in ("R1", "R2"):
        body = {"serial": serial, "kind": "ironing-ring", "batch": "B-7"}
        assert api.post("/tools", body, role="crew").status_code == 201
    enter(api, type="fit", serial="R1", at=T.format(2), position="ring-3", strokes_before=500)
    look(api, "R1", 4, verdict="good")
    look(api, "R1", 6, verdict="worn", quantity="bore", value=6.2, unit="um", limit=6)
    again = {"replaces": True, "reason": "worn"}
    enter(api, type="fit", serial="R2", at=T.format(7), position="ring-3", **again)
    return api


def enter(api, **event):
    body = {"id": str(uuid.uuid4()), "press": PRESS} | event
    answer = api.post("/tool-events", body, role="crew")
    assert answer.status_code == 201, answer.text


def look(api, serial, hour, **said):
    body = {"serial": serial, "at": T.format(hour)} | said
    answer = api.post("/inspections", body, role="crew")
    assert answer.status_code == 201, answer.text


def trace(api, at, press=PRESS):
    return api.get("/trace", params={"press": press, "at": at})


def test_a_can_leads_to_its_tool_with_strokes_checks_and_suspects(plant):
    told = trace(plant, T.format(5)).json()
    assert (told["press"], told["at"], told["strokes"]) == (PRESS, T.format(5), 50_000)
    [tool] = told["tools"]
    assert (tool["position"], tool["serial"], tool["batch"]) == ("ring-3", "R1", "B-7")
    assert tool["strokes"] == {"since_fit": 30_000, "since_rework": 30_500}
    assert (tool["check_before"]["at"], tool["check_before"]["verdict"]) == (T.format(4), "good")
    assert (tool["check_after"]["at"], tool["check_after"]["value"]) == (T.format(6), 6.2)
    assert tool["since_good"] == {"from": T.format(4), "to": T.format(6), "strokes": 20_000}
    assert told["same_set"] == {"from": T.format(2), "to": T.format(7), "strokes": 50_000}
    assert told["since_good"] == tool["since_good"]
    assert told["readings"]["before"]["at"] <= T.format(5) < told["readings"]["after"]["at"]
    assert [row["from"] for row in told["around"]] == [T.format(hour) for hour in range(2, 9)]
    assert (told["empty"], told["doubts"], told["flags"]) == ([], [], [])


def test_a_service_of_the_press_is_no_tool_and_opens_no_window(plant):
    before = trace(plant, T.format(5)).json()
    enter(plant, type="service", at=T.format(1))
    after = trace(plant, T.format(5)).json()
    assert [tool["position"] for tool in after["tools"]] == ["ring-3"]
    assert (after["same_set"], after["since_good"]) == (before["same_set"], before["since_good"])
    assert trace(plant, "2026-01-01T00:30:00Z").json()["empty"] == ["ring-3"]


def test_after_the_exchange_the_other_ring_made_it(plant):
    told = trace(plant, T.format(8)).json()
    [tool] = told["tools"]
    assert (tool["serial"], tool["strokes"]["since_fit"], tool["pulled_at"]) == ("R2", 10_000, None)
    assert [doubt["kind"] for doubt in tool["doubts"]] == ["serial-unconfirmed"]
    near = trace(plant, "2026-01-01T07:10:00Z").json()
    assert "near-a-change" in {doubt["kind"] for doubt in near["doubts"]}


def test_before_the_first_fit_the_place_is_said_to_be_empty(plant):
    told = trace(plant, T.format(1)).json()
    assert (told["tools"], told["empty"]) == ([], ["ring-3"])
    assert [doubt["kind"] for doubt in told["doubts"]] == ["no-tool"]
    assert told["same_set"] is None


def test_a_time_before_the_count_began_is_said(plant):
    told = trace(plant, "2025-06-01T00:00:00Z").json()
    assert told["strokes"] == 0
    assert "no-record" in {doubt["kind"] for doubt in told["doubts"]}


def test_what_cannot_be_traced_is_refused_by_field(plant):
    assert trace(plant, T.format(5), press="works/1/99").status_code == 404
    for at in ("2030-01-01T00:00:00Z", "1969-01-01T00:00:00Z", "yesterday"):
        answer = trace(plant, at)
        assert answer.status_code == 422
        assert [error["field"] for error in answer.json()["errors"]] == ["at"]
    answer = plant.get("/trace", params={"at": T.format(5)})
    assert [error["field"] for error in answer.json()["errors"]] == ["press"]
    assert plant.get("/trace", role=None).status_code == 401

"""Tools, tool events and inspections over HTTP: what is answered, refused and warned of."""

from __future__ import annotations

import uuid

import pytest

from store.unit import connect
from tests.support.plant import Plant

PRESS, OTHER = "works/1/01", "works/1/02"
T = "2026-01-01T{:02}:00:00Z"


@pytest.fixture
def plant(api):
    """Two presses that ran 10,000 strokes an hour for ten hours, three rings and a punch."""
    with connect(api.database_url) as conn:
        made = Plant(conn)
        for press in (PRESS, OTHER):
            made.press(press)
            made.steady(press, 10)
    for serial, kind in (("R1", "ironing-ring"), ("R2", "ironing-ring"), ("P1", "punch")):
        assert api.post("/tools", {"serial": serial, "kind": kind}, role="crew").status_code == 201
    return api


def fit(serial, hour, **more):
    made = {"id": str(uuid.uuid4()), "type": "fit", "serial": serial, "at": T.format(hour)}
    return made | {"press": PRESS, "position": "ring-3"} | more


def pull(serial, hour, reason="planned", **more):
    made = {"id": str(uuid.uuid4()), "type": "pull", "serial": serial, "at": T.format(hour)}
    return made | {"reason": reason} | more


def enter(api, *events):
    for event in events:
        answer = api.post("/tool-events", event, role="crew")
        assert answer.status_code == 201, answer.text


def errors(answer):
    return [error["field"] for error in answer.json().get("errors", [])]


def test_a_tool_from_the_shelf_into_a_press_and_out_again(plant):
    enter(plant, fit("R1", 2))
    tool = plant.get("/tools/R1").json()
    assert (tool["state"], tool["press"], tool["position"]) == ("fitted", PRESS, "ring-3")
    assert tool["strokes"] == {"since_fit": 80_000, "since_rework": 80_000, "since_new": 80_000}
    enter(plant, pull("R1", 7))
    tool = plant.get("/tools/R1").json()
    assert (tool["state"], tool["press"], tool["position"]) == ("bench", None, None)
    assert tool["strokes"] == {"since_fit": None, "since_rework": 50_000, "since_new": 50_000}
    assert [event["type"] for event in tool["history"]] == ["fit", "pull"]
    assert [event["press_strokes"] for event in tool["history"]] == [20_000, 70_000]
    assert [one["strokes"] for one in tool["fits"]] == [50_000]


def test_an_event_is_answered_as_entered(plant):
    answer = plant.post("/tool-events", fit("R1", 2, by="J. Thorne", colour="blue"), role="crew")
    made = answer.json()
    assert made["press_strokes"] == 20_000
    assert made["entered_by"] == "crew"
    assert made["entered_at"] == "2026-03-01T12:00:00Z"
    assert (made["by"], made["replaces"], made["corrected_by"]) == ("J. Thorne", False, None)
    assert made["warnings"] == []
    assert "colour" not in made


def test_the_same_event_again_is_200_and_another_under_its_id_409(plant):
    event = fit("R1", 2)
    enter(plant, event)
    again = plant.post("/tool-events", event, role="crew")
    assert again.status_code == 200
    assert again.json()["id"] == event["id"]
    other = plant.post("/tool-events", event | {"note": "x"}, role="crew")
    assert other.status_code == 409
    assert errors(other) == ["id"]


def test_an_array_is_judged_together(plant):
    array = [fit("R1", 2), pull("R1", 4, "worn"), fit("R2", 4)]
    answer = plant.post("/tool-events", array, role="crew")
    assert answer.status_code == 201
    assert [event["id"] for event in answer.json()] == [event["id"] for event in array]
    again = plant.post("/tool-events", [*array, pull("R2", 5)], role="crew")
    assert again.status_code == 201
    bad = [pull("P1", 6), fit("R1", 6, position="ring-2")]
    refused = plant.post("/tool-events", bad, role="crew")
    assert refused.status_code == 409
    assert plant.get("/tools/R1").json()["state"] == "bench"


def test_an_array_names_the_event_with_the_wrong_field(plant):
    late = pull("R1", 4)
    del late["reason"]
    answer = plant.post("/tool-events", [fit("R1", 2), late], role="crew")
    assert (answer.status_code, errors(answer)) == (422, ["[1].reason"])
    answer = plant.post("/tool-events", [fit("R1", 2), fit("R2", 2, at=5)], role="crew")
    assert (answer.status_code, errors(answer)) == (422, ["[1].at"])
    answer = plant.post("/tool-events", [fit("R1", 2)] * 101, role="crew")
    assert answer.status_code == 422
    assert plant.post("/tool-events", [], role="crew").status_code == 422
    assert plant.get("/tool-events").json()["items"] == []


WRONG_EVENTS = [
    (fit("R1", 2, at="2026-03-01T12:00:00.000001Z"), "at"),
    (fit("R1", 2, at="2026-01-01T02:00:00"), "at"),
    (fit("R1", 2, press="works/1/99"), "press"),
    (fit("R1", 2, press=None), "press"),
    (fit("R1", 2, position="ring-7"), "position"),
    (fit("R9", 2), "serial"),
    (fit("R1", 2, type="mend"), "type"),
    (fit("R1", 2, strokes_before=-1), "strokes_before"),
    (fit("R1", 2, strokes_before="many"), "strokes_before"),
    (fit("R1", 2, size_mm=0), "size_mm"),
    (fit("R1", 2, id="no-uuid"), "id"),
    (fit("R1", 2, corrects=str(uuid.uuid4())), "corrects"),
    (pull("R1", 2, "tired"), "reason"),
    ({"type": "service", "at": T.format(1)}, "press"),
    ({"type": "service", "at": T.format(1), "press": PRESS, "position": "punch"}, "position"),
    ({"type": "fit", "at": T.format(1), "press": PRESS, "position": "ring-3"}, "serial"),
]


def test_a_wrong_field_is_422_and_named(plant):
    for event, field in WRONG_EVENTS:
        answer = plant.post("/tool-events", event, role="crew")
        assert (answer.status_code, errors(answer)) == (422, [field]), event


def test_a_contradiction_is_409_and_says_what_stands_against_it(plant):
    first = fit("R1", 2)
    enter(plant, first)
    for event in (
        fit("R2", 3),
        fit("R1", 3, press=OTHER),
        fit("P1", 3, position="ring-2"),
        pull("R2", 3),
        pull("R1", 1),
        pull("R1", 3, press=OTHER),
    ):
        answer = plant.post("/tool-events", event, role="crew")
        assert answer.status_code == 409, answer.text
        assert answer.headers["content-type"] == "application/problem+json"
    taken = plant.post("/tool-events", fit("R2", 3), role="crew").json()["detail"]
    for word in ("R1 is fitted", "ring-3 of works/1/01", "2026-01-01T02:00:00Z", first["id"]):
        assert word in taken


def test_a_replacement_pulls_with_its_reason(plant):
    enter(plant, fit("R1", 2))
    no_reason = plant.post("/tool-events", fit("R2", 5, replaces=True), role="crew")
    assert (no_reason.status_code, errors(no_reason)) == (422, ["reason"])
    second = fit("R2", 5, replaces=True, reason="worn")
    enter(plant, second)
    gone = plant.get("/tools/R1").json()
    assert (gone["state"], gone["strokes"]["since_rework"]) == ("bench", 30_000)
    assert gone["history"][-1]["reason"] == "worn"
    assert gone["history"][-1]["implied_by"] == second["id"]


def test_states_of_a_tool_through_rework_and_scrap(plant):
    enter(plant, fit("R1", 1), pull("R1", 2, "worn"))
    for kind, more, state in (
        ("send", {"back_at": "2026-04-01T00:00:00Z"}, "out"),
        ("rework", {"size_mm": 66.24}, "shelf"),
        ("scrap", {}, "scrapped"),
    ):
        enter(plant, {"type": kind, "serial": "R1", "at": T.format(3)} | more)
        assert plant.get("/tools/R1").json()["state"] == state
    tool = plant.get("/tools/R1").json()
    assert (tool["size_mm"], tool["registered_size_mm"], tool["reworks"]) == (66.24, None, 1)
    assert plant.get("/tools", params={"state": "scrapped"}).json()["items"][0]["serial"] == "R1"
    assert plant.post("/tool-events", fit("R1", 5), role="crew").status_code == 409


def test_a_late_change_moves_the_strokes_of_both_tools(plant):
    enter(plant, fit("R1", 1), pull("R1", 8), fit("R2", 8))
    late = [
        pull("R1", 3, corrects=plant.get("/tools/R1").json()["history"][1]["id"]),
        fit("R2", 3, corrects=plant.get("/tools/R2").json()["history"][0]["id"]),
    ]
    assert plant.post("/tool-events", late, role="crew").status_code == 201
    assert plant.get("/tools/R1").json()["strokes"]["since_rework"] == 20_000
    assert plant.get("/tools/R2").json()["strokes"]["since_fit"] == 70_000
    assert len(plant.get("/tool-events").json()["items"]) == 5


def test_an_event_taken_back_stays_on_record(plant):
    event = fit("R1", 2)
    enter(plant, event)
    back = {"type": "fit", "serial": "R1", "at": T.format(3), "corrects": event["id"], "void": True}
    enter(plant, back)
    tool = plant.get("/tools/R1").json()
    assert tool["state"] == "shelf"
    assert tool["history"][0]["corrected_by"] == tool["history"][1]["id"]


def test_strokes_before_and_an_unknown_age(plant):
    enter(plant, fit("R1", 2, strokes_before=1_000_000))
    assert plant.get("/tools/R1").json()["strokes"] == {
        "since_fit": 80_000,
        "since_rework": 1_080_000,
        "since_new": None,
    }
    enter(plant, fit("R2", 2, press=OTHER, before_unknown=True))
    assert plant.get("/tools/R2").json()["strokes"] == {
        "since_fit": 80_000,
        "since_rework": None,
        "since_new": None,
    }


def test_a_service_of_a_press(plant):
    enter(plant, {"type": "service", "press": PRESS, "at": T.format(4)})
    (event,) = plant.get("/tool-events", params={"press": PRESS}).json()["items"]
    assert (event["serial"], event["position"], event["press_strokes"]) == (PRESS, "press", 40_000)


def test_the_ledger_by_press_serial_and_window(plant):
    enter(plant, fit("R1", 1), pull("R1", 5), fit("R2", 1, press=OTHER))
    read = lambda **params: plant.get("/tool-events", params=params).json()["items"]  # noqa: E731
    assert len(read()) == 3
    assert [one["type"] for one in read(serial="R1")] == ["fit", "pull"]
    assert [one["serial"] for one in read(press=OTHER)] == ["R2"]
    assert len(read(**{"from": T.format(1), "to": T.format(5)})) == 2
    wrong = plant.get("/tool-events", params={"from": T.format(5), "to": T.format(1)})
    assert (wrong.status_code, errors(wrong)) == (422, ["from"])
    seen, cursor = [], None
    while True:
        params = {"limit": 1} | ({"cursor": cursor} if cursor else {})
        page = plant.get("/tool-events", params=params).json()
        seen += page["items"]
        cursor = page["next"]
        if cursor is None:
            break
    assert seen == read()


def test_roles_of_the_ledger(plant):
    assert plant.post("/tool-events", fit("R1", 1), role="viewer").status_code == 403
    assert plant.post("/tool-events", fit("R1", 1), role=None).status_code == 401
    assert plant.post("/tools", {"serial": "X", "kind": "punch"}, role="viewer").status_code == 403
    good = {"serial": "R1", "at": T.format(1), "verdict": "good"}
    assert plant.post("/inspections", good, role="viewer").status_code == 403
    assert plant.get("/tools", role="viewer").status_code == 200


def test_a_tool_is_registered_once(plant):
    ring = {"serial": "R7", "kind": "ironing-ring", "batch": "B1", "size_mm": 66.1, "note": "n"}
    made = plant.post("/tools", ring, role="crew")
    assert (made.status_code, made.json()["state"]) == (201, "shelf")
    assert plant.post("/tools", ring, role="crew").status_code == 200
    assert plant.post("/tools", ring | {"batch": "B2"}, role="crew").status_code == 409
    for change, field in (
        ({"kind": "wheel"}, "kind"),
        ({"kind": "press"}, "kind"),
        ({"serial": "a b"}, "serial"),
        ({"size_mm": -1}, "size_mm"),
        ({"size_mm": "big"}, "size_mm"),
    ):
        answer = plant.post("/tools", ring | {"serial": "R8"} | change, role="crew")
        assert (answer.status_code, errors(answer)) == (422, [field])
    assert plant.get("/tools/R8").status_code == 404


def test_tools_by_kind_press_and_state(plant):
    enter(plant, fit("R1", 1))
    read = lambda **params: [  # noqa: E731
        tool["serial"] for tool in plant.get("/tools", params=params).json()["items"]
    ]
    assert read() == ["P1", "R1", "R2"]
    assert read(kind="ironing-ring") == ["R1", "R2"]
    assert read(press=PRESS) == ["R1"]
    assert read(state="shelf", kind="ironing-ring") == ["R2"]
    assert plant.get("/tools", params={"state": "lost"}).status_code == 422
    first = plant.get("/tools", params={"limit": 2}).json()
    rest = plant.get("/tools", params={"limit": 2, "cursor": first["next"]}).json()
    assert [tool["serial"] for tool in first["items"] + rest["items"]] == ["P1", "R1", "R2"]
    assert rest["next"] is None


def test_a_tool_without_a_size_that_is_asked_for_waits_on_the_bench(plant):
    size = {"size_mm": 66.1, "size_tolerance_mm": 0.01}
    assert plant.put("/positions/ring-3", size, role="engineer").status_code == 200
    made = plant.post("/tools", {"serial": "R9", "kind": "ironing-ring"}, role="crew").json()
    assert made["state"] == "bench"
    assert "size" in made["warnings"][0]
    answer = plant.post("/tool-events", fit("R9", 1), role="crew").json()
    assert "not on record" in answer["warnings"][0]


def test_inspections_are_entered_once_and_listed(plant):
    enter(plant, fit("R1", 2))
    reading = {
        "id": "reading-1",
        "serial": "R1",
        "at": T.format(4),
        "quantity": "bore",
        "value": 3.5,
        "unit": "um",
        "limit": 6,
    }
    made = plant.post("/inspections", reading, role="crew")
    assert made.status_code == 201
    assert (made.json()["press"], made.json()["press_strokes"]) == (PRESS, 40_000)
    assert made.json()["limit"] == 6
    assert plant.post("/inspections", reading, role="crew").status_code == 200
    assert plant.post("/inspections", reading | {"value": 3.6}, role="crew").status_code == 409
    good = {"serial": "R1", "at": T.format(5), "verdict": "good"}
    assert plant.post("/inspections", good, role="crew").status_code == 201
    fixed = {"serial": "R1", "at": T.format(5), "verdict": "worn", "id": "fixed"}
    fixed["corrects"] = plant.get("/inspections").json()["items"][1]["id"]
    assert plant.post("/inspections", fixed, role="crew").status_code == 201
    items = plant.get("/inspections", params={"serial": "R1", "press": PRESS}).json()["items"]
    assert [one["verdict"] for one in items] == [None, "good", "worn"]
    assert [one["corrected_by"] for one in items] == [None, "fixed", None]
    window = {"from": T.format(5), "to": T.format(6), "limit": 1}
    page = plant.get("/inspections", params=window).json()
    assert page["items"][0]["verdict"] == "good"
    assert page["next"] is not None
    plant.put("/positions/ring-3", {"quantity": "bore", "unit": "um", "limit": 6})
    odd = {"serial": "R1", "at": T.format(6), "quantity": "bore", "value": 0.003, "unit": "mm"}
    warned = plant.post("/inspections", odd, role="crew").json()["warnings"]
    assert warned == ["ring-3 has its limit in um, this is in mm"]
    loose = plant.post("/inspections", {"serial": "R2", "at": T.format(5), "verdict": "good"})
    assert "no press" in loose.json()["warnings"][0]


WRONG_INSPECTIONS = [
    ({"serial": "R9"}, "serial"),
    ({"at": "2026-04-01T00:00:00Z"}, "at"),
    ({"verdict": "fine"}, "verdict"),
    ({"verdict": None}, "verdict"),
    ({"verdict": None, "quantity": "bore", "unit": "um"}, "value"),
    ({"value": 1}, "quantity"),
    ({"value": 1, "quantity": "bore"}, "unit"),
    ({"value": "one"}, "value"),
    ({"value": 2e9, "quantity": "bore", "unit": "um"}, "value"),
    ({"value": 1, "quantity": "bore", "unit": "um", "limit": 0}, "limit"),
    ({"value": 1, "quantity": "bore", "unit": "um", "limit": 1e-7}, "limit"),
    ({"void": True}, "corrects"),
]


def test_an_inspection_with_a_wrong_field_is_422(plant):
    for change, field in WRONG_INSPECTIONS:
        body = {"serial": "R1", "at": T.format(5), "verdict": "good"} | change
        answer = plant.post("/inspections", body, role="crew")
        assert (answer.status_code, errors(answer)) == (422, [field]), change

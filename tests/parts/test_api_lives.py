"""Past lives over HTTP: taken in once, taken back, listed with the ledger's own."""

from __future__ import annotations

import pytest

from store.unit import connect
from tests.support.ledgers import TOOLS
from tests.support.plant import Plant, made

PRESS = "works/1/01"
LIFE = {
    "serial": "IR21-0077",
    "kind": "ironing-ring",
    "position": "ring-3",
    "press": PRESS,
    "batch": "IR-2101",
    "strokes": 31_400_000,
    "strokes_low": 28_900_000,
    "end": "worn",
    "ended_at": "2025-11-18T09:00:00+01:00",
    "mean_speed_mps": 10.9,
}


@pytest.fixture
def fit_id(api):
    """A press that ran ten hours with a ring in it from the first hour on: the fit's id."""
    with connect(api.database_url) as conn:
        plant = Plant(conn)
        plant.press(PRESS)
        plant.steady(PRESS, 10)
        plant.tools(*TOOLS)
        event = made("fit", "R1", 1, press=PRESS, position="ring-3")
        plant.enter(event)
    return str(event.id)


def send(api, *lives, role="engineer"):
    return api.post("/lives", {"lives": list(lives)}, role=role)


def listed(api, **params):
    return api.get("/lives", params=params).json()["items"]


def errors(answer):
    return [error["field"] for error in answer.json().get("errors", [])]


def test_a_life_sent_twice_counts_once(api):
    first = send(api, LIFE, LIFE)
    assert first.status_code == 201
    again = send(api, LIFE)
    assert again.status_code == 200
    assert send(api, LIFE | {"entry_strokes": None}).status_code == 200
    (life,) = listed(api)
    assert life == first.json()["lives"][0] == again.json()["lives"][0]
    assert (life["source"], life["ended_at"]) == ("imported", "2025-11-18T08:00:00Z")
    assert (life["entry_strokes"], life["entry_strokes_low"]) == (0, None)


def test_a_life_with_an_id_of_its_own(api):
    assert send(api, LIFE | {"id": "card-17"}).status_code == 201
    assert send(api, LIFE | {"id": "card-17"}).status_code == 200
    other = send(api, LIFE, LIFE | {"id": "card-17", "end": "broken"})
    assert (other.status_code, errors(other)) == (409, ["id"])
    assert [life["id"] for life in listed(api)] == ["card-17"]


def test_lives_are_taken_in_all_or_nothing(api):
    answer = send(api, LIFE, LIFE | {"strokes": -3})
    assert (answer.status_code, errors(answer)) == (422, ["lives[1].strokes"])
    assert listed(api) == []


WRONG = [
    ({"strokes_low": 31_400_000}, "strokes_low"),
    ({"entry_strokes": 40_000_000}, "strokes"),
    ({"entry_strokes": 5, "entry_strokes_low": 6}, "entry_strokes_low"),
    ({"end": "tired"}, "end"),
    ({"position": "ring-9"}, "position"),
    ({"kind": "punch"}, "kind"),
    ({"press": "works"}, "press"),
    ({"mean_speed_mps": 51}, "mean_speed_mps"),
    ({"serial": "no good"}, "serial"),
    ({"strokes": "many"}, "strokes"),
    ({"ended_at": "2025-11-18"}, "ended_at"),
]


def test_a_wrong_field_is_422_and_named(api):
    for change, field in WRONG:
        answer = send(api, LIFE | change)
        assert (answer.status_code, errors(answer)) == (422, [f"lives[0].{field}"]), change


def test_the_list_holds_imported_lives_and_the_ledgers_own(api, fit_id):
    send(api, LIFE, LIFE | {"kind": "punch", "position": "punch"})
    ring = {life["source"]: life for life in listed(api, kind="ironing-ring", position="ring-3")}
    assert ring.keys() == {"ledger", "imported"}
    assert ring["ledger"]["id"] == fit_id
    assert (ring["ledger"]["end"], ring["ledger"]["strokes"]) == ("running", 90_000)
    assert len(listed(api)) == 3
    first = api.get("/lives", params={"limit": 2}).json()
    rest = api.get("/lives", params={"limit": 2, "cursor": first["next"]}).json()
    assert first["items"] + rest["items"] == listed(api)


def test_a_running_life_of_a_tool_that_sits_in_a_press_is_warned_of(api, fit_id):
    running = LIFE | {"serial": "R1", "end": "running", "ended_at": None}
    answer = send(api, running, LIFE)
    assert answer.status_code == 201
    (warning,) = answer.json()["warnings"]
    assert "R1" in warning


def test_a_wrong_life_is_taken_back_and_may_come_again(api, fit_id):
    life_id = send(api, LIFE).json()["lives"][0]["id"]
    assert api.delete(f"/lives/{life_id}", role="engineer").status_code == 204
    assert api.delete(f"/lives/{life_id}", role="engineer").status_code == 404
    assert [life["source"] for life in listed(api)] == ["ledger"]
    assert send(api, LIFE).status_code == 201
    assert len(listed(api)) == 2


def test_a_life_of_the_ledger_is_corrected_there(api, fit_id):
    answer = api.delete(f"/lives/{fit_id}", role="engineer")
    assert answer.status_code == 409
    assert "ledger" in answer.json()["detail"]


def test_only_an_engineer_sends_lives(api):
    assert send(api, LIFE, role="crew").status_code == 403
    assert api.delete("/lives/x", role="crew").status_code == 403
    assert send(api).status_code == 422

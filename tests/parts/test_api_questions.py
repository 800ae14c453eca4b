"""Readings over HTTP: what they ask, what they carry, and figures that moved."""

from __future__ import annotations

import pytest

from store.unit import connect
from tests.support.plant import Plant

PRESS = "works/1/01"
T = "2026-01-01T{:02}:00:00Z"


@pytest.fixture
def plant(api):
    """One press that ran, a ring in it, and a limit of 6 um."""
    with connect(api.database_url) as conn:
        made = Plant(conn)
        made.press(PRESS)
        made.steady(PRESS, 12)
    api.put("/positions/ring-3", {"quantity": "bore", "unit": "um", "limit": 6})
    for serial in ("R1", "R2"):
        api.post("/tools", {"serial": serial, "kind": "ironing-ring"})
    fit = {"type": "fit", "serial": "R1", "at": T.format(1), "press": PRESS, "position": "ring-3"}
    assert api.post("/tool-events", fit, role="crew").status_code == 201
    return api


def read(api, hour, value, **more):
    body = {"id": f"r{hour}", "serial": "R1", "at": T.format(hour), "value": value}
    answer = api.post("/inspections", body | {"quantity": "bore", "unit": "um"} | more, role="crew")
    assert answer.status_code == 201, answer.text
    return answer.json()


def test_a_thousandth_of_the_last_reading_is_warned_of_with_both_and_asked(plant):
    assert read(plant, 3, 5.8)["warnings"] == []
    made = read(plant, 5, 0.006)
    (words,) = made["warnings"]
    assert "0.006 um" in words
    assert "5.8 um" in words
    assert made["share"] is None
    (asked,) = plant.get("/questions", params={"open": True}).json()["items"]
    assert (asked["kind"], asked["inspection"], asked["against"]) == ("implausible", "r5", "r3")
    assert (asked["press"], asked["position"], asked["words"]) == (PRESS, "ring-3", words)


def test_a_first_reading_is_held_against_the_limit(plant):
    (words,) = read(plant, 3, 0.006)["warnings"]
    assert "0.006 um" in words
    assert "6 um" in words
    assert plant.get("/questions").json()["items"] == []


def test_a_question_is_answered_by_the_crew(plant):
    read(plant, 3, 5.0)
    read(plant, 5, 0.4)
    (asked,) = plant.get("/questions", params={"serial": "R1"}).json()["items"]
    path, answer = f"/questions/{asked['id']}/close", {"reason": "read on another ring"}
    assert plant.post(path, answer, role="viewer").status_code == 403
    assert plant.post(path, {}, role="crew").json()["errors"][0]["field"] == "reason"
    closed = plant.post(path, answer, role="crew")
    assert closed.status_code == 200
    assert (closed.json()["closed_by"], closed.json()["reason"]) == ("crew", answer["reason"])
    assert plant.post(path, answer, role="crew").status_code == 200
    assert plant.post(path, {"reason": "else"}, role="crew").status_code == 409
    assert plant.post(f"/questions/{'0' * 32}/close", answer, role="crew").status_code == 404
    assert plant.get("/questions", params={"open": True}).json()["items"] == []
    assert len(plant.get("/questions", params={"open": False}).json()["items"]) == 1
    assert plant.get("/questions", params={"press": "works/1/09"}).json()["items"] == []


def test_questions_come_in_pages(plant):
    for hour, value in ((2, 5.0), (3, 0.4), (4, 5.0), (5, 0.4), (6, 5.0), (7, 0.4)):
        read(plant, hour, value)
    seen, cursor = [], None
    while True:
        params = {"limit": 1} | ({"cursor": cursor} if cursor else {})
        page = plant.get("/questions", params=params).json()
        seen += [item["inspection"] for item in page["items"]]
        cursor = page["next"]
        if cursor is None:
            break
    assert sorted(seen) == ["r3", "r5", "r7"]


def test_a_reading_carries_its_uncertainty_and_its_share(plant):
    made = read(plant, 3, 5.7, uncertainty=0.5)
    assert (made["uncertainty"], made["of_set"]) == (0.5, False)
    assert made["share"] == pytest.approx(0.95)
    assert "neither in nor out" in made["warnings"][0]
    for change, field in (
        ({"uncertainty": -1}, "uncertainty"),
        ({"uncertainty": "some"}, "uncertainty"),
        ({"value": None, "quantity": None, "unit": None, "uncertainty": 1}, "value"),
    ):
        body = {"serial": "R1", "at": T.format(4), "quantity": "bore", "value": 1, "unit": "um"}
        body |= {"verdict": "good"} | change
        answer = plant.post("/inspections", body, role="crew")
        assert (answer.status_code, answer.json()["errors"][0]["field"]) == (422, field)


def test_a_wall_is_a_reading_of_the_set(plant):
    made = read(plant, 3, 79, quantity="wall", limit=78)
    assert (made["of_set"], made["share"]) == (True, None)
    assert "several tools" in made["warnings"][0]
    (item,) = plant.get("/inspections", params={"serial": "R1"}).json()["items"]
    assert item["of_set"] is True
    assert plant.get("/tools/R1").json()["inspections"][0]["of_set"] is True


def test_a_tool_tells_every_figure_that_moved_and_why(plant):
    (fit,) = plant.get("/tool-events").json()["items"]
    fixed = {name: fit[name] for name in ("type", "serial", "press", "position")}
    fixed |= {"at": T.format(3), "corrects": fit["id"], "note": "it was the morning"}
    plant.clock.at = plant.clock.at.replace(hour=13)
    made = plant.post("/tool-events", fixed, role="crew")
    assert made.status_code == 201
    (move,) = plant.get("/tools/R1").json()["moves"]
    assert (move["figure"], move["was"], move["became"]) == ("strokes", 110_000, 90_000)
    assert (move["cause"], move["cause_id"], move["by"]) == (
        "correction",
        made.json()["id"],
        "crew",
    )
    assert move["id"] == made.json()["id"]
    assert "it was the morning" in move["reason"]

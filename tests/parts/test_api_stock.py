"""Spares over HTTP: what is held follows from events; what will be wanted from forecasts."""

from __future__ import annotations

import uuid

import pytest

from store.unit import connect
from tests.support.plant import Plant

PRESSES = ("works/1/01", "works/1/02")
NOW = "2026-03-01T12:00:00Z"
"""What the API's clock shows."""


@pytest.fixture
def plant(api):
    """Two presses with a ring 3 each; one ring on the shelf, one out, one on the bench."""
    with connect(api.database_url) as conn:
        made = Plant(conn)
        for press in PRESSES:
            made.press(press)
            made.steady(press, 10)
    for serial in ("R1", "R2", "R3", "R4", "R5"):
        body = {"serial": serial, "kind": "ironing-ring", "size_mm": 66.1}
        assert api.post("/tools", body, role="crew").status_code == 201
    for serial, press in (("R1", PRESSES[0]), ("R2", PRESSES[1])):
        enter(
            api,
            type="fit",
            serial=serial,
            at="2026-01-01T01:00:00Z",
            press=press,
            position="ring-3",
        )
    send(api, "R4", "2026-01-02", "2026-03-10")
    enter(
        api, type="fit", serial="R5", at="2026-01-02T01:00:00Z", press=PRESSES[0], position="ring-1"
    )
    enter(api, type="pull", serial="R5", at="2026-01-02T02:00:00Z", reason="other")
    return api


def enter(api, **event):
    answer = api.post("/tool-events", {"id": str(uuid.uuid4())} | event, role="crew")
    assert answer.status_code == 201, answer.text


def send(api, serial, day, back):
    """Through a press and out for rework, promised for a day."""
    place = {"press": PRESSES[0], "position": "ring-2"}
    enter(api, type="fit", serial=serial, at=f"{day}T01:00:00Z", **place)
    enter(api, type="pull", serial=serial, at=f"{day}T02:00:00Z", reason="worn")
    enter(api, type="send", serial=serial, at=f"{day}T03:00:00Z", back_at=f"{back}T00:00:00Z")


def rings(api):
    items = api.get("/stock").json()["items"]
    return next(item for item in items if item["kind"] == "ironing-ring")


def test_what_is_held_follows_from_the_events(plant):
    held = rings(plant)
    assert [tool["serial"] for tool in held["shelf"]] == ["R3"]
    assert [tool["serial"] for tool in held["bench"]] == ["R5"]
    [out] = held["out"]
    assert (out["serial"], out["back_at"], out["back_by_90"]) == (
        "R4",
        "2026-03-10T00:00:00Z",
        None,
    )
    assert out["sent_at"] == "2026-01-02T03:00:00Z"
    assert (held["lead_days"], held["on_order"], held["usual_lateness"]) == (None, [], None)


def test_every_kind_that_a_position_takes_is_listed(plant):
    kinds = [item["kind"] for item in plant.get("/stock").json()["items"]]
    assert kinds == sorted(kinds)
    assert {"punch", "redraw-die", "ironing-ring", "stripper", "dome-die"} <= set(kinds)
    assert "press" not in kinds
    first = plant.get("/stock", params={"limit": 2}).json()
    rest = plant.get("/stock", params={"limit": 100, "cursor": first["next"]}).json()
    assert [item["kind"] for item in first["items"] + rest["items"]] == kinds


def test_what_the_plant_says_stays_until_it_says_otherwise(plant):
    order = {"quantity": 2, "size_mm": 66.1, "due_at": "2026-03-20T00:00:00Z"}
    first = plant.put(
        "/stock/ironing-ring", {"lead_days": 70, "on_order": [order]}, role="engineer"
    )
    assert first.status_code == 201
    again = plant.put("/stock/ironing-ring", {"lead_days": 63}, role="engineer")
    assert (again.status_code, again.json()["on_order"]) == (200, [order])
    assert rings(plant)["lead_days"] == 63
    assert rings(plant)["entered_by"] == "engineer"


def test_what_is_wrong_is_refused_by_field(plant):
    wrong = [("/stock/spanner", {}, "kind"), ("/stock/punch", {"lead_days": -1}, "lead_days")]
    wrong.append(("/stock/punch", {"on_order": [{"quantity": 0}]}, "on_order[0].quantity"))
    for path, body, field in wrong:
        answer = plant.put(path, body, role="engineer")
        assert answer.status_code == 422, answer.text
        assert field in [error["field"] for error in answer.json()["errors"]]
    assert plant.put("/stock/punch", {}, role="crew").status_code == 403
    answer = plant.get("/demand", params={"weeks": 27})
    assert [error["field"] for error in answer.json()["errors"]] == ["weeks"]


def test_usual_lateness_needs_five_promises(plant):
    for number in range(6):
        serial = f"S{number}"
        body = {"serial": serial, "kind": "ironing-ring", "size_mm": 66.1}
        assert plant.post("/tools", body, role="crew").status_code == 201
        day = f"2026-01-{3 + number:02}"
        send(plant, serial, day, "2026-02-01")
        late = f"2026-02-{1 + number:02}T00:00:00Z"
        enter(plant, type="rework", serial=serial, at=late, size_mm=66.2)
    usual = rings(plant)["usual_lateness"]
    assert usual == {"reworks": 6, "median_days": 2.5, "days_90": 4.5}
    [out] = rings(plant)["out"]
    assert out["back_by_90"] == "2026-03-14T12:00:00Z"


def test_wanted_by_week_against_shelf_rework_and_orders(plant, foretell):
    order = {"quantity": 2, "due_at": "2026-03-20T00:00:00Z"}
    plant.put("/stock/ironing-ring", {"on_order": [order]}, role="engineer")
    for press in PRESSES:
        foretell("ring-3", 14, press=press, kind="ironing-ring", spread=14)
    answer = plant.get("/demand", params={"kind": "ironing-ring", "weeks": 4}).json()
    [item] = answer["items"]
    assert (item["kind"], item["size_mm"], item["positions"]) == ("ironing-ring", None, ["ring-3"])
    assert (item["tools"], item["without_range"]) == (2, 0)
    assert item["shelf"] == ["R3"]
    assert item["weeks"][0]["from"] == NOW
    by_then = [week["wanted_by_then"]["expected"] for week in item["weeks"]]
    assert by_then == pytest.approx([0.5, 1.0, 1.5, 2.0], abs=0.01)
    assert [week["wanted_by_then"]["level_90"] for week in item["weeks"]] == [1, 2, 2, 2]
    assert [week["back_by_then"] for week in item["weeks"]] == [0, 1, 1, 1]
    assert [week["ordered_by_then"] for week in item["weeks"]] == [0, 0, 2, 2]

"""Shifts of a site over HTTP."""

from __future__ import annotations

import pytest

PLAN = {
    "timezone": "Europe/London",
    "shifts": [{"from": "06:00", "to": "18:00"}, {"from": "18:00", "to": "06:00"}],
    "rota": {"from": "2026-02-28", "crews": [["Alder", "Birch"], ["Cedar", "Damson"]]},
}


def test_a_plan_is_kept_and_says_which_shift_it_is(api):
    assert api.get("/shifts").json() == {"items": [], "next": None}
    assert api.put("/shifts/works", PLAN, role="engineer").status_code == 201
    assert api.put("/shifts/works", PLAN, role="engineer").status_code == 200
    [plan] = api.get("/shifts").json()["items"]
    assert (plan["site"], plan["timezone"], plan["rota"]) == (
        "works",
        "Europe/London",
        PLAN["rota"],
    )
    assert plan["shifts"][0]["days"] == ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
    assert plan["now"] == {
        "from": "2026-03-01T06:00:00Z",
        "to": "2026-03-01T18:00:00Z",
        "crew": "Cedar",
    }
    assert (plan["before"]["crew"], plan["after"]["crew"]) == ("Birch", "Damson")
    assert plan["entered_by"] == "engineer"


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"timezone": "Mars/Olympus"}, "timezone"),
        ({"shifts": [{"from": "25:00", "to": "06:00"}], "rota": None}, "shifts[0].from"),
        ({"rota": {"from": "2026-02-30", "crews": [["A", "B"]]}}, "rota.from"),
        ({"rota": {"from": "2026-02-28", "crews": [["A"]]}}, "rota.crews[0]"),
    ],
)
def test_what_is_wrong_is_refused_by_field(api, change, field):
    answer = api.put("/shifts/works", PLAN | change, role="engineer")
    assert answer.status_code == 422, answer.text
    assert field in [error["field"] for error in answer.json()["errors"]]
    assert api.get("/shifts").json()["items"] == []

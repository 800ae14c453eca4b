"""Forecasts and life models over HTTP, made by the engine's own round on the same database."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from duestroke.times import format_time
from engine.cycle import Forecaster
from store.unit import Unit, connect
from tests.support.plants import fit_tool, register, report, steady

PRESS, OTHER = "works/1/01", "works/1/02"
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


@pytest.fixture
def plant(api, clock):
    """Two presses that ran for forty days, with tools from the start, and one forecast round."""
    clock.at = NOW
    with connect(api.database_url) as conn:
        with Unit(conn) as unit:
            for press in (PRESS, OTHER):
                register(unit, press)
                report(unit, press, steady(40, every_minutes=240))
            begin = NOW - timedelta(days=40)
            fit_tool(unit, "PU-1", PRESS, "punch", begin)
            fit_tool(unit, "IR-1", PRESS, "ring-3", begin)
            fit_tool(unit, "IR-2", OTHER, "ring-3", begin)
            unit.commit()
        life = {"serial": "OLD-1", "kind": "ironing-ring", "position": "ring-3"}
        lives = [life | {"strokes": 20e6 + 3e6 * n, "end": "broken"} for n in range(6)]
        assert api.post("/lives", {"lives": lives}, role="engineer").status_code == 201
        Forecaster().round(conn, NOW)
    return api


def errors(answer):
    return [error["field"] for error in answer.json().get("errors", [])]


def test_every_tool_that_is_in_has_a_forecast(plant):
    page = plant.get("/forecasts").json()
    assert page["next"] is None
    assert [(one["press"], one["position"]) for one in page["items"]] == [
        (PRESS, "punch"),
        (PRESS, "ring-3"),
        (OTHER, "ring-3"),
    ]
    for one in page["items"]:
        left, due = one["remaining_strokes"], one["due"]
        assert list(left) == list(due) == ["0.1", "0.5", "0.9"]
        assert 0 <= left["0.1"] <= left["0.5"] <= left["0.9"]
        assert format_time(NOW) <= due["0.1"] <= due["0.5"] <= due["0.9"]
        assert len(one["chance_before"]) == 3
        assert one["interval"] is None
        assert one["basis"]["wear"] is None
    rings = page["items"][1]
    assert (rings["basis"]["lives"], rings["basis"]["failures"]) == (8, 6)


def test_forecasts_by_press_and_position(plant):
    read = lambda **params: [  # noqa: E731
        one["serial"] for one in plant.get("/forecasts", params=params).json()["items"]
    ]
    assert read(press=OTHER) == ["IR-2"]
    assert read(position="ring-3") == ["IR-1", "IR-2"]
    assert read(press=PRESS, position="dome-die") == []
    first = plant.get("/forecasts", params={"limit": 2}).json()
    rest = plant.get("/forecasts", params={"limit": 2, "cursor": first["next"]}).json()
    assert [one["serial"] for one in first["items"] + rest["items"]] == ["PU-1", "IR-1", "IR-2"]


def test_any_levels_in_shortest_form_and_in_order(plant):
    params = {"press": OTHER, "levels": "0.900,0.05,0.5,0.05,1e-2"}
    (one,) = plant.get("/forecasts", params=params).json()["items"]
    assert list(one["remaining_strokes"]) == ["0.01", "0.05", "0.5", "0.9"]
    values = list(one["remaining_strokes"].values())
    assert values == sorted(values)
    (plain,) = plant.get("/forecasts", params={"press": OTHER}).json()["items"]
    assert one["remaining_strokes"]["0.5"] == plain["remaining_strokes"]["0.5"]


def test_levels_that_are_none_or_too_many_are_422(api):
    many = ",".join(str(n / 1_000) for n in range(1, 101))
    for levels in (*["0", "1", "-0.1", "nan", "half", "", "0.1,,0.5", "0.1;0.2"], many):
        answer = api.get("/forecasts", params={"levels": levels})
        assert (answer.status_code, errors(answer)) == (422, ["levels"]), levels


def test_the_life_model_of_a_position(plant):
    model = plant.get("/life-models", params={"position": "ring-3"}).json()
    assert (model["kind"], model["lives"], model["failures"]) == ("ironing-ring", 8, 6)
    assert sum(model["families"].values()) == pytest.approx(1)
    median = model["median_life"]
    assert median["low"] < median["median"] < median["high"]
    assert model["b10"]["median"] < median["median"]
    assert model["items"][0]["fit"] == model["fit"]
    (forecast,) = plant.get("/forecasts", params={"press": OTHER}).json()["items"]
    assert forecast["basis"]["fit"] == model["fit"]
    both = {"kind": "ironing-ring", "position": "ring-3"}
    assert plant.get("/life-models", params=both).json() == model
    for curve in (model["step_curve"], model["model_curve"]):
        survival = [point["survival"] for point in curve]
        assert survival == sorted(survival, reverse=True)


def test_all_life_models_and_none(plant):
    page = plant.get("/life-models").json()
    places = [(model["kind"], model["position"]) for model in page["items"]]
    assert ("ironing-ring", "ring-3") in places
    assert places == sorted(places)
    first = plant.get("/life-models", params={"limit": 1}).json()
    rest = plant.get("/life-models", params={"limit": 100, "cursor": first["next"]}).json()
    assert len(first["items"] + rest["items"]) == len(places)
    assert plant.get("/life-models", params={"position": "ring-9"}).status_code == 404


def test_without_an_engine_there_is_nothing_and_no_fault(api):
    assert api.get("/forecasts").json() == {"items": [], "next": None}
    assert api.get("/life-models").json() == {"items": [], "next": None}
    assert api.get("/forecasts", role=None).status_code == 401

"""How forecasts came out, over HTTP: scores made by the engine's own scorer."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta

import pytest

from duestroke.ledger import ToolEvent
from engine.cycle import Forecaster
from engine.scoring import score_lives
from store.unit import Unit, connect
from tests.support.plants import fit_tool, register, report, steady

PRESSES = [f"works/1/{n:02}" for n in range(1, 9)]
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
BEGIN = NOW - timedelta(days=60)


@pytest.fixture
def plant(api, clock):
    """Eight presses with a ring each, all broken 21 to 56 days after their one forecast."""
    clock.at = NOW
    with connect(api.database_url) as conn:
        readings = steady(60, every_minutes=480)
        with Unit(conn) as unit:
            register(unit, *PRESSES)
            for number, press in enumerate(PRESSES):
                report(unit, press, readings[: 3 * 3 + 1])
                fit_tool(unit, f"IR-{number}", press, "ring-3", BEGIN)
            unit.commit()
        Forecaster().round(conn, BEGIN + timedelta(days=3))
        with Unit(conn) as unit:
            for number, press in enumerate(PRESSES):
                report(unit, press, readings[3 * 3 + 1 :])
                at = BEGIN + timedelta(days=24 + 5 * number)
                pull = ToolEvent(
                    id=uuid.uuid4(), type="pull", serial=f"IR-{number}", at=at, reason="broken"
                )
                unit.ledger.record([pull], by="test", now=NOW)
            score_lives(unit, NOW, 100)
            unit.commit()
    return api


def test_coverage_scores_and_words(plant):
    told = plant.get("/forecasts/score").json()
    assert (told["source"], told["n"], told["lives"]) == ("live", 8, 8)
    assert told["outcomes"] == {"exact": 8, "interval": 0, "censored": 0, "running": 0}
    assert told["scored_at"] == "2026-06-01T12:00:00Z"
    for nominal in ("0.8", "0.9"):
        inside = told["coverage"][nominal]
        assert 0 <= inside["low"] < inside["share"] <= inside["high"] <= 1
        assert inside["share"] + inside["below"] + inside["above"] == pytest.approx(1)
        assert inside["mean_width"] > 0
        assert told["due_coverage"][nominal]["share"] == pytest.approx(inside["share"], abs=0.3)
    assert told["crps"] > 0
    assert told["skill"] == pytest.approx(1 - told["crps"] / told["crps_handbook_rule"])
    assert told["chance_before"]["n"] == 8
    assert sum(cell["n"] for cell in told["chance_before"]["cells"]) == 8
    assert told["chance_before"]["base_rate"] == 0, "nothing broke in the first week"
    assert len(told["pit"]["cells"]) == 10
    assert told["pit"]["uniformity"] is None
    assert "only 8 lives have ended so far" in told["words"][0]
    (place,) = told["places"]
    assert (place["kind"], place["position"], place["n"]) == ("ironing-ring", "ring-3", 8)
    assert place["coverage"] == told["coverage"]


def test_by_place_and_source(plant):
    assert plant.get("/forecasts/score", params={"position": "ring-3"}).json()["n"] == 8
    none = plant.get("/forecasts/score", params={"kind": "punch"}).json()
    assert (none["n"], none["crps"], none["places"]) == (0, None, [])
    assert none["coverage"]["0.8"]["share"] is None
    assert none["words"] == ["no forecast has been scored yet"]
    made_again = plant.get("/forecasts/score", params={"source": "backtest"}).json()
    assert (made_again["n"], made_again["scored_at"]) == (0, None)
    wrong = plant.get("/forecasts/score", params={"source": "guess"})
    assert wrong.status_code == 422
    assert wrong.json()["errors"][0]["field"] == "source"
    assert plant.get("/forecasts/score", role=None).status_code == 401

"""Read-outs of a place and what-if over HTTP, from the engine's own fit on the same database."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from engine.cycle import Forecaster
from store.unit import Unit, connect
from tests.support.plants import fit_tool, register, report, steady

PRESS, OTHER = "works/1/01", "works/2/02"
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
PLACE = {"kind": "ironing-ring", "position": "ring-3"}


def past_lives() -> list[dict[str, object]]:
    """Forty rings of two lines: line 2 runs slower and pulls at 30 M; every tenth breaks."""
    rng = np.random.default_rng(7)
    lives = []
    for n in range(40):
        line, wear = 1 + n % 2, 35e6 * float(np.exp(0.25 * rng.standard_normal()))
        speed = (11.4 if line == 1 else 10.4) * float(np.exp(0.01 * rng.standard_normal()))
        wear *= (11 / speed) ** 1.3
        one = PLACE | {"serial": f"IR-{n:03d}", "press": f"works/{line}/0{1 + n % 3}"}
        one |= {"batch": f"B{n % 4}", "mean_speed_mps": round(speed, 4)}
        one |= {"ended_at": f"2026-0{1 + n % 5}-{1 + n % 27:02d}T06:00:00Z"}
        if n % 10 == 3:
            one |= {"strokes": round(wear * 0.3), "end": "broken"}
        elif line == 2 and wear > 30e6:
            one |= {"strokes": 30_000_000, "end": "planned"}
        else:
            one |= {"strokes": round(wear), "end": "worn", "strokes_low": round(wear - 2e6)}
        lives.append(one | {"id": f"past-{n}"})
    return lives


@pytest.fixture
def plant(api, clock):
    """Two presses with a ring each, forty past lives, and one round of the engine."""
    clock.at = NOW
    with connect(api.database_url) as conn:
        with Unit(conn) as unit:
            for press in (PRESS, OTHER):
                register(unit, press)
                report(unit, press, steady(40, every_minutes=240))
                fit_tool(unit, f"NOW-{press[-1]}", press, "ring-3", NOW - timedelta(days=40))
            unit.commit()
        sent = {"lives": past_lives()}
        assert api.post("/lives", sent, role="engineer").status_code == 201
        Forecaster().round(conn, NOW)
    return api


def model(plant, **params):
    answer = plant.get("/life-models", params={"position": "ring-3"} | params)
    assert answer.status_code == 200, answer.text
    return answer.json()


def errors(answer):
    return [error["field"] for error in answer.json().get("errors", [])]


def test_a_place_with_all_its_read_outs(plant):
    """One fixture serves all: the fit and the database are what takes the time."""
    base = model(plant)
    assert "curves" not in base["items"][0]
    assert base["curves"] is None
    assert base["surprises"] is None
    _check_lines(base)
    _check_effects(base)
    whole = model(
        plant,
        **{
            "with": "curves,goodness_of_fit,likelihood_ratio_bounds,regression,surprises,pulls",
        },
    )
    assert {name: whole[name] for name in ("fit", "by_line", "b10")} == {
        name: base[name] for name in ("fit", "by_line", "b10")
    }
    _check_curves(whole)
    _check_more(whole)
    assert len(json.dumps(base)) < 200_000
    again = model(plant, **{"with": "surprises"})
    assert again["surprises"] == whole["surprises"]


def _check_lines(base) -> None:
    lines = {line["line"]: line for line in base["by_line"]}
    assert set(lines) == {"works/1", "works/2"}
    assert lines["works/1"]["mean_speed_mps"] == pytest.approx(11.4, abs=0.1)
    # 20 past rings and the one that runs now.
    assert [line["lives"] for line in lines.values()] == [21, 21]
    for line in lines.values():
        median = line["median_life"]
        assert median["low"] < median["median"] < median["high"]
    pulled = lines["works/2"]["planned_pulls"]
    assert pulled["pulls"] > 5
    assert pulled["with_reading"] == 0


def _check_effects(base) -> None:
    effects = base["effects"]
    assert set(effects) == {"rate", "life_number", "roughness"}
    assert effects["rate"]["known"] is (effects["rate"]["interval"] is not None)
    assert effects["roughness"]["words"] == "not known from these records"
    batches = base["groups"]["batch"]["groups"]
    assert [one["label"] for one in batches] == ["B0", "B1", "B2", "B3"]
    assert sum(one["lives"] for one in batches) == 40
    assert all(one["needed"]["1.5"] < (one["needed"]["1.25"] or 501) for one in batches)
    assert base["modes"]["sudden"] == 4
    assert base["most_likely"]["weibull"]["parameters"]["b50"]["low"] > 0


def _check_curves(whole) -> None:
    curves = whole["curves"]
    told = {each["mode"]: each for each in curves["incidence"]}
    ended = {mode: each["steps"][-1]["share"] for mode, each in told.items()}
    assert sum(ended.values()) == pytest.approx(1 - whole["step_curve"][-1]["survival"])
    hazard = [step["hazard"] for step in curves["hazard"]]
    assert hazard == sorted(hazard)
    heights = [point["weibull"] for point in curves["probability_plot"]["points"]]
    assert heights == sorted(heights)
    line = curves["probability_plot"]["line"]
    assert [p["share"] for p in line] == sorted(p["share"] for p in line)


def _check_more(whole) -> None:
    fits = whole["goodness_of_fit"]["by_mode"]["all"]
    assert all(0 < found["chance"] <= 1 for found in fits.values())
    wald = whole["most_likely"]["weibull"]["parameters"]["b50"]
    ratio = whole["likelihood_ratio_bounds"]["weibull"]["b50"]
    assert ratio["estimate"] == wald["estimate"]
    assert ratio["low"] < wald["estimate"] < ratio["high"]
    assert set(whole["regression"]["effects"]) == {"rate"}
    surprises = whole["surprises"]
    assert surprises["looked_at"] == 40
    assert len(surprises["last"]) == min(surprises["outside"], 20)
    assert all((one["chance"] < 0.1) == (one["side"] == "early") for one in surprises["last"])
    assert surprises["words"][0].endswith("are expected")
    pulls = whole["pulls"]["all"]
    assert 0 < pulls["median_share_left"] < 1
    assert pulls["planned_pulls"] == sum(
        line["planned_pulls"] for line in whole["pulls"]["by_line"]
    )


@pytest.mark.parametrize(
    ("params", "field"),
    [
        ({"position": "ring-3", "with": "everything"}, "with"),
        ({"position": "ring-3", "with": "curves,"}, "with"),
        ({"with": "curves"}, "with"),
    ],
    ids=["unknown", "empty", "no-position"],
)
def test_read_outs_that_there_are_none_of_are_422(api, params, field):
    answer = api.get("/life-models", params=params)
    assert (answer.status_code, errors(answer)) == (422, [field])


def test_what_if(plant):
    kept = plant.get("/life-models", params={"position": "ring-3"}).json()
    forecasts = plant.get("/forecasts").json()
    ask = lambda **change: plant.post("/life-models/what-if", PLACE | change, role="viewer")  # noqa: E731

    faster = ask(rate_factor=1.2).json()
    assert faster["changed"]["mean_speed_mps"] == pytest.approx(
        1.2 * faster["now"]["mean_speed_mps"], rel=1e-6
    )
    assert faster["difference"]["median_life"]["ratio"] < 1
    for tool in faster["tools"]:
        assert tool["difference"]["due_days"]["0.5"] < 0
    assert {tool["serial"] for tool in faster["tools"]} == {"NOW-1", "NOW-2"}

    slower = ask(strokes_per_day=100_000, press=PRESS).json()
    assert slower["difference"]["median_life"] == {"strokes": 0, "ratio": 1}
    (tool,) = slower["tools"]
    assert tool["difference"]["due_days"]["0.5"] > 0
    # The engine reckoned the forecast that stands from the same facts.
    (standing,) = (one for one in forecasts["items"] if one["press"] == PRESS)
    assert tool["now"]["remaining_strokes"] == pytest.approx(
        standing["remaining_strokes"], rel=0.02
    )

    broken = [life["id"] for life in past_lives() if life["end"] == "broken"]
    without = ask(leave_out=broken, serial="NOW-2").json()
    assert without["changed"]["lives"] == without["now"]["lives"] - len(broken)
    assert without["difference"]["b10"]["strokes"] > 0
    assert [one["serial"] for one in without["tools"]] == ["NOW-2"]

    doubted = ask(handbook_life=80e6, prior={"median_scale": 0.05}).json()
    assert doubted["difference"]["median_life"]["ratio"] > 1.03
    assert doubted["changed"]["handbook_life"] == 80e6

    assert plant.get("/life-models", params={"position": "ring-3"}).json() == kept
    assert plant.get("/forecasts").json() == forecasts


def test_a_what_if_that_cannot_be_names_the_field(plant):
    wrong = [
        ({}, "body"),
        ({"rate_factor": 0}, "rate_factor"),
        ({"rate_factor": 1.1, "strokes_per_day": 5e5}, "strokes_per_day"),
        ({"limit_factor": 1.5}, "limit_factor"),
        ({"leave_out": ["past-1", "none"]}, "leave_out"),
        ({"rate_factor": 1.1, "serial": "IR-000"}, "serial"),
        ({"rate_factor": 1.1, "press": "works/9/09"}, "press"),
        ({"prior": {"families": {"weibull": 0.5}}}, "prior.families"),
    ]
    for change, field in wrong:
        answer = plant.post("/life-models/what-if", PLACE | change, role="viewer")
        assert (answer.status_code, errors(answer)) == (422, [field]), change
    elsewhere = {"kind": "punch", "position": "ring-3", "rate_factor": 1.1}
    assert plant.post("/life-models/what-if", elsewhere).status_code == 404
    assert plant.post("/life-models/what-if", PLACE, role=None).status_code == 401

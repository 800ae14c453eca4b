"""Real life data of others, sent in as past lives and read off the model that the engine keeps.

Data sets of lifelines (MIT licence) and what lifelines and SurPyval both make of them:
tests/published/data/life_data_sets.json.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from engine.cycle import Forecaster
from store.unit import connect
from tests.parts.conftest import NOW

SETS = json.loads(
    (Path(__file__).parents[1] / "published" / "data" / "life_data_sets.json").read_text()
)["sets"]


def test_seven_data_sets_end_to_end(api):
    """Import, fit, read: the likeliest Weibull law of each is the one that others find (I1)."""
    for name, given in SETS.items():
        place = name.replace("_", "-")
        # Any unit will do: one of theirs is a stroke here.
        settings = {"kind": place, "handbook_life": float(given["weibull_scale"])}
        assert api.put(f"/positions/{place}", settings).status_code == 201
        ages = [(age, "broken") for age in given["failed"]]
        ages += [(age, "planned") for age in given["stopped"]]
        lives = [
            {"id": f"{place}-{n}", "serial": f"{place}-{n}", "kind": place, "position": place}
            | {"strokes": float(age), "end": end}
            for n, (age, end) in enumerate(ages)
        ]
        assert api.post("/lives", {"lives": lives}).status_code == 201
    with connect(api.database_url) as conn:
        Forecaster().round(conn, NOW)
    for name, given in SETS.items():
        found = api.get("/life-models", params={"position": name.replace("_", "-")}).json()
        assert (found["lives"], found["failures"]) == (given["lives"], given["failures"])
        likeliest = found["most_likely"]["weibull"]["parameters"]
        for ours, theirs in (
            ("weibull_scale", "weibull_scale"),
            ("weibull_shape", "weibull_shape"),
        ):
            expected = pytest.approx(given[theirs], rel=given["rel_tol"])
            assert likeliest[ours]["estimate"] == expected, name

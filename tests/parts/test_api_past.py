"""What was forecast of one tool, over HTTP."""

from __future__ import annotations

import pytest


def test_forecasts_of_a_tool_are_kept_and_told(api, foretell, send, report):
    api.put("/presses/harlow-mere/2/07", {})
    send(report(-5, 100), report(-1, 900))
    foretell("ring-3", 20)
    answer = api.get("/forecasts/past", params={"serial": "T-ring-3"}).json()
    [made] = answer["items"]
    assert (made["source"], made["press"], made["position"]) == (
        "live",
        "harlow-mere/2/07",
        "ring-3",
    )
    assert made["remaining_strokes"] == {"0.1": 1e7, "0.5": 1e7, "0.9": 1e7}
    assert set(made["due"]) == {"0.1", "0.5", "0.9"}
    assert made["outcome"] is None
    assert answer["next"] is None


def test_of_a_tool_that_nobody_forecast_there_is_nothing(api):
    assert api.get("/forecasts/past", params={"serial": "X"}).json() == {"items": [], "next": None}
    assert api.get("/forecasts/past").status_code == 422


@pytest.mark.parametrize("cursor", ["x", "WzFd"])
def test_a_cursor_of_another_list_is_refused(api, cursor):
    answer = api.get("/forecasts/past", params={"serial": "X", "cursor": cursor})
    assert answer.status_code == 422

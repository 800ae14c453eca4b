"""Planned stops over HTTP."""

from __future__ import annotations

STOP = {
    "id": "clean-w10",
    "scope": "works/2",
    "from": "2026-03-04T07:00:00Z",
    "to": "2026-03-04T11:00:00Z",
    "max_changes": 8,
}


def plan(api, **change):
    return api.post("/stops", STOP | change, role="engineer")


def listed(api, **params):
    return [stop["id"] for stop in api.get("/stops", params=params).json()["items"]]


def errors(answer):
    return [error["field"] for error in answer.json().get("errors", [])]


def test_a_stop_is_planned_once_and_dropped(api):
    made = plan(api)
    assert made.status_code == 201
    assert {name: made.json()[name] for name in STOP} == STOP
    assert made.json()["warnings"] == []
    # The same moment written with another offset is the same stop.
    again = plan(api, **{"from": "2026-03-04T08:00:00+01:00"})
    assert again.status_code == 200
    other = plan(api, max_changes=9)
    assert (other.status_code, errors(other)) == (409, ["id"])
    assert "works/2 from 2026-03-04T07:00:00Z" in other.json()["detail"]
    assert api.delete("/stops/clean-w10", role="engineer").status_code == 204
    assert api.delete("/stops/clean-w10", role="engineer").status_code == 404
    assert listed(api) == []


def test_a_stop_without_id_gets_one(api):
    nameless = {name: value for name, value in STOP.items() if name != "id"}
    made = api.post("/stops", nameless, role="engineer").json()
    assert listed(api) == [made["id"]]


def test_a_stop_that_is_over_is_warned_of(api):
    past = plan(api, **{"from": "2026-02-01T00:00:00Z", "to": "2026-02-01T04:00:00Z"})
    assert past.json()["warnings"] == ["it is over already"]


WRONG = [
    ({"to": "2026-03-04T07:00:00Z"}, "to"),
    ({"to": "2026-03-04T06:00:00Z"}, "to"),
    ({"from": "tomorrow"}, "from"),
    ({"scope": "works/2/05/x"}, "scope"),
    ({"scope": "WORKS"}, "scope"),
    ({"max_changes": -1}, "max_changes"),
    ({"max_changes": 2.5}, "max_changes"),
    ({"id": "no good"}, "id"),
]


def test_a_wrong_field_is_422_and_named(api):
    for change, field in WRONG:
        answer = plan(api, **change)
        assert (answer.status_code, errors(answer)) == (422, [field]), change


def test_stops_by_scope_and_window(api):
    plan(api)
    plan(api, id="press", scope="works/2/05")
    plan(api, id="other-line", scope="works/20")
    plan(
        api,
        id="site",
        scope="works",
        **{"from": "2026-03-05T00:00:00Z", "to": "2026-03-06T00:00:00Z"},
    )
    assert listed(api) == ["clean-w10", "other-line", "press", "site"]
    assert listed(api, scope="works/2") == ["clean-w10", "press", "site"]
    assert listed(api, scope="works/2/05") == ["clean-w10", "press", "site"]
    assert listed(api, scope="works/2/06") == ["clean-w10", "site"]
    assert listed(api, scope="elsewhere") == []
    # A window holds its begin and not its end.
    assert listed(api, **{"from": "2026-03-04T11:00:00Z"}) == ["site"]
    assert listed(api, **{"from": "2026-03-04T10:59:59Z", "to": "2026-03-05T00:00:00Z"}) == [
        "clean-w10",
        "other-line",
        "press",
    ]
    wrong = api.get("/stops", params={"from": "2026-03-06T00:00:00Z", "to": STOP["to"]})
    assert (wrong.status_code, errors(wrong)) == (422, ["from"])


def test_pages_of_stops_hold_each_once(api):
    for number in range(5):
        plan(api, id=f"s{number}")
    seen, cursor = [], None
    while True:
        params = {"limit": 2} | ({"cursor": cursor} if cursor else {})
        page = api.get("/stops", params=params).json()
        seen += [stop["id"] for stop in page["items"]]
        cursor = page["next"]
        if cursor is None:
            break
    assert seen == ["s0", "s1", "s2", "s3", "s4"]


def test_only_an_engineer_plans_stops(api):
    assert api.post("/stops", STOP, role="crew").status_code == 403
    assert api.delete("/stops/x", role="crew").status_code == 403
    assert api.get("/stops", role="viewer").status_code == 200

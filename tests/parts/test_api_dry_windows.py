"""Dry windows over HTTP: marked, listed, taken back; strokes stay counted."""

from __future__ import annotations

import pytest

PRESS = "harlow-mere/2/07"
PATH = f"/presses/{PRESS}"
DAY = "2026-03-01T"


@pytest.fixture
def press(api, send, report):
    """A press that ran 400 a minute for the hour up to NOW."""
    api.put(PATH, {})
    send(*(report(minutes, (minutes + 60) * 400) for minutes in range(-60, 1, 6)))
    return api


def mark(api, start, end, *, role="engineer", **more):
    body = {"press": PRESS, "from": f"{DAY}{start}Z", "to": f"{DAY}{end}Z", "reason": "set-up"}
    return api.post("/dry-windows", body | more, role=role)


def strokes(api, **window):
    params = {name: f"{DAY}{at}Z" for name, at in window.items()}
    answer = api.get(f"{PATH}/strokes", params=params).json()
    return answer["strokes"], answer["dry_strokes"]


def listed(api, **params):
    answer = api.get("/dry-windows", params=params)
    assert answer.status_code == 200, answer.text
    return answer.json()["items"]


def test_strokes_of_a_dry_window_stay_counted_and_are_told_apart(press):
    assert strokes(press) == (24_000, 0)
    answer = mark(press, "11:10:00", "11:20:00", id="w1")
    assert answer.status_code == 201
    assert answer.json() == {
        "id": "w1",
        "press": PRESS,
        "from": f"{DAY}11:10:00Z",
        "to": f"{DAY}11:20:00Z",
        "reason": "set-up",
        "strokes": 4_000,
        "entered_at": f"{DAY}12:00:00Z",
        "entered_by": "engineer",
        "taken_back_at": None,
        "taken_back_by": None,
    }
    assert strokes(press) == (24_000, 4_000)
    assert strokes(press, **{"from": "11:15:00"}) == (18_000, 2_000)
    assert strokes(press, to="11:12:30") == (5_000, 1_000)
    assert strokes(press, **{"from": "11:30:00", "to": "11:40:00"}) == (4_000, 0)


def test_windows_that_overlap_count_their_strokes_once(press):
    mark(press, "11:10:00", "11:20:00")
    mark(press, "11:15:00", "11:25:00")
    mark(press, "11:12:00", "11:14:00")
    mark(press, "11:40:00", "11:50:00")
    assert strokes(press) == (24_000, 15 * 400 + 10 * 400)
    assert [one["strokes"] for one in listed(press)] == [4_000, 800, 4_000, 4_000]


def test_a_window_taken_back_counts_no_more_and_stays_on_record(press):
    mark(press, "11:10:00", "11:20:00", id="w1")
    assert press.delete("/dry-windows/w1", role="engineer").status_code == 204
    assert strokes(press) == (24_000, 0)
    [kept] = listed(press, counting=False)
    assert (kept["taken_back_by"], kept["taken_back_at"]) == ("engineer", f"{DAY}12:00:00Z")
    assert listed(press, counting=True) == []
    assert press.delete("/dry-windows/w1").status_code == 404
    again = mark(press, "11:10:00", "11:20:00", id="w1")
    assert again.status_code == 409
    assert "taken back" in again.json()["detail"]


def test_sent_again_it_is_one_window(press):
    assert mark(press, "11:10:00", "11:20:00", id="w1").status_code == 201
    assert mark(press, "11:10:00", "11:20:00", id="w1").status_code == 200
    other = mark(press, "11:10:00", "11:21:00", id="w1")
    assert other.status_code == 409
    assert other.json()["errors"][0]["field"] == "id"
    assert len(listed(press)) == 1


def test_a_settled_flag_moves_the_dry_strokes_too(press, send, report):
    send(report(1, 200, boot="b2"))
    mark(press, "11:50:00", "12:00:00")
    press.clock.at = press.clock.at.replace(hour=13)
    mark(press, "12:00:00", "12:01:00")
    assert strokes(press) == (24_200, 4_200)
    flag = press.get("/flags").json()["items"][0]
    press.post(f"/flags/{flag['id']}/settle", {"strokes": 100, "reason": "can count"})
    assert strokes(press) == (24_300, 4_300)


def test_lists_by_press_and_time_in_pages(press):
    press.put("/presses/harlow-mere/2/08", {})
    for minute in range(10, 50, 10):
        mark(press, f"11:{minute}:00", f"11:{minute + 5}:00")
    mark(press, "11:00:00", "11:05:00", press="harlow-mere/2/08")
    assert len(listed(press)) == 5
    assert len(listed(press, press=PRESS)) == 4
    window = {"from": f"{DAY}11:15:00Z", "to": f"{DAY}11:31:00Z", "press": PRESS}
    assert [one["from"] for one in listed(press, **window)] == [
        f"{DAY}11:20:00Z",
        f"{DAY}11:30:00Z",
    ]
    seen, params = [], {"limit": 2}
    while True:
        page = press.get("/dry-windows", params=params).json()
        seen += page["items"]
        if page["next"] is None:
            break
        params["cursor"] = page["next"]
    assert seen == listed(press)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"to": f"{DAY}11:10:00Z"}, "to"),
        ({"to": f"{DAY}12:00:01Z"}, "to"),
        ({"press": "harlow-mere/2/99"}, "press"),
        ({"press": "2/07"}, "press"),
        ({"reason": ""}, "reason"),
        ({"id": "no id"}, "id"),
        ({"from": "yesterday"}, "from"),
    ],
)
def test_a_refusal_names_the_field(press, change, field):
    answer = mark(press, "11:10:00", "11:20:00", **change)
    assert answer.status_code == 422
    [error] = answer.json()["errors"]
    assert error["field"] == field
    assert error["reason"]
    assert listed(press) == []


def test_only_engineers_mark_and_take_back(press):
    for role, status in ((None, 401), ("viewer", 403), ("crew", 403)):
        assert mark(press, "11:10:00", "11:20:00", role=role).status_code == status
        assert press.delete("/dry-windows/w1", role=role).status_code == status

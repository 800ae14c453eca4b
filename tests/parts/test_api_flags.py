"""Flags over HTTP: listed, and settled by an engineer; what rests on the count moves along."""

from __future__ import annotations

from datetime import timedelta

import pytest

PATH = "/presses/harlow-mere/2/07"


@pytest.fixture
def flagged(api, send, report):
    """Three boots, each begun again at zero: two flags `restart`."""
    api.put(PATH, {})
    send(
        report(-60, 1_000),
        report(-50, 5_000),
        report(-40, 300, boot="b2"),
        report(-30, 4_300, boot="b2"),
        report(-20, 100, boot="b3"),
    )
    return api


def flags(api, **params):
    answer = api.get("/flags", params=params)
    assert answer.status_code == 200, answer.text
    return answer.json()["items"]


def settle(api, flag, strokes, reason="shift book", role="engineer"):
    return api.post(
        f"/flags/{flag['id']}/settle", {"strokes": strokes, "reason": reason}, role=role
    )


def total(api):
    return api.get(PATH).json()["strokes"]


def test_a_flag_bounds_what_it_hides(flagged):
    first, second = flags(flagged)
    assert first == {
        "id": first["id"],
        "press": "harlow-mere/2/07",
        "kinds": ["restart"],
        "from": "2026-03-01T11:10:00Z",
        "to": "2026-03-01T11:20:00Z",
        "counted": 300,
        # Rule 7: 1.25 x 480 x 10 + 50 strokes are plausible, of which 300 were counted.
        "hidden_at_most": 1.25 * 480 * 10 + 50 - 300,
        "settled": None,
        "candidates": [],
    }
    assert second["counted"] == 100
    assert total(flagged) == 4_000 + 300 + 4_000 + 100


def test_settled_strokes_are_added_and_signed(flagged):
    first, second = flags(flagged)
    answer = settle(flagged, first, 1_200)
    assert answer.status_code == 200
    settled = answer.json()
    assert settled["hidden_at_most"] == 0
    assert settled["settled"] == {
        "strokes": 1_200,
        "reason": "shift book",
        "by": "engineer",
        "at": "2026-03-01T12:00:00Z",
    }
    assert total(flagged) == 8_400 + 1_200
    window = {"from": first["from"], "to": first["to"]}
    assert flagged.get(f"{PATH}/strokes", params=window).json()["strokes"] == 1_500
    assert [flag["id"] for flag in flags(flagged, open=True)] == [second["id"]]
    assert [flag["id"] for flag in flags(flagged, open=False)] == [first["id"]]


def test_settling_again_replaces(flagged):
    flag = flags(flagged)[0]
    settle(flagged, flag, 1_200)
    assert settle(flagged, flag, -300, "counted twice").status_code == 200
    assert total(flagged) == 8_400 - 300
    assert settle(flagged, flag, 0, "nothing ran").json()["settled"]["reason"] == "nothing ran"
    assert total(flagged) == 8_400


def test_more_than_was_counted_cannot_be_taken_away(flagged):
    answer = settle(flagged, flags(flagged)[0], -301)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "strokes"
    assert total(flagged) == 8_400


def test_a_late_reading_between_opens_flags_of_its_own(flagged, send, report):
    """Rule 7: the settlement only stays on record once its readings are neighbours no more."""
    flag = flags(flagged)[0]
    settle(flagged, flag, 1_200)
    send(report(-45, 6_500))
    assert flag["id"] not in [each["id"] for each in flags(flagged)]
    assert [each["kinds"] for each in flags(flagged, open=True)] == [["restart"], ["restart"]]
    assert total(flagged) == 4_000 + 1_500 + 300 + 4_000 + 100
    assert settle(flagged, flag, 5).status_code == 404


def test_errors(flagged):
    flag = flags(flagged)[0]
    for body, field in (
        ({"strokes": 1.5, "reason": "r"}, "strokes"),
        ({"strokes": 2**60, "reason": "r"}, "strokes"),
        ({"strokes": 1, "reason": ""}, "reason"),
        ({"strokes": 1}, "reason"),
    ):
        answer = flagged.post(f"/flags/{flag['id']}/settle", body)
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["field"] == field
    for role, status in ((None, 401), ("viewer", 403), ("crew", 403)):
        assert settle(flagged, flag, 1, role=role).status_code == status
    for unknown in ("00000000-0000-4000-8000-000000000000", "no-uuid", "999999"):
        assert settle(flagged, {"id": unknown}, 1).status_code == 404
    assert settle(flagged, {"id": "no-uuid"}, 1, role="viewer").status_code == 403
    assert flagged.get("/flags", params={"press": "Harlow"}).status_code == 422
    # A cursor of another list: its second part is no id of a flag.
    cursor = "WyIyMDI2LTAzLTAxVDEyOjAwOjAwWiIsICJ4Il0="
    assert flagged.get("/flags", params={"cursor": cursor}).status_code == 422


def test_pages_and_presses(flagged, send, report):
    flagged.put("/presses/harlow-mere/2/08", {})
    send(report(-50, 5_000), report(-40, 300, boot="b2"), press="harlow-mere/2/08")
    whole = flags(flagged)
    assert len(whole) == 3
    assert [each["press"] for each in flags(flagged, press="harlow-mere/2/08")] == [
        "harlow-mere/2/08"
    ]
    seen, params = [], {"limit": 1}
    while True:
        page = flagged.get("/flags", params=params).json()
        seen += page["items"]
        if page["next"] is None:
            break
        params["cursor"] = page["next"]
    assert seen == whole


@pytest.fixture
def turned(api, send, report):
    """A 16-bit counter, silent for 240 minutes in which it may have turned."""
    api.put(PATH, {"modulus": 65_536})
    send(report(-241, 60_000), report(-1, (60_000 + 25_664) % 65_536), report(0, 20_508))
    return api


def test_whole_turns_that_may_hide_are_listed(turned):
    """Plausible in 240 min: 1.25 x 480 x 240 + 50 = 144,050; turns of 2**16 = 65,536."""
    [flag] = flags(turned)
    assert flag["kinds"] == ["wrap"]
    assert flag["candidates"] == [25_664, 91_200]
    assert flag["counted"] + flag["hidden_at_most"] == 144_050
    [same] = turned.get(f"{PATH}/strokes").json()["flags"]
    assert same == flag


def test_a_candidate_settles_the_flag(turned):
    [flag] = flags(turned)
    before = total(turned)
    body = {"candidate": 91_200, "reason": "the can count says so"}
    answer = turned.post(f"/flags/{flag['id']}/settle", body, role="engineer")
    assert answer.status_code == 200, answer.text
    assert answer.json()["settled"]["strokes"] == 65_536
    assert answer.json()["candidates"] == [25_664, 91_200]
    assert total(turned) == before + 65_536
    body = {"candidate": 25_664, "reason": "it stood after all"}
    assert turned.post(f"/flags/{flag['id']}/settle", body).json()["settled"]["strokes"] == 0
    assert total(turned) == before


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"candidate": 91_201}, "candidate"),
        ({"candidate": 156_736}, "candidate"),
        ({"candidate": 91_200, "strokes": 1}, "candidate"),
        ({}, "strokes"),
    ],
)
def test_what_is_no_candidate_settles_nothing(turned, body, field):
    [flag] = flags(turned)
    answer = turned.post(f"/flags/{flag['id']}/settle", body | {"reason": "r"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == field
    assert flags(turned, open=True) == [flag]


def test_the_modulus_is_that_of_the_boot_and_the_list_has_an_end(turned, send, report):
    """A counter of four digits since a later boot may have turned ninety times in a night."""
    since = {"modulus": 10_000, "from": "2026-03-01T12:04:00Z"}
    turned.put(PATH, since)
    later = [
        report(minutes, count, boot="b2") for minutes, count in ((5, 0), (1_000, 17), (4_000, 18))
    ]
    send(*later, now=turned.clock.at + timedelta(days=4))
    night, days = (flag for flag in flags(turned) if flag["from"] > "2026-03-01T12:04")
    greatest = 1.25 * 480 * 995 + 50
    assert night["candidates"] == [17 + 10_000 * k for k in range(int(greatest - 17) // 10_000 + 1)]
    assert days["candidates"] == [1 + 10_000 * k for k in range(100)]

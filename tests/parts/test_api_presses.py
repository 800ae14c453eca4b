"""Presses over HTTP: registered, changed, and what stands of each."""

from __future__ import annotations

from datetime import timedelta

from duestroke.times import format_time
from store.intake import Delivery, record_batch
from store.unit import connect

PATH = "/presses/harlow-mere/2/07"
GEOMETRY = {"crank_radius_mm": 305.0, "rod_length_mm": 1_400.0}


def register(api, path=PATH, **body):
    answer = api.put(path, body, role="engineer")
    assert answer.status_code in (200, 201), answer.text
    return answer


def test_registered_with_defaults(api):
    answer = register(api)
    assert answer.status_code == 201
    body = answer.json()
    assert body["press"] == "harlow-mere/2/07"
    assert (body["modulus"], body["max_spm"], body["timezone"]) == (2**32, 480, "UTC")
    assert (body["state"], body["last_report"], body["next_due"]) == ("unknown", None, None)
    assert (body["strokes"], body["strokes_per_minute"], body["missing"]) == (0, 0, 0)


def test_a_field_left_out_keeps_its_value(api):
    register(api, modulus=10**6, max_spm=300, timezone="Europe/London", **GEOMETRY)
    answer = register(api, max_spm=320)
    assert answer.status_code == 200
    body = answer.json()
    assert (body["modulus"], body["max_spm"]) == (10**6, 320)
    assert body["timezone"] == "Europe/London"
    assert {name: body[name] for name in GEOMETRY} == GEOMETRY
    assert api.get(PATH).json() == body


WRONG = [
    ("modulus", 999),
    ("modulus", 2**53 + 1),
    ("modulus", 4e9),
    ("modulus", True),
    ("modulus", "5000"),
    ("modulus", None),
    ("max_spm", 0),
    ("max_spm", 2_001),
    ("max_spm", 1.5),
    ("timezone", "Harlow"),
    ("timezone", "../etc/passwd"),
    ("timezone", ""),
    ("timezone", "a\0b"),
    ("crank_radius_mm", 0),
    ("crank_radius_mm", "305"),
    ("rod_length_mm", -1),
    ("rod_length_mm", 10_001),
    ("from", "2026-03-01T06:00:00"),
    ("from", 1_772_000_000),
]


def test_a_wrong_field_is_422_and_named(api):
    for field, value in WRONG:
        answer = api.put(PATH, {"modulus": 5_000} | {field: value})
        assert answer.status_code == 422, (field, value)
        assert [error["field"] for error in answer.json()["errors"]] == [field]
    assert api.get(PATH).status_code == 404


def test_the_limits_themselves_are_taken(api):
    assert register(api, modulus=1_000, max_spm=1).json()["modulus"] == 1_000
    body = register(api, modulus=2**53, max_spm=2_000).json()
    assert (body["modulus"], body["max_spm"]) == (2**53, 2_000)


def test_a_rod_not_longer_than_the_crank_is_422_also_against_what_stands(api):
    register(api, **GEOMETRY)
    answer = api.put(PATH, {"rod_length_mm": 305.0})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "rod_length_mm"


def test_from_alone_is_422(api):
    answer = api.put(PATH, {"from": "2026-03-01T06:00:00Z"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "from"


def test_a_name_outside_the_alphabet_is_422(api):
    for name in ("Harlow/2/07", "harlow/2_2/07", "harlow/2/" + "x" * 33):
        assert api.put(f"/presses/{name}", {}).status_code == 422
        assert api.get(f"/presses/{name}").status_code == 422


def test_engineers_register_and_everybody_with_a_token_reads(api):
    assert {r: api.put(PATH, {}, role=r).status_code for r in ("viewer", "crew")} == {
        "viewer": 403,
        "crew": 403,
    }
    assert api.put(PATH, {}, role=None).status_code == 401
    register(api)
    for path in ("/presses", PATH, f"{PATH}/strokes", f"{PATH}/series"):
        assert api.get(path, role=None).status_code == 401
        assert api.get(path, role="viewer").status_code == 200


def test_the_last_report_the_pace_and_what_is_missing(api, send, report):
    register(api)
    send(
        report(-20, 1_000, peak_speed_mps=7.5, peak_accel_mps2=310.0),
        report(-10, 3_000),
        report(0, 7_000, seq=10_003, peak_speed_mps=8.25, peak_accel_mps2=320.5),
    )
    body = api.get(PATH).json()
    assert body["strokes"] == 6_000
    assert body["strokes_per_minute"] == 400
    # seq 9980, 9990 and 10003: nine and twelve reports are not there.
    assert body["missing"] == 9 + 12
    assert body["last_report"] == {
        "boot": "b1",
        "seq": 10_003,
        "at": "2026-03-01T12:00:00Z",
        "strokes": 7_000,
        "peak_speed_mps": 8.25,
        "peak_accel_mps2": 320.5,
    }
    assert body["received_at"] == format_time(api.clock.at)


def test_state_is_the_last_status_received(api):
    register(api)
    topic = "duestroke/v1/harlow-mere/2/07/status"
    for state in ("running", "offline"):
        payload = f'{{"state": "{state}", "at": "2026-03-01T11:00:00Z"}}'.encode()
        with connect(api.database_url) as conn:
            record_batch(conn, [Delivery(topic, payload, api.clock.at)], api.clock.at)
        body = api.get(PATH).json()
        assert (body["state"], body["state_at"]) == (state, "2026-03-01T11:00:00Z")


def test_a_modulus_that_a_kept_reading_does_not_fit_is_409(api, send, report):
    register(api, modulus=10**6)
    send(report(-10, 5_000), report(0, 9_000))
    answer = api.put(PATH, {"modulus": 8_000})
    assert answer.status_code == 409
    assert "9000" in answer.json()["detail"]
    assert api.get(PATH).json()["modulus"] == 10**6
    # Boots that begin later are free to turn there.
    later = format_time(api.clock.at + timedelta(hours=1))
    assert api.put(PATH, {"modulus": 8_000, "from": later}).status_code == 200


def test_kept_readings_are_counted_anew_by_a_new_rule(api, send, report):
    """9,900 to 100 is a restart under the large modulus, 200 strokes under one of 10,000."""
    register(api)
    send(report(-10, 9_900), report(0, 100))
    assert api.get(PATH).json()["strokes"] == 100
    assert register(api, modulus=10_000).json()["strokes"] == 200


def test_a_report_of_an_unknown_press_waits_until_it_is_registered(api, send, report):
    send(report(-10, 100), report(0, 500))
    assert api.get(PATH).status_code == 404
    waiting = api.get("/quarantine", params={"reason": "unknown-press"}).json()["items"]
    assert [row["press"] for row in waiting] == ["harlow-mere/2/07"] * 2


def test_pages_hold_every_press_once_by_name(api):
    names = [f"harlow-mere/{line}/{press:02}" for line in (1, 2) for press in range(3)]
    for name in reversed(names):
        register(api, f"/presses/{name}")
    seen, params = [], {"limit": 4}
    while True:
        page = api.get("/presses", params=params).json()
        seen += [row["press"] for row in page["items"]]
        if page["next"] is None:
            break
        params["cursor"] = page["next"]
    assert seen == names


def test_a_row_of_the_list_is_the_press_itself(api, send, report):
    register(api, **GEOMETRY)
    send(report(-10, 0), report(0, 4_000))
    assert api.get("/presses").json()["items"] == [api.get(PATH).json()]


def test_next_due_is_the_tool_with_the_earliest_median(api, foretell):
    register(api)
    for position, days in (("punch", 30), ("ring-3", 4), ("stripper", 12)):
        foretell(position, days)
    due = api.get(PATH).json()["next_due"]
    assert (due["position"], due["serial"], due["state"]) == ("ring-3", "T-ring-3", "fine")
    assert set(due["due"]) == set(due["remaining_strokes"]) == {"0.1", "0.5", "0.9"}
    assert due["due"]["0.5"] == "2026-03-05T12:00:00Z"
    assert due["remaining_strokes"]["0.5"] == 2e6
    assert due["chance_before"] == [{"stop": "S1", "at": "2026-03-08T12:00:00Z", "chance": 0.25}]
    assert due["basis"]["cautions"] == ["one failure only"]
    assert api.get("/presses").json()["items"][0]["next_due"] == due
    (ring,) = api.get("/forecasts", params={"position": "ring-3"}).json()["items"]
    assert ring == due


def test_a_counter_that_stands_still_while_the_ram_moves_is_said(api, send, report):
    """Three minutes at 480 a minute, times 1.25, and 50 may have run uncounted."""
    register(api)
    moving = {"peak_speed_mps": 11.0}
    send(*(report(minute, 400 * minute + 8_000, **moving) for minute in range(-20, -9)))
    assert api.get(PATH).json()["counter_stands"] is None
    send(*(report(minute, 4_000, **moving) for minute in (-9, -8, -7)))
    standing = {"since": "2026-03-01T11:50:00Z", "not_counted_at_most": 3 * 600 + 50}
    assert api.get(PATH).json()["counter_stands"] == standing
    assert api.get("/presses").json()["items"][0]["counter_stands"] == standing
    # What it goes on with is counted; what was lost meanwhile is not made up for.
    send(report(-6, 4_400, **moving))
    assert api.get(PATH).json()["counter_stands"] is None
    assert api.get(PATH).json()["strokes"] == 4_400

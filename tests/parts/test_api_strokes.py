"""Strokes between two times and in buckets, over HTTP."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

PATH = "/presses/harlow-mere/2/07"


@pytest.fixture
def press(api, send, report):
    """A press that ran 400 a minute for an hour: eleven reports to NOW, one of them missing."""
    api.put(PATH, {"timezone": "Europe/London"})
    send(
        *(
            report(minutes, (minutes + 60) * 400, peak_speed_mps=8.0, peak_accel_mps2=300.0)
            for minutes in range(-60, 1, 6)
            if minutes != -30
        ),
    )
    return api


def test_open_ends_mean_the_whole_record(press):
    assert press.get(f"{PATH}/strokes").json() == {
        "strokes": 24_000,
        "dry_strokes": 0,
        "missing": 8 * 5 + 11,  # seq is the minute: six minutes apart, and one report left out
        "flags": [],
    }


def test_a_window_holds_from_and_not_to_and_is_interpolated(press):
    def strokes(start, end):
        params = {"from": f"2026-03-01T{start}Z", "to": f"2026-03-01T{end}Z"}
        return press.get(f"{PATH}/strokes", params=params).json()["strokes"]

    assert strokes("11:10:00", "11:11:00") == 400
    assert strokes("11:00:00", "12:00:00") == 24_000
    assert strokes("10:00:00", "11:00:00") == 0
    assert strokes("11:10:00", "11:10:00") == 0
    assert strokes("12:00:00", "13:00:00") == 0
    # Rule 8: rounded half up; one stroke takes 0.15 s, so half a stroke counts as one.
    assert strokes("11:10:00", "11:10:00.075") == 1
    assert strokes("11:10:00", "11:10:00.074") == 0


def test_parts_add_up_to_the_whole(press):
    cuts = ["11:00:00", "11:07:13.5", "11:31:00.000001", "11:59:59.9", "12:00:00"]
    parts = [
        press.get(
            f"{PATH}/strokes",
            params={"from": f"2026-03-01T{start}Z", "to": f"2026-03-01T{end}Z"},
        ).json()["strokes"]
        for start, end in pairwise(cuts)
    ]
    assert sum(parts) == 24_000


def test_flags_of_the_window_stand_with_its_strokes(press, send, report):
    send(report(5, 10, boot="b2"))
    everything = press.get(f"{PATH}/strokes").json()
    assert [flag["kinds"] for flag in everything["flags"]] == [["restart"]]
    assert everything["flags"][0]["from"] == "2026-03-01T12:00:00Z"
    before = press.get(f"{PATH}/strokes", params={"to": "2026-03-01T12:00:00Z"}).json()
    assert before["flags"] == []


def test_a_plus_that_was_not_escaped_is_the_offsets(press):
    local = [f"{PATH}/strokes?to=2026-03-01T12:30:00{plus}01:00" for plus in ("+", "%2B")]
    assert press.get(local[0]).json() == press.get(local[1]).json()
    assert press.get(local[0]).json()["strokes"] > 0


def test_errors(press):
    window = {"from": "2026-03-01T12:00:00Z", "to": "2026-03-01T11:00:00Z"}
    for part in ("strokes", "series"):
        answer = press.get(f"{PATH}/{part}", params=window)
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["field"] == "from"
        naive = press.get(f"{PATH}/{part}", params={"to": "2026-03-01T12:00:00"})
        assert naive.status_code == 422
        assert naive.json()["errors"][0]["field"] == "to"
        assert press.get(f"/presses/harlow-mere/2/99/{part}").status_code == 404
    assert press.get(f"{PATH}/series", params={"bucket": "5m"}).status_code == 422


def test_times_at_the_ends_of_the_calendar_are_no_fault(press):
    """Times as wide as they can be spelled: all strokes, and for buckets an error by name."""
    wide = {"from": "0001-01-01T00:00:00Z", "to": "9999-12-31T23:59:59.999999Z"}
    assert press.get(f"{PATH}/strokes", params=wide).json()["strokes"] == 24_000
    for field, value in (*wide.items(), ("to", wide["from"])):
        answer = press.get(f"{PATH}/series", params={field: value})
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["field"] == field


def test_decades_without_reports_are_empty_days(press):
    for zone in ("Europe/London", "America/Chicago", "Asia/Tokyo"):
        press.put(PATH, {"timezone": zone})
        window = {"from": "2009-12-31T10:00:00Z", "to": "2037-01-01T00:00:00Z", "bucket": "1d"}
        items = press.get(f"{PATH}/series", params=window).json()["items"]
        assert sum(item["strokes"] for item in items) == 24_000
        assert (items[0]["from"], items[-1]["to"]) == (window["from"], window["to"])


def test_minutes_add_up_and_touch(press):
    window = {"from": "2026-03-01T11:00:00Z", "to": "2026-03-01T12:00:00Z"}
    items = press.get(f"{PATH}/series", params=window | {"bucket": "1m"}).json()["items"]
    assert len(items) == 60
    assert sum(item["strokes"] for item in items) == 24_000
    assert sum(item["minutes_running"] for item in items) == pytest.approx(60)
    assert all(a["to"] == b["from"] for a, b in pairwise(items))
    assert items[5]["strokes"] == 400
    # Speeds stand where the report lies that carries them: 11:06, 11:12 ...
    assert items[5]["peak_speed_mps"] is items[5]["mean_speed_mps"] is None
    assert items[6]["peak_speed_mps"] == items[6]["mean_speed_mps"] == 8.0
    assert items[6]["peak_accel_mps2"] == items[6]["mean_accel_mps2"] == 300.0


def test_hours_and_days_agree_with_minutes(press):
    window = {"from": "2026-03-01T00:00:00Z", "to": "2026-03-02T00:00:00Z"}
    totals = {}
    for bucket in ("1m", "1h", "1d"):
        items = press.get(f"{PATH}/series", params=window | {"bucket": bucket}).json()["items"]
        totals[bucket] = sum(item["strokes"] for item in items)
    assert totals == {"1m": 24_000, "1h": 24_000, "1d": 24_000}


def test_without_a_window_the_last_day_by_the_hour(press):
    items = press.get(f"{PATH}/series").json()["items"]
    assert len(items) == 24
    assert (items[0]["from"], items[-1]["to"]) == ("2026-02-28T12:00:00Z", "2026-03-01T12:00:00Z")
    assert [item["strokes"] for item in items[-2:]] == [0, 24_000]
    assert items[0]["mean_speed_mps"] is None


def test_days_are_the_presss_own(press):
    """Clocks in London go forward on 29 March 2026: that day has 23 hours."""
    window = {"from": "2026-03-28T00:00:00Z", "to": "2026-03-30T23:00:00Z", "bucket": "1d"}
    items = press.get(f"{PATH}/series", params=window).json()["items"]
    ends = [datetime.fromisoformat(item["to"]) for item in items]
    assert ends == [
        datetime(2026, 3, 29, tzinfo=UTC),
        datetime(2026, 3, 29, tzinfo=UTC) + timedelta(hours=23),
        datetime(2026, 3, 30, 23, tzinfo=UTC),
    ]


def test_at_most_10_000_buckets(press):
    def answer(hours):
        end = datetime(2024, 1, 1, tzinfo=UTC) + timedelta(hours=hours)
        window = {"from": "2024-01-01T00:00:00Z", "to": end.isoformat()}
        return press.get(f"{PATH}/series", params=window)

    assert len(answer(10_000).json()["items"]) == 10_000
    refused = answer(10_001)
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["field"] == "bucket"

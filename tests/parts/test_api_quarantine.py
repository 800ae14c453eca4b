"""Quarantine over HTTP: what was refused, with its bytes; tried again or set aside."""

from __future__ import annotations

import base64
import json
from datetime import timedelta

import pytest

from store.intake import Delivery, record_batch
from store.unit import connect

PRESS = "harlow-mere/2/07"
TOPIC = f"duestroke/v1/{PRESS}/report"


@pytest.fixture
def refuse(api):
    """Sends raw bytes to the intake, which refuses them."""

    def refusing(payload, topic=TOPIC):
        with connect(api.database_url) as conn:
            record_batch(conn, [Delivery(topic, payload, api.clock.at)], api.clock.at)

    return refusing


def rows(api, **params):
    answer = api.get("/quarantine", params=params)
    assert answer.status_code == 200, answer.text
    return answer.json()["items"]


def test_bytes_reason_field_and_times(api, refuse):
    api.put(f"/presses/{PRESS}", {})
    refuse(b"\xff not json")
    refuse(b"\xff not json")
    wrong = json.dumps({"boot": "b", "seq": -1, "at": "2026-03-01T11:00:00Z", "strokes": 5})
    refuse(wrong.encode())
    malformed, field = rows(api)
    assert malformed["reason"] == "malformed"
    assert base64.b64decode(malformed["payload_base64"]) == b"\xff not json"
    assert (malformed["times"], malformed["state"], malformed["topic"]) == (2, "waiting", TOPIC)
    assert malformed["received_at"] == "2026-03-01T12:00:00Z"
    assert (field["reason"], field["field"]) == ("field", "seq")
    assert "-1" in field["detail"]


def test_filters(api, refuse):
    refuse(b"{")
    refuse(b"{", "duestroke/v1/harlow-mere/2/08/report")
    assert len(rows(api, press=PRESS)) == 1
    assert len(rows(api, reason="malformed", state="waiting")) == 2
    assert rows(api, reason="conflict") == []
    assert rows(api, state="dropped") == []
    for name in ("reason", "state", "press"):
        answer = api.get("/quarantine", params={name: "Nothing"})
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["field"] == name


def test_replayed_goes_in_once_the_press_is_there(api, send, report):
    send(report(-10, 100), report(0, 500))
    first, second = rows(api)
    # Not registered yet: refused again, so it waits on.
    again = api.post(f"/quarantine/{first['id']}/replay", None)
    assert (again.status_code, again.json()["state"]) == (200, "waiting")
    assert again.json()["times"] == 1
    api.put(f"/presses/{PRESS}", {})
    for row in (first, second):
        answer = api.post(f"/quarantine/{row['id']}/replay", None, role="engineer")
        assert (answer.status_code, answer.json()["state"]) == (200, "replayed")
    assert api.get(f"/presses/{PRESS}").json()["strokes"] == 400
    assert rows(api, state="waiting") == []
    # Replayed again it has no effect: the identity is known.
    api.post(f"/quarantine/{first['id']}/replay", None)
    assert api.get(f"/presses/{PRESS}").json()["strokes"] == 400


def test_from_the_future_goes_in_when_its_time_has_come(api, send, report):
    api.put(f"/presses/{PRESS}", {})
    send(report(-10, 100))
    send(report(20, 500))
    (row,) = rows(api, reason="future")
    early = api.post(f"/quarantine/{row['id']}/replay", None)
    assert early.json()["state"] == "waiting"
    api.clock.at += timedelta(minutes=10)
    assert api.post(f"/quarantine/{row['id']}/replay", None).json()["state"] == "replayed"
    assert api.get(f"/presses/{PRESS}").json()["strokes"] == 400


def test_dropped_stays_on_record_with_its_bytes(api, refuse):
    refuse(b"{")
    (row,) = rows(api)
    answer = api.delete(f"/quarantine/{row['id']}", role="engineer")
    assert (answer.status_code, answer.json()["state"]) == (200, "dropped")
    assert rows(api, state="waiting") == []
    assert rows(api, state="dropped")[0]["payload_base64"] == row["payload_base64"]


def test_errors_and_roles(api, refuse):
    refuse(b"{")
    (row,) = rows(api)
    for role, status in ((None, 401), ("viewer", 403), ("crew", 403)):
        assert api.post(f"/quarantine/{row['id']}/replay", None, role=role).status_code == status
        assert api.delete(f"/quarantine/{row['id']}", role=role).status_code == status
    assert api.get("/quarantine", role=None).status_code == 401
    for unknown in ("999999", "0", "x", "\u0663", str(2**64), "9" * 30):
        assert api.post(f"/quarantine/{unknown}/replay", None).status_code == 404
        assert api.delete(f"/quarantine/{unknown}").status_code == 404


def test_pages(api, refuse):
    for number in range(5):
        refuse(b"{" * (number + 1))
    seen, params = [], {"limit": 2}
    while True:
        page = api.get("/quarantine", params=params).json()
        seen += page["items"]
        if page["next"] is None:
            break
        params["cursor"] = page["next"]
    assert seen == rows(api)
    assert len(seen) == 5

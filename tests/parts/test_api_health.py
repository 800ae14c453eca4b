"""Health, readiness and metrics: outside the base, without a token."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import psycopg
from prometheus_client.openmetrics.parser import text_string_to_metric_families


def figures(api):
    """All samples of `/metrics` by name and labels, through the reference parser."""
    answer = api.client.get("/metrics")
    assert answer.status_code == 200
    assert answer.headers["Content-Type"].startswith("application/openmetrics-text; version=1.0.0")
    return {
        (sample.name, *sorted(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


def test_healthy_and_ready(api):
    assert api.client.get("/healthz").json() == {"status": "ok"}
    assert api.client.get("/readyz").json() == {"status": "ready"}


def test_not_ready_while_a_migration_is_missing(api):
    with psycopg.connect(api.database_url) as conn:
        conn.execute("DELETE FROM schema_migration WHERE version = '0004_access'")
    answer = api.client.get("/readyz")
    assert answer.status_code == 503
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert "0004_access" in answer.json()["detail"]


def test_counters_start_at_zero_and_never_fall(api):
    before = figures(api)
    assert before["duestroke_reports_counted_total",] == 0
    assert before["duestroke_quarantined_messages_total", ("reason", "conflict")] == 0
    api.get("/nowhere")
    after = figures(api)
    counters = [key for key in before if key[0].endswith("_total")]
    assert counters
    assert all(after[key] >= before[key] for key in counters)
    key = ("duestroke_http_requests_total", ("method", "GET"), ("status", "404"))
    assert after[key] == before.get(key, 0) + 1


def test_presses_reports_and_ages_are_those_of_the_record(api, clock):
    with psycopg.connect(api.database_url) as conn:
        for name, age in (("a/1/01", 60), ("a/1/02", 3_600)):
            (press,) = conn.execute(
                "INSERT INTO press (name) VALUES (%s) RETURNING id", [name]
            ).fetchone()
            received = clock.at - timedelta(seconds=age)
            conn.execute(
                "INSERT INTO press_state (press_id, readings, missing, received_at, latest_at) "
                "VALUES (%s, 5, 2, %s, %s) ON CONFLICT (press_id) DO UPDATE SET "
                "readings = 5, missing = 2, received_at = excluded.received_at, "
                "latest_at = excluded.latest_at",
                [press, received, received - timedelta(seconds=4)],
            )
        conn.execute(
            "INSERT INTO quarantine (digest, received_at, last_received_at, times, topic, payload,"
            " reason, detail) VALUES ('x', now(), now(), 3, 't', 'p', 'malformed', 'd')"
        )
    found = figures(api)
    assert found["duestroke_presses",] == 2
    assert found["duestroke_presses_silent",] == 1
    assert found["duestroke_reports_counted_total",] == 10
    assert found["duestroke_reports_missing",] == 4
    assert found["duestroke_last_report_age_seconds",] == 60
    assert found["duestroke_report_delay_seconds",] == 4
    assert found["duestroke_quarantined_messages_total", ("reason", "malformed")] == 3
    assert found["duestroke_quarantine_waiting", ("reason", "malformed")] == 1
    assert found["duestroke_database_up",] == 1


def test_open_flags_and_forecasts(api, send, report, foretell):
    found = figures(api)
    assert (found["duestroke_flags_open",], found["duestroke_forecasts",]) == (0, 0)
    assert ("duestroke_forecast_age_seconds",) not in found
    api.put("/presses/harlow-mere/2/07", {})
    send(report(-60, 1_000), report(-50, 300, boot="b2"), report(0, 400, boot="b2"))
    foretell("punch", 30)
    found = figures(api)
    assert (found["duestroke_flags_open",], found["duestroke_forecasts",]) == (1, 1)
    assert found["duestroke_forecast_age_seconds",] == 120
    assert found["duestroke_forecast_lag_seconds",] == 180
    (flag,) = api.get("/flags").json()["items"]
    api.post(f"/flags/{flag['id']}/settle", {"strokes": 0, "reason": "stood"})
    assert figures(api)["duestroke_flags_open",] == 0


def test_the_docs_name_every_family(api, send, report, foretell):
    api.put("/presses/harlow-mere/2/07", {})
    send(report(0, 400))
    foretell("punch", 30)
    text = (Path(__file__).parents[2] / "docs" / "api.md").read_text("utf-8")
    named = set(re.findall(r"^\| `(duestroke_\w+)` \|", text, re.MULTILINE))
    assert {name for name, *_ in figures(api)} == named

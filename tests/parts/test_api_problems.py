"""Every error is a problem that names what was wrong; answers carry weak tags."""

from __future__ import annotations

import json
import logging

import psycopg
from starlette.testclient import TestClient

from api.app import create_app
from api.problems import field_path, shortened

JSON = {"Content-Type": "application/json"}


SESSION = {"timezone": "UTC", "lock_timeout": "10s", "statement_timeout": "30s"}


def problem_of(answer, status):
    """The problem in an answer of this status."""
    assert answer.status_code == status, answer.text
    assert answer.headers["Content-Type"] == "application/problem+json"
    return answer.json()


def send(api, content, headers=JSON):
    return api.call("POST", "/tokens", role="admin", content=content, headers=headers)


def test_what_is_no_json_is_400(api):
    for content in (b'{"name": ', b"\xff\xfe{", b"[" * 100_000, b"{'a': 1}"):
        problem = problem_of(send(api, content), 400)
        assert problem["errors"][0]["field"] == "body"


def test_a_body_not_declared_as_json_is_400(api):
    problem = problem_of(send(api, b"{}", {"Content-Type": "text/plain"}), 400)
    assert "application/json" in problem["detail"]


def test_json_of_another_shape_is_422(api):
    for content in (b"", b"null", b"[]", b'"x"', b"{}"):
        assert problem_of(send(api, content), 422)["errors"]


def test_each_wrong_field_is_named_with_value_and_reason(api):
    body = {"name": 3, "role": "boss", "expires_at": "2026-03-01T06:00:00", "id": "a b"}
    errors = {e["field"]: e["reason"] for e in problem_of(api.post("/tokens", body), 422)["errors"]}
    assert set(errors) == {"name", "role", "expires_at", "id"}
    assert "got 3" in errors["name"]
    assert "'boss'" in errors["role"]
    assert "offset" in errors["expires_at"]
    for value, text in ((None, "null"), (True, "true")):
        wrong = problem_of(api.post("/tokens", {"name": value, "role": "crew"}), 422)
        assert wrong["errors"][0]["reason"].startswith(f"got {text},")


def test_unknown_fields_are_kept_out_not_refused(api):
    body = {"name": "n", "role": "crew", "colour": "green"}
    answer = api.post("/tokens", body)
    assert answer.status_code == 201
    assert "colour" not in answer.json()


def test_text_that_the_database_cannot_hold_is_422(api):
    for name in ("a\0b", "\ud800"):
        content = json.dumps({"name": name, "role": "crew"}).encode()
        assert problem_of(send(api, content), 422)["errors"][0]["field"] == "name"


def test_limit_is_1_to_1000(api):
    for limit in ("0", "-1", "1001", "ten", ""):
        answer = api.get("/tokens", role="admin", params={"limit": limit})
        assert problem_of(answer, 422)["errors"][0]["field"] == "limit"


def test_a_cursor_that_is_none_of_this_list_is_422(api):
    for cursor in ("x", "e30=", "WzFd", "WyJhIiwiYiJd", "WyJhXHUwMDAwIl0=", "é"):
        answer = api.get("/tokens", role="admin", params={"cursor": cursor})
        assert problem_of(answer, 422)["errors"][0]["field"] == "cursor"


def test_404_says_the_path_and_405_all_methods(api):
    assert "/api/v1/nowhere" in problem_of(api.get("/nowhere"), 404)["detail"]
    answer = api.put("/tokens", {})
    problem_of(answer, 405)
    assert answer.headers["Allow"] == "GET, POST"


def test_a_body_beyond_the_limit_is_413(api):
    problem_of(send(api, b'"' + b"x" * (33 * 1024 * 1024) + b'"'), 413)


def test_instance_is_the_request_in_the_log(api, caplog):
    caplog.set_level(logging.INFO)
    instance = problem_of(api.get("/nowhere"), 404)["instance"]
    assert instance.removeprefix("urn:uuid:") in caplog.text


def test_database_away_is_503_and_back_is_200(api):
    """A server that ends our sessions is no fault of the caller's: the next call works again."""
    with psycopg.connect(api.database_url, autocommit=True) as conn:
        conn.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
    assert api.get("/tokens", role="admin").status_code == 200


def test_a_database_that_never_answers_is_503(clock):
    app = create_app(
        database_url="postgresql://nobody@127.0.0.1:1/none", pool_timeout_s=0.2, clock=clock
    )
    with TestClient(app, raise_server_exceptions=False) as client:
        answer = client.get("/api/v1/tokens", headers={"Authorization": "Bearer x"})
        problem_of(answer, 503)
        assert int(answer.headers["Retry-After"]) > 0
        assert client.get("/healthz").status_code == 200
        problem_of(client.get("/readyz"), 503)
        assert "duestroke_database_up 0" in client.get("/metrics").text


def test_a_session_gives_up_on_a_lock_in_time(api):
    """A request that waits for another's lock must not keep its connection for ever."""
    with api.client.app.state.pool.connection() as conn:
        rows = {name: conn.execute(f"SHOW {name}").fetchone().popitem()[1] for name in SESSION}
    assert rows == SESSION


def test_a_fault_of_ours_is_500_without_its_inside(api, caplog):
    with psycopg.connect(api.database_url) as conn:
        conn.execute("ALTER TABLE token RENAME COLUMN name TO title")
    problem = problem_of(api.get("/tokens", role="admin"), 500)
    assert "column" not in json.dumps(problem)
    assert problem["instance"].removeprefix("urn:uuid:") in caplog.text


def test_an_answer_known_already_is_304_without_body(api):
    first = api.get("/tokens", role="admin")
    tag = first.headers["ETag"]
    assert tag.startswith('W/"')
    again = api.get("/tokens", role="admin", headers={"If-None-Match": f'W/"other", {tag}'})
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["ETag"] == tag
    api.post("/tokens", {"name": "n", "role": "crew"})
    changed = api.get("/tokens", role="admin", headers={"If-None-Match": tag})
    assert changed.status_code == 200
    assert changed.headers["ETag"] != tag


def test_large_answers_are_compressed(api):
    for number in range(12):
        api.post("/tokens", {"name": f"n{number}", "role": "crew"})
    answer = api.get("/tokens", role="admin", headers={"Accept-Encoding": "gzip"})
    assert answer.headers["Content-Encoding"] == "gzip"
    assert len(answer.json()["items"]) == 16


def test_paths_of_fields_read_as_in_the_body():
    assert field_path(("body", "lives", 3, "strokes")) == "lives[3].strokes"
    assert field_path(("body", "list[ToolEventIn]", 0, "at")) == "[0].at"
    assert field_path(("query", "limit")) == "limit"
    assert field_path(("body",)) == "body"


def test_long_values_are_cut_in_errors():
    assert len(shortened("x" * 1_000)) == 80

"""Tokens over HTTP: roles, secrets, expiry, taking back, and sending again."""

from __future__ import annotations

import hashlib
import logging
from datetime import timedelta

import psycopg

from api.deps import ROLES
from duestroke.times import format_time
from store.tokens import ensure


def made(api, **body):
    """A new token's answer."""
    answer = api.post("/tokens", {"name": "Tool room", "role": "crew"} | body)
    assert answer.status_code == 201, answer.text
    return answer.json()


def bearer(secret):
    return {"Authorization": f"Bearer {secret}"}


def test_a_new_token_opens_what_its_role_may(api):
    secret = made(api, role="admin")["token"]
    assert api.get("/tokens", role=None, headers=bearer(secret)).status_code == 200


def test_only_an_admin_sees_makes_and_takes_back_tokens(api):
    for role in (role for role in ROLES if role != "admin"):
        assert api.get("/tokens", role=role).status_code == 403
        assert api.post("/tokens", {"name": "n", "role": "viewer"}, role=role).status_code == 403
        assert api.delete("/tokens/start.crew", role=role).status_code == 403
    assert api.get("/tokens", role="admin").status_code == 200


def test_without_a_valid_token_401_with_a_challenge(api):
    for given in (None, "Bearer nobody", "Basic eDp5", "Bearer", "secret-of-admin"):
        headers = {"Authorization": given} if given else {}
        answer = api.get("/tokens", role=None, headers=headers)
        assert answer.status_code == 401
        assert answer.headers["WWW-Authenticate"].startswith("Bearer")


def test_401_comes_before_all_else(api):
    for method, path, content in (
        ("POST", "/tokens", b"{"),
        ("PUT", "/presses/a/b/c", b"{}"),
        ("GET", "/tokens?limit=0", b""),
        ("GET", "/nowhere", b""),
        ("PATCH", "/tokens", b""),
    ):
        answer = api.call(method, path, role=None, content=content)
        assert answer.status_code == 401, (method, path)


def test_403_comes_before_what_is_wrong_in_the_body(api):
    assert api.post("/tokens", {"name": 3}, role="crew").status_code == 403


def test_the_secret_is_shown_once_and_kept_as_a_hash_only(api):
    secret = made(api, id="gate")["token"]
    assert len(secret) >= 43  # 32 random bytes
    answer = api.post("/tokens", {"name": "n", "role": "viewer"})
    assert answer.headers["Cache-Control"] == "no-store"
    assert secret not in api.get("/tokens", role="admin").text
    with psycopg.connect(api.database_url) as conn:
        rows = conn.execute("SELECT t::text, digest FROM token t WHERE id = 'gate'").fetchall()
    assert secret not in rows[0][0]
    assert rows[0][1] == hashlib.sha256(secret.encode()).digest()


def test_no_log_line_holds_a_token(api, caplog):
    caplog.set_level(logging.DEBUG)
    secret = made(api, role="viewer")["token"]
    api.get("/tokens?cursor=broken", role=None, headers=bearer(secret))
    api.get("/nowhere", role=None, headers=bearer(secret))
    assert any(record.__dict__.get("action") == "request-served" for record in caplog.records)
    assert secret not in caplog.text
    assert "secret-of-admin" not in caplog.text


def test_sent_again_is_200_without_the_secret(api):
    first = made(api, id="gate")
    again = api.post("/tokens", {"id": "gate", "name": "Tool room", "role": "crew"})
    assert again.status_code == 200
    assert again.json()["token"] is None
    assert again.json()["warnings"]
    assert again.json()["created_at"] == first["created_at"]
    # The first secret still opens: a repeat changes nothing.
    assert api.get("/tokens", role=None, headers=bearer(first["token"])).status_code == 403


def test_same_id_with_other_content_is_409(api):
    made(api, id="gate")
    first = {"id": "gate", "name": "Tool room", "role": "crew"}
    for change in ({"name": "O"}, {"role": "viewer"}, {"expires_at": "2027-01-01T00:00:00Z"}):
        answer = api.post("/tokens", first | change)
        assert answer.status_code == 409
        assert "Tool room" in answer.json()["detail"]


def test_a_token_ends_at_its_time(api, clock):
    ends = clock.at + timedelta(hours=1)
    secret = made(api, role="admin", expires_at=format_time(ends))["token"]
    clock.at = ends - timedelta(microseconds=1)
    assert api.get("/tokens", role=None, headers=bearer(secret)).status_code == 200
    clock.at = ends
    assert api.get("/tokens", role=None, headers=bearer(secret)).status_code == 401


def test_sent_again_after_its_end_is_still_200(api, clock):
    body = {"expires_at": format_time(clock.at + timedelta(hours=1)), "id": "short"}
    made(api, **body)
    clock.at += timedelta(hours=2)
    again = api.post("/tokens", {"name": "Tool room", "role": "crew"} | body)
    assert again.status_code == 200


def test_an_end_in_the_past_is_422(api, clock):
    body = {"name": "n", "role": "crew", "expires_at": format_time(clock.at)}
    answer = api.post("/tokens", body)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "expires_at"


def test_taken_back_opens_nothing_and_its_id_is_spent(api):
    secret = made(api, id="gate", role="admin")["token"]
    assert api.delete("/tokens/gate").status_code == 204
    assert api.get("/tokens", role=None, headers=bearer(secret)).status_code == 401
    assert api.delete("/tokens/gate").status_code == 404
    assert "gate" not in [row["id"] for row in api.get("/tokens", role="admin").json()["items"]]
    again = api.post("/tokens", {"id": "gate", "name": "Tool room", "role": "admin"})
    assert again.status_code == 409


def test_pages_hold_every_token_once(api):
    for number in range(5):
        made(api, id=f"t{number}")
    seen, cursor = [], None
    while True:
        params = {"limit": 2} | ({"cursor": cursor} if cursor else {})
        page = api.get("/tokens", role="admin", params=params).json()
        assert len(page["items"]) <= 2
        seen += [row["id"] for row in page["items"]]
        cursor = page["next"]
        if cursor is None:
            break
    assert seen == sorted([f"t{n}" for n in range(5)] + [f"start.{role}" for role in ROLES])


def test_a_changed_start_secret_replaces_the_one_before(api, clock):
    with psycopg.connect(api.database_url) as conn:
        ensure(conn, "admin", "admin", "new-secret", at=clock.at)
    assert api.get("/tokens", role="admin").status_code == 401
    assert api.get("/tokens", role=None, headers=bearer("new-secret")).status_code == 200

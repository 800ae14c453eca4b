"""Errors of the API are problem details. Source: RFC 9457, 3, 3.1 and 4.2.1."""

from __future__ import annotations

import json
from collections.abc import Iterator
from http import HTTPStatus
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
import pytest
from starlette.testclient import TestClient

from api.app import create_app
from store.tokens import ensure

DATA = json.loads((Path(__file__).parent / "data" / "problem_details.json").read_text("utf-8"))
SECRETS = {401: "nobody", 403: "viewer-secret"}
CALLS = [
    (401, "GET", "/api/v1/tokens", b""),
    (400, "POST", "/api/v1/tokens", b"{"),
    (403, "GET", "/api/v1/tokens", b""),
    (404, "GET", "/api/v1/nowhere", b""),
    (404, "GET", "/elsewhere", b""),
    (405, "PATCH", "/api/v1/tokens", b""),
    (422, "POST", "/api/v1/tokens", b"{}"),
]


@pytest.fixture
def client(database_url: str) -> Iterator[TestClient]:
    with TestClient(create_app(database_url=database_url)) as client:
        with psycopg.connect(database_url) as conn:
            at = client.app.state.clock()
            ensure(conn, "v", "viewer", "viewer-secret", at=at)
            ensure(conn, "a", "admin", "admin-secret", at=at)
        yield client


def test_media_type_members_and_status(client):
    """Media type of section 3; members of 3.1; `status` equals the code (3.1.2)."""
    for status, method, path, body in CALLS:
        secret = SECRETS.get(status, "admin-secret")
        headers = {"Authorization": f"Bearer {secret}", "Content-Type": "application/json"}
        answer = client.request(method, path, headers=headers, content=body)
        assert answer.status_code == status
        check(answer)


def check(answer):
    assert answer.headers["Content-Type"].split(";")[0] == DATA["media_type"]
    problem = answer.json()
    assert [member for member in DATA["members"] if member not in problem] == []
    assert problem["status"] == answer.status_code
    # 4.2.1: with about:blank the title should be the phrase of the status code.
    assert problem["type"] == DATA["default_type"]
    assert problem["title"] == HTTPStatus(answer.status_code).phrase
    # 3.1.5: a URI reference; ours names no place that could be fetched.
    assert urlsplit(problem["instance"]).scheme == "urn"
    assert isinstance(problem["detail"], str)
    assert problem["detail"]

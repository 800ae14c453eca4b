"""Whose a token is, over HTTP."""

from __future__ import annotations

import pytest

from api.deps import ROLES


@pytest.mark.parametrize("role", ROLES)
def test_each_token_learns_its_name_and_role(api, role):
    answer = api.get("/caller", role=role)
    assert answer.json() == {"name": role, "role": role}
    assert answer.headers["cache-control"].startswith(("private", "no-store"))


def test_without_a_valid_token_nobody_is_named(api):
    assert api.get("/caller", role=None).status_code == 401
    headers = {"Authorization": "Bearer nobody"}
    assert api.get("/caller", role=None, headers=headers).status_code == 401


def test_a_token_taken_back_names_nobody(api):
    made = api.post("/tokens", {"name": "Tool room", "role": "crew"}).json()
    headers = {"Authorization": f"Bearer {made['token']}"}
    assert api.get("/caller", role=None, headers=headers).json()["name"] == "Tool room"
    api.delete(f"/tokens/{made['id']}")
    assert api.get("/caller", role=None, headers=headers).status_code == 401

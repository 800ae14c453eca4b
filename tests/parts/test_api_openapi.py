"""The OpenAPI document is true: generated requests get documented answers, docs name every call."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest
import uvicorn

from api.app import create_app
from store.presses import PgPresses, Settings
from store.tokens import ensure
from store.unit import connect

ROOT = Path(__file__).parents[2]
EXAMPLES_EACH = 5


PHASES = {"admin": "examples,coverage,fuzzing", "viewer": "examples,fuzzing"}
"""The coverage phase is the long one; a viewer's writes all end in 403, whatever they hold."""


@pytest.fixture
def record(database_url: str, send, report, foretell) -> None:
    """The press that the examples name, with reports, a flag, a refused report and a forecast."""
    with connect(database_url) as conn:
        PgPresses(conn).register("harlow-mere/2/07", Settings())
    send(report(-60, 1_000), report(-50, 300, boot="b2"), report(0, 400, boot="b2"))
    send(report(-60, 1_001))
    foretell("punch", 30)


@pytest.fixture
def server(database_url: str, clock, record) -> Iterator[str]:
    """The API under a real server on a free port, with an admin's and a viewer's token."""
    with psycopg.connect(database_url) as conn:
        for role in ("admin", "viewer"):
            ensure(conn, role, role, f"secret-of-{role}", at=clock.at)
    app = create_app(database_url=database_url, pool_size=2, clock=clock)
    config = uvicorn.Config(app, host="127.0.0.1", port=0, log_level="error", access_log=False)
    running = uvicorn.Server(config)
    thread = threading.Thread(target=running.run, daemon=True)
    thread.start()
    deadline = time.monotonic() + 20
    while not running.started and time.monotonic() < deadline:
        time.sleep(0.02)
    port = running.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}"
    running.should_exit = True
    thread.join(20)


@pytest.mark.parametrize("role", ["admin", "viewer"])
def test_generated_requests_get_documented_answers(server, role, tmp_path):
    """No 5xx, no undocumented status, media type or body, no call that works without a token.

    `positive_data_acceptance` is left out: a schema cannot say which cursors, names and times of a
    record are there. The stateful phase would take back the token that it runs with.
    """
    options = {
        "-H": f"Authorization: Bearer secret-of-{role}",
        "--seed": "1",
        "-n": str(EXAMPLES_EACH),
        "--phases": PHASES[role],
        "--exclude-checks": "positive_data_acceptance",
        "--warnings": "off",
    }
    given = [word for option in options.items() for word in option]
    run = subprocess.run(
        [sys.executable, "-m", "schemathesis.cli", "run", f"{server}/api/v1/openapi.json", *given],
        cwd=tmp_path,
        env=os.environ | {"PYTHONWARNINGS": "default"},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert run.returncode == 0, run.stdout[-6_000:] + run.stderr[-2_000:]
    tried = re.search(r"(\d+) generated", run.stdout)
    assert tried is not None, run.stdout[-2_000:]
    assert int(tried.group(1)) > 100


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    return create_app(database_url="postgresql://nobody@127.0.0.1:1/none").openapi()


def operations(document):
    """(method, path, operation) of every call."""
    return [
        (method.upper(), path, operation)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    ]


def test_every_call_stands_in_the_docs(document):
    text = (ROOT / "docs" / "api.md").read_text("utf-8")
    calls = [f"`{m} {path.removeprefix('/api/v1')}`" for m, path, _ in operations(document)]
    assert [call for call in calls if call not in text] == []


def test_the_docs_name_no_call_that_is_not_there(document):
    text = (ROOT / "docs" / "api.md").read_text("utf-8")
    named = set(re.findall(r"^- `((?:GET|POST|PUT|DELETE) /\S+)`", text, re.MULTILINE))
    calls = {f"{m} {path.removeprefix('/api/v1')}" for m, path, _ in operations(document)}
    assert named == calls


def test_every_call_under_the_base_asks_for_a_token_and_documents_its_errors(document):
    problems = []
    for method, path, operation in operations(document):
        if path.startswith("/api/v1"):
            documented = operation["responses"]
            problems += [
                f"{method} {path}: {status}"
                for status in ("401", "403", "422", "503")
                if "application/problem+json" not in documented.get(status, {}).get("content", {})
            ]
            problems += [] if operation.get("security") else [f"{method} {path}: no security"]
    assert problems == []


def test_every_body_carries_an_example(document):
    """A reader of the document sees what to send: an example, a default or the allowed words."""
    bare = []
    for method, path, operation in operations(document):
        for content in operation.get("requestBody", {}).get("content", {}).values():
            for name, model in body_models(document, content["schema"]):
                bare += [f"{method} {path}: {name}"] if not has_example(model) else []
    assert bare == []


def body_models(document, schema):
    """(name, schema) of the models that a body schema names, through unions and lists."""
    if "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[1]
        return [(name, document["components"]["schemas"][name])]
    inner = [*schema.get("anyOf", []), *schema.get("oneOf", [])]
    inner += [schema["items"]] if "items" in schema else []
    return [model for part in inner for model in body_models(document, part)]


def has_example(model):
    return "examples" in model or any(map(shows, model.get("properties", {}).values()))


def shows(field):
    branches = [field, *field.get("anyOf", [])]
    return any("examples" in branch or "enum" in branch for branch in branches)

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
from api.deps import ROLES
from store.presses import PgPresses, Settings
from store.tokens import ensure
from store.unit import connect
from tests.support.refusals import faults_of

ROOT = Path(__file__).parents[2]
PHASES = {
    "admin": ("examples,coverage,fuzzing", 5),
    "engineer": ("examples,fuzzing", 3),
    "crew": ("examples,fuzzing", 3),
    "viewer": ("examples,fuzzing", 2),
}
"""Phases and examples for each call by role. Coverage is the long phase: an admin may do all, and
what another role may not ends in 403, whatever it holds."""


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
    """The API under a real server on a free port, with a token for each role."""
    with psycopg.connect(database_url) as conn:
        for role in ROLES:
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


@pytest.mark.parametrize("role", ROLES)
def test_generated_requests_get_documented_answers(server, role, tmp_path):
    """No 5xx, no undocumented status, media type or body, no call that works without a token.

    Every refusal names field and reason (tests/support/refusals.py).
    `positive_data_acceptance` is left out: a schema cannot say which cursors, names and times of a
    record are there. The stateful phase would take back the token that it runs with.
    """
    phases, examples = PHASES[role]
    seen = tmp_path / "refusals"
    options = {
        "-H": f"Authorization: Bearer secret-of-{role}",
        "--seed": "1",
        "-n": str(examples),
        "--phases": phases,
        "--exclude-checks": "positive_data_acceptance",
        "--warnings": "off",
    }
    given = [word for option in options.items() for word in option]
    run = subprocess.run(
        [sys.executable, "-m", "schemathesis.cli", "run", f"{server}/api/v1/openapi.json", *given],
        cwd=tmp_path,
        env=os.environ
        | {
            "PYTHONWARNINGS": "default",
            "PYTHONPATH": str(ROOT),
            "SCHEMATHESIS_HOOKS": "tests.support.refusals",
            "REFUSALS_SEEN": str(seen),
        },
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert run.returncode == 0, run.stdout[-6_000:] + run.stderr[-2_000:]
    tried = re.search(r"(\d+) generated", run.stdout)
    assert tried is not None, run.stdout[-2_000:]
    assert int(tried.group(1)) > 100
    refused = {line.split()[0] for line in seen.read_text("utf-8").splitlines()}
    assert refused >= ({"422"} if role == "admin" else {"403", "422"})


@pytest.mark.parametrize(
    ("status", "said", "missing"),
    [
        (422, {"errors": [{"field": "at", "reason": "in the future"}]}, []),
        (422, {}, ["errors"]),
        (422, {"errors": [{"field": "", "reason": "wrong"}]}, ["errors[0].field"]),
        (409, {}, []),
        (409, {"detail": "Conflict"}, ["detail"]),
        (404, {"status": 409}, ["status"]),
    ],
)
def test_what_a_refusal_must_say(status, said, missing):
    """The check that the generated requests run with can fail."""
    whole = {"title": "t", "detail": "why", "instance": "urn:uuid:0", "status": status}
    assert faults_of(status, whole | said) == missing


WRITES = {
    "crew": {
        "POST /tools",
        "POST /tool-events",
        "POST /inspections",
        "POST /questions/{question_id}/close",
    },
    "engineer": {
        "PUT /presses/{site}/{line}/{press}",
        "PUT /positions/{position}",
        "PUT /shifts/{site}",
        "PUT /stock/{kind}",
        "POST /stops",
        "DELETE /stops/{stop_id}",
        "POST /lives",
        "DELETE /lives/{life_id}",
        "POST /flags/{flag_id}/settle",
        "POST /dry-windows",
        "DELETE /dry-windows/{window_id}",
        "POST /quarantine/{row_id}/replay",
        "DELETE /quarantine/{row_id}",
    },
    "admin": {"POST /tokens", "GET /tokens", "DELETE /tokens/{token_id}"},
}
"""Calls by the role that they need; a viewer may all else, which are reads."""
ASKS = {"POST /life-models/what-if"}
"""Calls with a body that write nothing."""


def needed(call):
    """The role that a call needs, by the contract."""
    found = [role for role, calls in WRITES.items() if call in calls]
    assert found or call.startswith("GET ") or call in ASKS, f"which role does {call} need?"
    return found[0] if found else "viewer"


def test_each_role_may_what_it_should_and_nothing_more(api, document):
    """Bodies and paths from the document's own examples; what they come to is not asked here."""
    for method, path, operation in operations(document):
        if not path.startswith("/api/v1"):
            continue
        call = f"{method} {path.removeprefix('/api/v1')}"
        least = ROLES.index(needed(call))
        unsigned = send_example(api, document, call, operation, None)
        assert unsigned.status_code == 401, f"{call}: {unsigned.text}"
        assert faults_of(401, unsigned.json()) == []
        for rank, role in enumerate(ROLES):
            answer = send_example(api, document, call, operation, role)
            assert answer.status_code < 500, f"{call} as {role}: {answer.text}"
            assert (answer.status_code == 403) == (rank < least), f"{call} as {role}: {answer.text}"


def send_example(api, document, call, operation, role):
    """One call with the first example of each path part and of the body."""
    method, path = call.split()
    for part in operation.get("parameters", []):
        if part["in"] == "path":
            path = path.replace(f"{{{part['name']}}}", str(example_of(part["schema"])))
    content = operation.get("requestBody", {}).get("content", {}).get("application/json")
    more = {} if content is None else {"json": body_of(document, content["schema"])}
    return api.call(method, path, role=role, **more)


def example_of(schema):
    known = {"uuid": "00000000-0000-4000-8000-000000000000"}
    if "examples" in schema:
        return schema["examples"][0]
    return known.get(schema.get("format"), 1 if schema.get("type") == "integer" else "x")


def body_of(document, schema):
    """The first example of the first model that the body may be."""
    _, model = body_models(document, schema)[0]
    if "examples" in model:
        return model["examples"][0]
    return {name: shown_in(field) for name, field in model["properties"].items() if shows(field)}


def shown_in(field):
    branches = [field, *field.get("anyOf", [])]
    return next(
        values[0] for branch in branches if (values := branch.get("examples") or branch.get("enum"))
    )


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

"""A check for schemathesis: every refusal is a problem detail that names field and reason.

Loaded by name from `SCHEMATHESIS_HOOKS`. The statuses seen go to the file that `REFUSALS_SEEN`
names, a line each, so that a run in which nothing was refused can be told from one that is right.
"""

from __future__ import annotations

import os
from http import HTTPStatus
from pathlib import Path
from typing import Any

import schemathesis

UNREADABLE = (400, 422)


@schemathesis.check
def refusal_names_field_and_reason(
    ctx: schemathesis.CheckContext, response: schemathesis.Response, case: schemathesis.Case
) -> None:
    """Fails with what is missing; says nothing about answers that are no refusals."""
    if response.status_code < 400:
        return
    with Path(os.environ["REFUSALS_SEEN"]).open("a", encoding="utf-8") as seen:
        seen.write(f"{response.status_code} {case.method} {case.path}\n")
    if response.status_code == 405:  # the server's own answer to a method that no path has
        return
    faults = faults_of(response.status_code, response.json())
    assert not faults, f"{response.status_code} {case.method} {case.path}: {faults}"


def faults_of(status: int, problem: dict[str, Any]) -> list[str]:
    """What a refusal fails to say."""
    faults = [name for name in ("title", "detail", "instance") if not problem.get(name)]
    faults += ["status"] if problem.get("status") != status else []
    faults += ["detail"] if problem.get("detail") == HTTPStatus(status).phrase else []
    errors = problem.get("errors")
    if errors is None:
        return faults + (["errors"] if status in UNREADABLE else [])
    return faults + [
        f"errors[{k}].{name}"
        for k, error in enumerate(errors)
        for name in ("field", "reason")
        if not error.get(name)
    ]

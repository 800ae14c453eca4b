"""Every error as RFC 9457 problem details, made in this one place.

`type` stays `about:blank`, so `title` is the status phrase (RFC 9457, 4.2.1); `detail` says what
happened, `errors` names each wrong field, `instance` is the request's id as the log has it.
"""

from __future__ import annotations

import json
import logging
import re
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any, Final

import psycopg
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from psycopg_pool import PoolClosed, PoolTimeout
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.routing import compile_path

from duestroke.errors import BadField, Contradiction

logger = logging.getLogger(__name__)

UNSIGNED: Final = "send a token: Authorization: Bearer <token>"
MEDIA_TYPE: Final = "application/problem+json"
_FIELD: Final = re.compile(r"[a-z_][a-z0-9_]*")
_PLACES: Final = ("body", "query", "path", "header")
_LONGEST: Final = 80


class FieldError(BaseModel):
    """One wrong field: its path in the body, or the name of a query or path part, and why."""

    field: str = Field(examples=["lives[3].strokes"])
    reason: str = Field(examples=["got -3, Input should be greater than or equal to 0"])


class Problem(BaseModel):
    """Problem details (RFC 9457, 3.1), with `errors` for wrong fields."""

    type: str = Field("about:blank", examples=["about:blank"])
    title: str = Field(examples=["Unprocessable Content"])
    status: int = Field(examples=[422])
    detail: str = Field(examples=["modulus: got 12, Input should be greater than or equal to 1000"])
    instance: str = Field(examples=["urn:uuid:6f1b1a9e-6d0c-4f0e-8c52-0d4a8a4c9c11"])
    errors: list[FieldError] | None = Field(
        None, description="each wrong field; with 400 and 422, and with 409 where one is to blame"
    )


_MEANINGS: Final[dict[int, str]] = {
    400: "The body cannot be read as JSON",
    401: "No valid token",
    403: "The token's role does not allow this",
    404: "Nothing has this name or id",
    405: "The path has no such method",
    409: "It contradicts what is on record; `detail` says what stands against it",
    413: "The body is too large",
    422: "A field has a wrong type or range; `errors` names it",
    503: "The database does not answer; try again",
}
Responses = dict[int | str, dict[str, Any]]


def documented(*statuses: int) -> Responses:
    """OpenAPI entries of these errors; where a body is read (400), it may also be too large (413).

    The schema stands inline: a reference to a model that no route returns is not registered.
    """
    schema = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    field_error = schema.pop("$defs")["FieldError"]
    schema["properties"]["errors"]["anyOf"][0]["items"] = field_error
    content = {MEDIA_TYPE: {"schema": schema}}
    return {
        status: {"description": _MEANINGS[status], "content": content}
        for status in sorted({*statuses, *([413] if 400 in statuses else [])})
    }


def problem(
    request: Request,
    status: int,
    detail: str,
    *,
    errors: Sequence[FieldError] = (),
    headers: Mapping[str, str] | None = None,
) -> JSONResponse:
    """The answer for one error. `errors` stands in it only where there are any."""
    body = Problem(
        type="about:blank",
        title=HTTPStatus(status).phrase,
        status=status,
        detail=detail,
        instance=f"urn:uuid:{request.state.request_id}",
        errors=list(errors) or None,
    )
    return JSONResponse(
        body.model_dump(exclude_none=True), status, headers=headers, media_type=MEDIA_TYPE
    )


def install(app: FastAPI) -> None:
    """Register the handlers. The one for `Exception` answers 500 and lets the server log it."""
    app.exception_handler(HTTPException)(_http)
    app.exception_handler(RequestValidationError)(_invalid)
    app.exception_handler(BadField)(_bad_field)
    app.exception_handler(Contradiction)(_contradiction)
    for away in (psycopg.OperationalError, PoolTimeout, PoolClosed, TimeoutError):
        app.exception_handler(away)(_database_away)
    app.exception_handler(Exception)(_fault)


def _http(request: Request, fault: HTTPException) -> JSONResponse:
    detail = str(fault.detail)
    if detail == HTTPStatus(fault.status_code).phrase:  # the router's own 404 and 405
        detail = f"{request.method} {request.url.path}: {_MEANINGS[fault.status_code].lower()}"
    errors = [FieldError(field="body", reason=detail)] if fault.status_code == 400 else []
    headers = dict(fault.headers or {})
    if fault.status_code == 405:
        headers["Allow"] = ", ".join(_methods(request))
    return problem(request, fault.status_code, detail, errors=errors, headers=headers)


def _methods(request: Request) -> list[str]:
    """All methods of a path; the router names only those of the first route that it finds."""
    paths: dict[str, dict[str, Any]] = request.app.openapi()["paths"]
    found = (ops for path, ops in paths.items() if compile_path(path)[0].match(request.url.path))
    return sorted({method.upper() for ops in found for method in ops}) or ["GET"]


def _invalid(request: Request, fault: RequestValidationError) -> JSONResponse:
    found = fault.errors()
    unreadable = [item for item in found if _is_unreadable(item)]
    errors = [_field_error(item) for item in unreadable or found]
    first = errors[0]
    more = f" (and {len(errors) - 1} more)" if len(errors) > 1 else ""
    status = 400 if unreadable else 422
    return problem(request, status, f"{first.field}: {first.reason}{more}", errors=errors)


def _is_unreadable(item: Mapping[str, Any]) -> bool:
    """No JSON at all: broken text, or a body that was not declared as JSON."""
    return item["type"] == "json_invalid" or (
        item["loc"] == ("body",) and isinstance(item["input"], bytes)
    )


def _field_error(item: Mapping[str, Any]) -> FieldError:
    if item["type"] == "json_invalid":
        where = f"character {item['loc'][-1]}"
        return FieldError(field="body", reason=f"not JSON, {where}: {item['ctx']['error']}")
    if item["loc"] == ("body",) and isinstance(item["input"], bytes):
        return FieldError(field="body", reason="not sent as application/json")
    reason = item["msg"].removeprefix("Value error, ")
    if item["type"] != "missing":
        reason = f"got {shortened(item['input'])}, {reason}"
    return FieldError(field=field_path(item["loc"]), reason=reason)


def field_path(loc: Sequence[str | int]) -> str:
    """`("body", "lives", 3, "strokes")` as `lives[3].strokes`.

    Names of union branches, which pydantic puts into the path, are no field names and left out.
    """
    steps = loc[1:] if loc and loc[0] in _PLACES else loc
    text = ""
    for step in steps:
        if isinstance(step, int):
            text += f"[{step}]"
        elif _FIELD.fullmatch(step):
            text += f".{step}" if text else step
    return text or "body"


def shortened(value: object) -> str:
    """The value as an error shows it, null and truth as JSON has them: at most 80 characters."""
    text = json.dumps(value) if value is None or isinstance(value, bool) else repr(value)
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."


def _bad_field(request: Request, fault: BadField) -> JSONResponse:
    reason = f"got {shortened(fault.value)}, allowed is {fault.allowed}"
    errors = [FieldError(field=fault.field, reason=reason)]
    return problem(request, 422, f"{fault.field}: {reason}", errors=errors)


def _contradiction(request: Request, fault: Contradiction) -> JSONResponse:
    errors = [FieldError(field=fault.field, reason=fault.against)] if fault.field else []
    return problem(request, 409, fault.against, errors=errors)


def _database_away(request: Request, fault: Exception) -> JSONResponse:
    logger.warning("The database did not answer: %s", fault, extra={"action": "database-away"})
    return problem(
        request, 503, "the database does not answer; try again", headers={"Retry-After": "2"}
    )


def _fault(request: Request, fault: Exception) -> JSONResponse:
    logger.error(
        "Request %s failed on our side",
        request.state.request_id,
        exc_info=fault,
        extra={"action": "request-failed"},
    )
    return problem(request, 500, "a fault on our side; the log has it under this instance")

"""What pages write: a few named calls of the API, sent with the token of who is signed in.

A page posts `{"call": name, "params": {...}, "body": ...}` to `/write`, with the word of its
session in a header. The API judges; its refusal (409, 422) comes back whole for the form to show.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Final
from urllib.parse import quote

import msgspec

from dashboard.access import Role
from duestroke import names

_PLACEHOLDER: Final = re.compile(r"\{([a-z_]+)\}")


@dataclass(frozen=True, slots=True)
class Call:
    """One call of the API. `path`: below `/api/v1`, its `{parts}` are given as params."""

    method: str
    path: str
    role: Role


CALLS: Final[Mapping[str, Call]] = {
    "tool-events": Call("POST", "/tool-events", "crew"),
    "tools": Call("POST", "/tools", "crew"),
    "inspections": Call("POST", "/inspections", "crew"),
    "settle-flag": Call("POST", "/flags/{id}/settle", "engineer"),
    "answer": Call("POST", "/questions/{id}/close", "crew"),
    "replay": Call("POST", "/quarantine/{id}/replay", "engineer"),
    "drop": Call("DELETE", "/quarantine/{id}", "engineer"),
}


class Write(msgspec.Struct, frozen=True):
    """What a page sends."""

    call: str
    params: dict[str, Annotated[str, msgspec.Meta(pattern=rf"^{names.SERIAL}$")]] = {}
    body: Any = None


def place(call: Call, params: Mapping[str, str]) -> str | None:
    """The path with its parts filled in; None where one was not given."""
    wanted = _PLACEHOLDER.findall(call.path)
    if set(wanted) != set(params):
        return None
    return _PLACEHOLDER.sub(lambda part: quote(params[part[1]], safe=""), call.path)

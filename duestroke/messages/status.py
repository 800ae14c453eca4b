"""Status of a sender: running, stopped, or offline (its last will)."""

from __future__ import annotations

from datetime import datetime
from typing import Final, Literal, NamedTuple

import msgspec

from duestroke.messages.topics import press_of
from duestroke.messages.wire import (
    Field,
    NotAllowed,
    NotReadable,
    Reason,
    Refused,
    Time,
    read,
    shown,
    size_or_text_fault,
)
from duestroke.times import from_micros

State = Literal["running", "stopped", "offline"]
_STATE: Final = Field("state", msgspec.json.Decoder(State), '"running", "stopped" or "offline"')
_AT: Final = Time()
_OBJECT: Final = msgspec.json.Decoder(dict[str, msgspec.Raw])


class Status(NamedTuple):
    """State of a press as its sender said it, and the time that the message carries."""

    press: str
    state: State
    at: datetime


def decode_status(topic: str, payload: bytes) -> Status | Refused:
    """Read a status message; raises nothing, whatever the bytes hold."""
    press = press_of(topic, "status")
    if press is None:
        detail = "not a status topic, allowed is duestroke/v1/<site>/<line>/<press>/status"
        return Refused(topic, payload, "topic", None, detail, None)
    reason: Reason = "malformed"
    field: str | None = None
    detail = size_or_text_fault(payload) or ""
    if not detail:
        try:
            return _checked(press, payload)
        except NotReadable as fault:
            detail = f"got {shown(payload)}, allowed is a status object ({fault})"
        except NotAllowed as fault:
            reason, field, detail = "field", fault.field, str(fault)
    return Refused(topic, payload, reason, field, detail, press)


def _checked(press: str, payload: bytes) -> Status:
    values = read(_OBJECT, payload)
    return Status(press, _STATE.check(values), from_micros(_AT.micros(values)))

"""What both topics share: the size limit, refusals, and JSON read without trusting it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Final, Generic, Literal, NamedTuple, TypeVar

import msgspec

from duestroke.times import EPOCH, parse_time, to_micros

MAX_PAYLOAD: Final = 16 * 1024
"""Bytes that a payload may have at most; a sender splits larger arrays."""

Reason = Literal["malformed", "topic", "field", "conflict", "future", "past", "unknown-press"]
"""Why something waits in quarantine; the last four are told by the store, not by the bytes."""
T = TypeVar("T")

TIME_ALLOWED: Final = "an RFC 3339 time with an offset, such as 2026-03-01T06:00:00Z"

_SHOWN: Final = 80
_TIME: Final = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}:(?:[0-5][0-9]|60)(?:\.[0-9]+)?"
    r"(?:[Zz]|[+-][0-9]{2}:[0-5][0-9])"
)
_FIRST: Final = to_micros(parse_time("0001-01-01T00:00:00Z"))
_LAST: Final = to_micros(parse_time("9999-12-31T23:59:59.999999Z"))


class Refused(NamedTuple):
    """What goes to quarantine: the bytes of the element, or of all where none can be told.

    field: the element's wrong field, such as `peak_speed_mps`, or None.  detail: one sentence, with
    the element's place in an array.
    press: `site/line/press` where the topic tells it.
    """

    topic: str
    payload: bytes
    reason: Reason
    field: str | None
    detail: str
    press: str | None


class NotReadable(Exception):
    """The bytes are no JSON that we take; the message says why."""


class NotAllowed(Exception):
    """A known field is wrong or missing."""

    def __init__(self, field: str, got: str, allowed: str) -> None:
        super().__init__(f"{field}: {got}, allowed is {allowed}")
        self.field, self.got, self.allowed = field, got, allowed


def read(decoder: msgspec.json.Decoder[T], payload: bytes) -> T:
    """Decode or raise NotReadable, whatever the bytes hold."""
    try:
        return decoder.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError) as fault:
        raise NotReadable(str(fault)) from fault
    except RecursionError as fault:
        raise NotReadable("nested too deep") from fault


def size_or_text_fault(payload: bytes) -> str | None:
    """Why these bytes cannot be JSON of ours at all; None where they may be."""
    if len(payload) > MAX_PAYLOAD:
        return f"{len(payload)} bytes, allowed is {MAX_PAYLOAD} at most"
    if not payload.isascii():
        try:
            payload.decode()
        except UnicodeDecodeError as fault:
            return f"not UTF-8: {fault.reason} at byte {fault.start}"
    return None


def shown(raw: bytes) -> str:
    """A JSON value as one short printable line, for a refusal."""
    text = raw.decode("utf-8", "replace")
    text = text if text.isprintable() else ascii(text)[1:-1]
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}... ({len(raw)} bytes)"


def micros_of(text: str) -> int:
    """An RFC 3339 time as microseconds since 1970 UTC. Raises ValueError with a reason.

    The short way serves all but a leap second, small letters and an impossible date, which
    `parse_time` judges; both cut digits past the microsecond.
    """
    if _TIME.fullmatch(text) is None:
        raise ValueError(TIME_ALLOWED)
    try:
        since = datetime.fromisoformat(text) - EPOCH
    except ValueError:
        return to_micros(parse_time(text))
    micros = (since.days * 86_400 + since.seconds) * 1_000_000 + since.microseconds
    if not _FIRST <= micros <= _LAST:
        raise ValueError("a time between the years 1 and 9999")
    return micros


class Field(Generic[T]):
    """One known field read by itself: name and what is allowed; what may be null may miss."""

    def __init__(self, name: str, decoder: msgspec.json.Decoder[T], allowed: str) -> None:
        self.name, self.allowed, self._decoder = name, allowed, decoder

    def check(self, values: Mapping[str, msgspec.Raw]) -> T:
        """The field's value. Raises NotAllowed."""
        raw = bytes(values.get(self.name, b"null"))
        try:
            return read(self._decoder, raw)
        except NotReadable as fault:
            got = f"got {shown(raw)}" if self.name in values else "missing"
            raise NotAllowed(self.name, got, self.allowed) from fault


class Time(Field[str]):
    """The field `at`: an RFC 3339 time."""

    def __init__(self) -> None:
        super().__init__("at", msgspec.json.Decoder(str), TIME_ALLOWED)

    def micros(self, values: Mapping[str, msgspec.Raw]) -> int:
        """Microseconds since 1970 UTC. Raises NotAllowed."""
        text = self.check(values)
        try:
            return micros_of(text)
        except ValueError as fault:
            got = f"got {shown(bytes(values[self.name]))}"
            raise NotAllowed(self.name, got, str(fault)) from fault

"""Reports: one JSON object, or an array of them when a gateway catches up.

The common case is one typed decode of the whole payload. Only a payload that fails it is taken
apart, so that each report of an array stands alone and a refusal names its field.
"""

from __future__ import annotations

from typing import Annotated, Final, NamedTuple

import msgspec
from msgspec import Meta
from msgspec.json import Decoder

from duestroke.counting.types import Reading
from duestroke.messages.topics import press_of
from duestroke.messages.wire import (
    Field,
    NotAllowed,
    NotReadable,
    Refused,
    Time,
    micros_of,
    read,
    shown,
    size_or_text_fault,
)

_WHOLE: Final = 2**53 - 1
_Boot = Annotated[str, Meta(pattern=r"\A[ -~]{1,64}\Z")]
_Whole = Annotated[int, Meta(ge=0, le=_WHOLE)]
_Speed = Annotated[float, Meta(ge=0, le=50)] | None
_Accel = Annotated[float, Meta(ge=0, le=5000)] | None


class _Wire(msgspec.Struct, frozen=True, gc=False):
    boot: _Boot
    seq: _Whole
    at: str
    strokes: _Whole
    peak_speed_mps: _Speed = None
    peak_accel_mps2: _Accel = None


_BOOT: Final = Field("boot", Decoder(_Boot), "a string of 1 to 64 printable ASCII characters")
_SEQ: Final = Field("seq", Decoder(_Whole), "an integer from 0 to 2^53-1")
_AT: Final = Time()
_STROKES: Final = Field(
    "strokes", Decoder(_Whole), "an integer from 0 to less than the press's modulus"
)
_SPEED: Final = Field("peak_speed_mps", Decoder(_Speed), "0 to 50 m/s, or null")
_ACCEL: Final = Field("peak_accel_mps2", Decoder(_Accel), "0 to 5000 m/s2, or null")
_ONE_OR_MANY: Final = Decoder(_Wire | list[_Wire])
_PARTS: Final[Decoder[list[msgspec.Raw]]] = Decoder(list[msgspec.Raw])
_OBJECT: Final = Decoder(dict[str, msgspec.Raw])


class Report(NamedTuple):
    """A reading and the press whose topic it came on (`site/line/press`)."""

    press: str
    reading: Reading


class Decoded(NamedTuple):
    """What a payload held: good reports and refused ones, both in the order of the payload."""

    reports: list[Report]
    refused: list[Refused]


def decode_report(topic: str, payload: bytes) -> Decoded:
    """Read one report or an array of them; raises nothing, whatever the bytes hold.

    Whether `strokes` is below the press's modulus is the store's to check: it knows the press.
    """
    press = press_of(topic, "report")
    if press is None:
        detail = "not a report topic, allowed is duestroke/v1/<site>/<line>/<press>/report"
        return Decoded([], [Refused(topic, payload, "topic", None, detail, None)])
    fault = size_or_text_fault(payload)
    if fault is not None:
        return Decoded([], [Refused(topic, payload, "malformed", None, fault, press)])
    try:
        found = _ONE_OR_MANY.decode(payload)
        wires = found if isinstance(found, list) else [found]
        return Decoded([Report(press, _reading(wire)) for wire in wires], [])
    except (ValueError, RecursionError):
        return _one_by_one(topic, payload, press)


def _reading(wire: _Wire) -> Reading:
    return Reading(
        wire.boot,
        wire.seq,
        micros_of(wire.at),
        wire.strokes,
        wire.peak_speed_mps,
        wire.peak_accel_mps2,
    )


def _one_by_one(topic: str, payload: bytes, press: str) -> Decoded:
    """A payload with something wrong in it: keep each good report, refuse each other element."""
    try:
        parts = _elements(payload)
    except NotReadable as fault:
        return Decoded([], [Refused(topic, payload, "malformed", None, str(fault), press)])
    decoded = Decoded([], [])
    for path, part in parts:
        try:
            decoded.reports.append(Report(press, _checked(part)))
        except NotReadable as fault:
            detail = f"{path or 'payload'}: {fault}"
            decoded.refused.append(Refused(topic, part, "malformed", None, detail, press))
        except NotAllowed as fault:
            # The bytes kept are the element's, so its place in the array is said in words alone.
            place = f"{path}.{fault.field}" if path else fault.field
            detail = f"{place}: {fault.got}, allowed is {fault.allowed}"
            decoded.refused.append(Refused(topic, part, "field", fault.field, detail, press))
    return decoded


def _elements(payload: bytes) -> list[tuple[str, bytes]]:
    """(path, bytes) of each element: `[3]` in an array, an empty path for a single report."""
    if not payload.lstrip(b" \t\r\n").startswith(b"["):
        return [("", payload)]
    parts = read(_PARTS, payload)
    return [(f"[{index}]", bytes(part)) for index, part in enumerate(parts)]


def _checked(part: bytes) -> Reading:
    """One element, field by field. Raises NotReadable when it is no object, or NotAllowed."""
    try:
        values = read(_OBJECT, part)
    except NotReadable as fault:
        raise NotReadable(f"got {shown(part)}, allowed is a report object ({fault})") from fault
    return Reading(
        _BOOT.check(values),
        _SEQ.check(values),
        _AT.micros(values),
        _STROKES.check(values),
        _SPEED.check(values),
        _ACCEL.check(values),
    )


def element_of(topic: str, payload: bytes, reading: Reading) -> bytes:
    """The bytes of a payload's element that holds this reading; the payload where none does."""
    for _, part in _elements(payload):
        if any(report.reading == reading for report in decode_report(topic, part).reports):
            return part
    return payload

"""The sender's side: readings and status as payloads, arrays split at the size limit."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Final

import msgspec

from duestroke.counting.types import Reading
from duestroke.messages.status import State
from duestroke.messages.wire import MAX_PAYLOAD
from duestroke.times import format_time, from_micros

_ENCODER: Final = msgspec.json.Encoder()


def encode_reading(reading: Reading) -> bytes:
    """One report as a JSON object; peaks that are None are written as null."""
    at = format_time(from_micros(reading.at))
    return _ENCODER.encode(reading._asdict() | {"at": at})


def encode_status(state: State, at: datetime) -> bytes:
    """A status message; `at` is an aware datetime."""
    return _ENCODER.encode({"state": state, "at": format_time(at)})


def payloads(readings: Iterable[Reading], limit: int = MAX_PAYLOAD) -> Iterator[bytes]:
    """Readings in order as JSON arrays of at most `limit` bytes each."""
    held: list[bytes] = []
    size = 2
    for part in map(encode_reading, readings):
        if held and size + len(part) + 1 > limit:
            yield b"[" + b",".join(held) + b"]"
            held, size = [], 2
        held.append(part)
        size += len(part) + 1
    if held:
        yield b"[" + b",".join(held) + b"]"

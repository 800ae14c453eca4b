"""Canonical bytes of what a forecast was made from: the same facts give the same digest."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import datetime
from functools import lru_cache
from typing import Final

from duestroke.calendar import Stop
from duestroke.lives import Life
from duestroke.times import format_time


def canonical(content: object) -> bytes:
    """JSON with sorted keys and no spaces; times as UTC, floats in shortest form."""
    return _ENCODER.encode(content).encode()


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return format_time(value)
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"no canonical form of {type(value).__name__}")


_ENCODER: Final = json.JSONEncoder(sort_keys=True, separators=(",", ":"), default=_plain)


def digest(content: object) -> str:
    """SHA-256 of the canonical bytes, in hexadecimal."""
    return hashlib.sha256(canonical(content)).hexdigest()


def digest_of_stops(stops: Iterable[Stop]) -> str:
    """The version of a stop calendar: short digest of its stops, whatever their order."""
    return _version_of(tuple(stops))


@lru_cache(maxsize=4096)
def _version_of(stops: tuple[Stop, ...]) -> str:
    """Presses of a line share their stops."""
    rows = [(stop.id, stop.scope, stop.start, stop.end, stop.max_changes) for stop in stops]
    return digest(sorted(rows, key=canonical))[:16]


def digest_of_lives(lives: Iterable[Life], settings: Mapping[str, object]) -> str:
    """Digest of a fit: the lives it uses, sorted, and its settings (handbook figures, prior)."""
    rows = sorted((asdict(life) for life in lives), key=canonical)
    return digest({"lives": rows, "settings": settings})

"""Lives as they are kept with a fit: canonical bytes in chunks, each known by its digest.

A fit of thousands of lives follows every change of a tool at its place; most of its lives are those
of the fit before. They are put into chunks by their ids, running ones apart from ended ones, so
that a change makes one or two chunks new and the others are kept once.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Final

from duestroke.forecast.digest import canonical, digest
from duestroke.lives import Life, WearReading
from duestroke.times import parse_time

CHUNK: Final = 128
"""Lives in a chunk, about."""

Chunks = Mapping[str, bytes]
"""Canonical JSON by its SHA-256."""


class Packer:
    """Packs the lives of one place; remembers the bytes of those that have not changed."""

    def __init__(self) -> None:
        self._known: dict[str, tuple[Life, bytes]] = {}

    def pack(self, lives: Sequence[Life]) -> Chunks:
        """Chunks of these lives; the same lives give the same, in whatever order they come."""
        known = {life.id: (life, self._bytes(life)) for life in lives}
        self._known = known
        many = 1 << max(len(lives) // CHUNK, 1).bit_length() - 1
        chunks: dict[tuple[bool, int], list[bytes]] = {}
        for life_id in sorted(known):
            life, content = known[life_id]
            chunks.setdefault((life.end == "running", _number(life_id) % many), []).append(content)
        packed = (b"[" + b",".join(rows) + b"]" for rows in chunks.values())
        return {digest_of_chunk(content): content for content in packed}

    def _bytes(self, life: Life) -> bytes:
        known = self._known.get(life.id)
        return known[1] if known is not None and known[0] == life else canonical(asdict(life))


def _number(life_id: str) -> int:
    return int.from_bytes(hashlib.sha256(life_id.encode()).digest()[:4], "big")


def unpack(chunks: Iterable[bytes]) -> list[Life]:
    """The lives in chunks, by id."""
    lives = [_life(content) for chunk in chunks for content in json.loads(chunk)]
    return sorted(lives, key=lambda life: life.id)


def _life(content: dict[str, Any]) -> Life:
    ended_at = content["ended_at"]
    return Life(
        **{
            **content,
            "ended_at": None if ended_at is None else parse_time(ended_at),
            "readings": tuple(WearReading(**reading) for reading in content["readings"]),
        }
    )


def digest_of_chunk(content: bytes) -> str:
    """SHA-256 of a chunk, by which it is kept."""
    return hashlib.sha256(content).hexdigest()


def digest_of_fit(chunks: Iterable[str], settings: Mapping[str, object]) -> str:
    """Digest of a fit: of its lives, by their chunks, and of all else that it rests on."""
    return digest({"lives": sorted(chunks), "settings": settings})

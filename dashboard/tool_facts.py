"""What the API tells of one tool."""

from __future__ import annotations

import msgspec

from dashboard.client import Time
from dashboard.record import PlacedInspection, WholeEvent


class Ages(msgspec.Struct, frozen=True):
    """Strokes, None where nobody knows."""

    since_fit: int | None
    since_rework: int | None
    since_new: int | None


class Fit(msgspec.Struct, frozen=True):
    """A stretch in one place."""

    id: str
    press: str
    position: str
    fitted_at: Time
    pulled_at: Time | None
    reason: str | None
    strokes: int
    strokes_before: int | None
    size_mm: float | None = None


class Move(msgspec.Struct, frozen=True):
    """A figure that moved after it was written down."""

    subject: str
    figure: str
    was: int | None
    became: int | None
    cause: str
    reason: str
    at: Time
    by: str


class Tool(msgspec.Struct, frozen=True):
    """What `GET /tools/{serial}` tells."""

    serial: str
    kind: str
    batch: str | None
    size_mm: float | None
    registered_size_mm: float | None
    note: str | None
    state: str
    press: str | None
    position: str | None
    reworks: int
    back_at: Time | None
    strokes: Ages
    fits: tuple[Fit, ...]
    history: tuple[WholeEvent, ...]
    inspections: tuple[PlacedInspection, ...]
    moves: tuple[Move, ...]

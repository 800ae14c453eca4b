"""One module a resource. `ROUTERS` hang under the base path, `OUTSIDE` stand beside it."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter

from api.routes import flags, health, metrics, presses, quarantine, strokes, tokens

BASE: Final = "/api/v1"

ROUTERS: Final[tuple[APIRouter, ...]] = (
    presses.router,
    presses.one_router,
    strokes.router,
    flags.router,
    quarantine.router,
    tokens.router,
)
OUTSIDE: Final[tuple[APIRouter, ...]] = (health.router, metrics.router)

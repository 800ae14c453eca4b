"""One module a resource. `ROUTERS` hang under the base path, `OUTSIDE` stand beside it."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter

from api.routes import health, metrics, tokens

BASE: Final = "/api/v1"

ROUTERS: Final[tuple[APIRouter, ...]] = (tokens.router,)
OUTSIDE: Final[tuple[APIRouter, ...]] = (health.router, metrics.router)

"""One module a resource. `ROUTERS` hang under the base path, `OUTSIDE` stand beside it."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter

from api.routes import (
    caller,
    dry_windows,
    flags,
    forecasts,
    health,
    inspections,
    life_models,
    lives,
    metrics,
    past,
    positions,
    presses,
    quarantine,
    questions,
    shifts,
    stock,
    stops,
    strokes,
    tokens,
    tool_events,
    tools,
    trace,
    what_if,
)

BASE: Final = "/api/v1"

ROUTERS: Final[tuple[APIRouter, ...]] = (
    presses.router,
    presses.one_router,
    strokes.router,
    flags.router,
    dry_windows.router,
    tools.router,
    tool_events.router,
    inspections.router,
    questions.router,
    lives.router,
    life_models.router,
    what_if.router,
    forecasts.router,
    past.router,
    trace.router,
    stops.router,
    positions.router,
    shifts.router,
    stock.router,
    stock.demand_router,
    quarantine.router,
    tokens.router,
    caller.router,
)
OUTSIDE: Final[tuple[APIRouter, ...]] = (health.router, metrics.router)

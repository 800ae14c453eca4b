"""Whether the process answers, whether it can serve, and what it measures. No token needed."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, HTTPException, Request
from pydantic import Field

from api.deps import Pool
from api.problems import documented
from api.types import Model
from store.migrate import pending

router = APIRouter(tags=["health"])
_READY_WAIT_S = 2.0


class Health(Model):
    """The process answers."""

    status: Annotated[str, Field(examples=["ok"])]


@router.get("/healthz")
def healthz() -> Health:
    """The process answers; nothing else is looked at."""
    return Health(status="ok")


@router.get("/readyz", responses=documented(503))
def readyz(request: Request) -> Health:
    """The database answers and holds every migration of this version; otherwise 503."""
    pool: Pool = request.app.state.pool
    with pool.connection(timeout=_READY_WAIT_S) as conn:
        missing = pending(conn)
    if missing:
        raise HTTPException(503, f"migrations are missing: {', '.join(missing)}")
    return Health(status="ready")

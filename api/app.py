"""The API as one ASGI application. `launch` gives it the database; it reads no environment."""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from typing import Final

import psycopg
from fastapi import FastAPI
from psycopg.rows import DictRow, dict_row
from psycopg_pool import ConnectionPool
from starlette.middleware.gzip import GZipMiddleware

from api import problems
from api.deps import Pool
from api.middleware import BodyLimit, RequestLog, TokenFirst, WeakTags
from api.routes import BASE, OUTSIDE, ROUTERS

DESCRIPTION: Final = """
Stroke counts, tool lives and due ranges of a can plant's body makers.

Times are RFC 3339 with an offset; answers are in UTC. Errors are problem details (RFC 9457).
Lists take `limit` and `cursor`; a `POST` that makes something is safe to send again.
"""
_SESSION: Final = "-c timezone=UTC -c statement_timeout=30s -c lock_timeout=10s"
"""A request that waits longer than this answers 503; it must not keep its turn from the others."""
MAX_BODY_BYTES: Final = 32 * 1024 * 1024
"""Room for a plant's past lives in one `POST`; more is refused with 413."""


def create_app(
    *,
    database_url: str,
    pool_size: int = 8,
    pool_timeout_s: float = 5.0,
    clock: Callable[[], datetime] = lambda: datetime.now(UTC),
) -> FastAPI:
    """The API over the database at `database_url`, with at most `pool_size` connections.

    It starts while the database is away and answers 503 until it is back, within about
    `pool_timeout_s` seconds. `clock` gives aware times.
    """

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        app.state.turns = asyncio.Semaphore(pool_size)
        with _pool(database_url, pool_size, pool_timeout_s) as pool:
            app.state.pool = pool
            yield

    document = f"{BASE}/openapi.json"
    app = FastAPI(
        title="Duestroke",
        version="1",
        description=DESCRIPTION,
        openapi_url=document,
        docs_url=None,  # the pages FastAPI offers load scripts from outside
        redoc_url=None,
        lifespan=lifespan,
    )
    app.state.clock = clock
    app.state.served = Counter()
    problems.install(app)
    for router in OUTSIDE:
        app.include_router(router)
    for router in ROUTERS:
        app.include_router(router, prefix=BASE)
    _surround(app, free=frozenset({document}))
    return app


def _surround(app: FastAPI, free: frozenset[str]) -> None:
    """Add what every request passes through. The last one added is the outermost.

    The tag is made over the plain body, so compression lies outside it; `free` needs no token.
    """
    app.add_middleware(BodyLimit, most=MAX_BODY_BYTES)
    app.add_middleware(TokenFirst, base=BASE, free=free)
    app.add_middleware(WeakTags)
    app.add_middleware(GZipMiddleware, minimum_size=1_000, compresslevel=5)
    app.add_middleware(RequestLog, served=app.state.served)


def _pool(database_url: str, size: int, timeout_s: float) -> Pool:
    """Connections that are tried before use, so that a database started again is no error.

    `reconnect_timeout` is short because the pause between tries doubles until it ends.
    """
    return ConnectionPool(
        database_url,
        connection_class=psycopg.Connection[DictRow],
        kwargs={
            "row_factory": dict_row,
            "application_name": "duestroke-api",
            "options": _SESSION,
        },
        min_size=1,
        max_size=size,
        timeout=timeout_s,
        reconnect_timeout=timeout_s,
        check=ConnectionPool.check_connection,
        open=False,
    )

"""What an endpoint asks for: the unit of work, the time, and a caller with the role it needs."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Final

import psycopg
from fastapi import Depends, HTTPException, Request, Security
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from psycopg.rows import DictRow
from psycopg_pool import ConnectionPool

from api.problems import UNSIGNED
from api.types import Role
from store.tokens import digest_of
from store.unit import Unit

ROLES: Final[tuple[Role, ...]] = ("viewer", "crew", "engineer", "admin")
"""Each role may do what the ones before it may."""

WAIT_S: Final = 10.0
"""How long a request waits for its turn at the database before it answers 503."""

Pool = ConnectionPool[psycopg.Connection[DictRow]]
_bearer = HTTPBearer(auto_error=False, description="A token from `POST /tokens`")


@dataclass(frozen=True)
class Caller:
    """Who asks: the token's name, as ledgers record it, and its role."""

    name: str
    role: Role


def _now(request: Request) -> datetime:
    now: datetime = request.app.state.clock()
    return now


async def _turn(request: Request) -> AsyncIterator[None]:
    """One request per connection: the others wait here, without holding a worker thread.

    Waiting inside the pool would fill all threads with waiters and leave none for those who
    hold a connection and need a thread to give it back.
    """
    turns: asyncio.Semaphore = request.app.state.turns
    async with asyncio.timeout(WAIT_S):
        await turns.acquire()
    try:
        yield
    finally:
        turns.release()


def _unit(request: Request, _: Annotated[None, Depends(_turn, scope="function")]) -> Iterator[Unit]:
    pool: Pool = request.app.state.pool
    with pool.connection() as conn, Unit(conn) as unit:
        yield unit


Now = Annotated[datetime, Depends(_now)]
UnitDep = Annotated[Unit, Depends(_unit, scope="function")]
"""A unit of work. An endpoint that writes calls `unit.commit()`; otherwise all is rolled back."""


def require(role: Role) -> Callable[..., Caller]:
    """A dependency: the caller, when the token is valid and its role is at least `role`.

    Answers 401 without a valid token and 403 when the role does not reach.
    """
    needed = ROLES.index(role)

    def check(
        unit: UnitDep,
        now: Now,
        given: Annotated[HTTPAuthorizationCredentials | None, Security(_bearer)],
    ) -> Caller:
        caller = _caller(unit, given, now)
        if ROLES.index(caller.role) < needed:
            raise HTTPException(403, f"this needs the role {role}, the token has {caller.role}")
        return caller

    return check


def _caller(unit: Unit, given: HTTPAuthorizationCredentials | None, now: datetime) -> Caller:
    if given is None:
        raise _unauthorised(UNSIGNED, "Bearer")
    token = unit.tokens.find(digest_of(given.credentials), now)
    if token is None:
        raise _unauthorised(
            "the token is unknown, expired or taken back", 'Bearer error="invalid_token"'
        )
    return Caller(token.name, token.role)


def _unauthorised(detail: str, challenge: str) -> HTTPException:
    return HTTPException(401, detail, headers={"WWW-Authenticate": challenge})


Viewer = Annotated[Caller, Depends(require("viewer"))]
Crew = Annotated[Caller, Depends(require("crew"))]
Engineer = Annotated[Caller, Depends(require("engineer"))]
Admin = Annotated[Caller, Depends(require("admin"))]

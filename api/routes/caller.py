"""Whose a token is: what a program that signs people in has to know."""

from __future__ import annotations

from fastapi import APIRouter, Response

from api.deps import Viewer
from api.problems import documented
from api.types import Answer, Role

router = APIRouter(prefix="/caller", tags=["tokens"], responses=documented(401, 403, 422, 503))


class CallerOut(Answer):
    """The token's name, as ledgers record it, and its role."""

    name: str
    role: Role


@router.get("")
def read_caller(caller: Viewer, response: Response) -> CallerOut:
    """Who asks, by the token sent."""
    response.headers["Cache-Control"] = "no-store"
    return CallerOut(name=caller.name, role=caller.role)

"""Tokens: made, listed and taken back by an admin. A secret is shown once and kept nowhere."""

from __future__ import annotations

import secrets
import uuid
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, HTTPException, Path, Response
from pydantic import Field

from api.deps import Admin, Now, UnitDep
from api.paging import PagingDep
from api.problems import documented
from api.types import Model, Page, Role, SenderId, Text, Time
from duestroke import names
from duestroke.errors import BadField, Contradiction
from duestroke.times import format_time
from store.tokens import Token, digest_of
from store.unit import Unit

router = APIRouter(prefix="/tokens", tags=["tokens"], responses=documented(401, 403, 422, 503))

TokenId = Annotated[str, Path(pattern=rf"^{names.SERIAL}$", examples=["gateway-hall-2"])]


class TokenIn(Model):
    """A token to make."""

    id: SenderId | None = None
    name: Annotated[Text, Field(min_length=1, max_length=200, examples=["Tool room"])]
    role: Annotated[Role, Field(examples=["crew"])]
    expires_at: Annotated[Time | None, Field(description="left out or null: never")] = None


class TokenOut(Model):
    """A token on record, without its secret."""

    id: str
    name: str
    role: Role
    created_at: Time
    created_by: Annotated[str, Field(description="name of the token that made it")]
    expires_at: Time | None


class TokenMade(TokenOut):
    """The answer to `POST`: the only place where the secret stands."""

    token: Annotated[
        str | None, Field(description="the bearer token, shown this once; null when sent again")
    ]
    warnings: list[str]


@router.post("", status_code=201, responses={200: {"model": TokenMade}, **documented(400, 409)})
def make_token(
    body: TokenIn, caller: Admin, unit: UnitDep, now: Now, response: Response
) -> TokenMade:
    """Make a token. Sent again with the same id and content: 200, without the secret."""
    response.headers["Cache-Control"] = "no-store"
    known = unit.tokens.get(body.id) if body.id else None
    secret = secrets.token_urlsafe(32)
    made = None if known else _make(body, secret, unit, by=caller.name, at=now)
    if made is None:
        response.status_code = 200
        return _made(_same(known or unit.tokens.get(body.id or ""), body), None)
    unit.commit()
    return _made(made, secret)


def _make(body: TokenIn, secret: str, unit: Unit, *, by: str, at: datetime) -> Token | None:
    """The new token; None when somebody was faster with the same id."""
    if body.expires_at is not None and body.expires_at <= at:
        raise BadField("expires_at", format_time(body.expires_at), "a time to come, or null")
    return unit.tokens.add(
        body.id or uuid.uuid4().hex,
        name=body.name,
        role=body.role,
        digest=digest_of(secret),
        expires_at=body.expires_at,
        by=by,
        at=at,
    )


@router.get("")
def list_tokens(_: Admin, unit: UnitDep, paging: PagingDep) -> Page[TokenOut]:
    """Tokens that were not taken back, by id; expired ones stay in the list."""
    after = paging.after(str)
    rows = unit.tokens.page(paging.fetch, after[0] if after else None)
    return paging.page([_out(row) for row in rows], lambda row: [row.id])


@router.delete("/{token_id}", status_code=204, responses=documented(404))
def revoke_token(token_id: TokenId, _: Admin, unit: UnitDep, now: Now) -> None:
    """Take a token back. It opens nothing from this moment."""
    if not unit.tokens.revoke(token_id, now):
        raise HTTPException(404, f"no token has the id {token_id}")
    unit.commit()


def _same(known: Token | None, body: TokenIn) -> Token:
    """The token on record, when the one sent again is the same; else a contradiction."""
    if known is None or known.revoked_at is not None:
        raise Contradiction("a token of this id was made and taken back", field="id")
    if (known.name, known.role, known.expires_at) != (body.name, body.role, body.expires_at):
        raise Contradiction(
            f"the id {known.id} belongs to a token with other content: name {known.name!r}, "
            f"role {known.role}, expires_at {_words(known.expires_at)}",
            field="id",
        )
    return known


def _words(at: datetime | None) -> str:
    return "never" if at is None else format_time(at)


def _out(token: Token) -> TokenOut:
    return TokenOut(
        id=token.id,
        name=token.name,
        role=token.role,
        created_at=token.created_at,
        created_by=token.created_by,
        expires_at=token.expires_at,
    )


def _made(token: Token, secret: str | None) -> TokenMade:
    warnings = [] if secret else ["sent again: the token itself was shown the first time only"]
    return TokenMade(**_out(token).model_dump(mode="python"), token=secret, warnings=warnings)

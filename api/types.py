"""Types that bodies and queries of the API share: strict, in the contract's words."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Final, Generic, Literal, TypeVar

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    StringConstraints,
    WithJsonSchema,
)

from duestroke import names
from duestroke.times import format_time, parse_time

BIGINT_MAX: Final = 2**63 - 1
"""What a database column of eight bytes holds; an id beyond it is a wrong field, not a fault."""

T = TypeVar("T")

Role = Literal["viewer", "crew", "engineer", "admin"]


class Model(BaseModel):
    """Base of every body. A wrong JSON type is an error, an unknown field is kept out.

    NaN and infinities, which Python's JSON reader lets through, are refused.
    """

    model_config = ConfigDict(
        strict=True, extra="ignore", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=False
    )


def said(body: Model, *without: str) -> dict[str, Any]:
    """The fields of a body as Python values (`model_dump` would write times as text)."""
    return {name: getattr(body, name) for name in type(body).model_fields if name not in without}


class Answer(Model):
    """Base of what we answer with: `from` and `to`, which Python cannot spell, go by alias."""

    model_config = ConfigDict(validate_by_name=True, serialize_by_alias=True)


class Page(Model, Generic[T]):
    """One page of a list: `items`, and the `cursor` of the next page or null at the end."""

    items: list[T]
    next: Annotated[str | None, Field(description="`cursor` of the next page; null at the end")]


def _read_time(value: object) -> datetime:
    # A datetime passes: answers are built from rows that already hold one.
    return parse_time(value) if isinstance(value, str) else _aware(value)


def _aware(value: object) -> datetime:
    if not isinstance(value, datetime) or value.tzinfo is None:
        raise ValueError("an RFC 3339 time with an offset, such as 2026-03-01T06:00:00Z")
    return value


Time = Annotated[
    datetime,
    BeforeValidator(_read_time),
    PlainSerializer(format_time, return_type=str),
    WithJsonSchema(
        {"type": "string", "format": "date-time", "examples": ["2026-03-01T06:00:00Z"]},
    ),
]
"""An RFC 3339 time with an offset, kept to the microsecond; answers are UTC with `Z`."""

Text = Annotated[str, StringConstraints(pattern=r"^[^\x00]*$")]
"""Free text. No NUL: the database cannot hold it."""

Name = Annotated[str, Field(pattern=rf"^{names.PART}$")]
PressName = Annotated[str, Field(pattern=rf"^{names.PRESS}$", examples=["harlow-mere/2/07"])]
Scope = Annotated[str, Field(pattern=rf"^{names.SCOPE}$", examples=["harlow-mere/2"])]
Serial = Annotated[str, Field(pattern=rf"^{names.SERIAL}$", examples=["P-26-0117"])]
SenderId = Annotated[
    str, Field(pattern=rf"^{names.SERIAL}$", description="chosen by the sender; made if left out")
]

"""Pages of a list by the last key seen: an opaque cursor, never an offset."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Final, TypeVar

from fastapi import Depends, Query

from api.types import BIGINT_MAX, Page
from duestroke.errors import BadField
from duestroke.times import format_time, parse_time

T = TypeVar("T")
DEFAULT_LIMIT: Final = 100
MAX_LIMIT: Final = 1_000
_ALLOWED: Final = "the `next` of an earlier page of this list"


@dataclass(frozen=True)
class Paging:
    """What a list call asked for: `limit` rows after the one that `cursor` names."""

    limit: int
    cursor: str | None

    @property
    def fetch(self) -> int:
        """Rows to ask the store for: one more than are shown tells whether a page follows."""
        return self.limit + 1

    def after(self, *kinds: type) -> tuple[Any, ...] | None:
        """The last key seen, one value for each of `kinds` (str, int, datetime); None at the start.

        Raises BadField when the cursor is not one of this list's.
        """
        if self.cursor is None:
            return None
        try:
            values = json.loads(base64.b64decode(self.cursor, b"-_", validate=True))
        except (binascii.Error, ValueError, RecursionError) as fault:
            raise BadField("cursor", self.cursor, _ALLOWED) from fault
        if not isinstance(values, list) or len(values) != len(kinds):
            raise BadField("cursor", self.cursor, _ALLOWED)
        return tuple(self._value(v, kind) for v, kind in zip(values, kinds, strict=True))

    def _value(self, value: object, kind: type) -> object:
        if kind is datetime and isinstance(value, str):
            try:
                return parse_time(value)
            except ValueError as fault:
                raise BadField("cursor", self.cursor, _ALLOWED) from fault
        if type(value) is not kind or not _is_storable(value):
            raise BadField("cursor", self.cursor, _ALLOWED)
        return value

    def page(self, rows: Sequence[T], key: Callable[[T], Sequence[Any]]) -> Page[T]:
        """The answer from up to `fetch` rows; `key` gives the sort key of a row."""
        shown = list(rows[: self.limit])
        more = len(rows) > self.limit
        return Page(items=shown, next=encode(key(shown[-1])) if more else None)


def encode(key: Sequence[Any]) -> str:
    """A sort key as an opaque cursor: base64url of its JSON."""
    values = [format_time(v) if isinstance(v, datetime) else v for v in key]
    return base64.urlsafe_b64encode(json.dumps(values).encode()).decode()


def _is_storable(value: object) -> bool:
    """What a database column can be compared with: no giant number, NUL or lone surrogate."""
    if isinstance(value, str):
        return not any(char == "\0" or "\ud800" <= char <= "\udfff" for char in value)
    return not isinstance(value, int) or abs(value) <= BIGINT_MAX


def _paging(
    limit: Annotated[int, Query(ge=1, le=MAX_LIMIT, description="rows a page")] = DEFAULT_LIMIT,
    cursor: Annotated[
        str | None, Query(max_length=1_000, description="`next` of the page before")
    ] = None,
) -> Paging:
    return Paging(limit, cursor)


PagingDep = Annotated[Paging, Depends(_paging)]

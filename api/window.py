"""A window of time in a query: holds `from`, not `to`."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Final

from fastapi import Depends, Query
from pydantic import BeforeValidator

from api.types import Time
from duestroke.errors import BadField
from duestroke.times import format_time

_SPACED_OFFSET: Final = re.compile(r" (\d{2}:\d{2})$")


def _with_plus(value: object) -> object:
    """A `+` not written %2B comes out of a query as a space; before hours it can only be that."""
    return _SPACED_OFFSET.sub(r"+\1", value) if isinstance(value, str) else value


QueryTime = Annotated[Time, BeforeValidator(_with_plus)]


@dataclass(frozen=True)
class Window:
    """From `start`, held, to `end`, not held; None where that end is open."""

    start: datetime | None
    end: datetime | None


def window(start: datetime | None, end: datetime | None) -> Window:
    """The window between two times. Raises BadField when `start` is after `end`."""
    if start is not None and end is not None and start > end:
        raise BadField("from", format_time(start), f"a time not after `to`, {format_time(end)}")
    return Window(start, end)


def _window(
    start: Annotated[
        QueryTime | None, Query(alias="from", description="held; a + in a query is written %2B")
    ] = None,
    end: Annotated[QueryTime | None, Query(alias="to", description="not held")] = None,
) -> Window:
    return window(start, end)


WindowDep = Annotated[Window, Depends(_window)]

"""A window of time in a query: holds `from`, not `to`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import Depends, Query

from api.types import Time
from duestroke.errors import BadField
from duestroke.times import format_time


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
        Time | None, Query(alias="from", description="held; a + in a query is written %2B")
    ] = None,
    end: Annotated[Time | None, Query(alias="to", description="not held")] = None,
) -> Window:
    return window(start, end)


WindowDep = Annotated[Window, Depends(_window)]

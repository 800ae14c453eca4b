"""All pages of the board, in the order of the navigation. A new page is one more line here."""

from __future__ import annotations

from typing import Final

from dashboard import desk, entry, life, press, records, sign_in, tool, tool_room, trace, wall
from dashboard.pages import Page

PAGES: Final[tuple[Page, ...]] = (
    desk.PAGE,
    press.PAGE,
    tool.PAGE,
    entry.PAGE,
    tool_room.PAGE,
    life.PAGE,
    trace.PAGE,
    records.PAGE,
    wall.PAGE,
    sign_in.PAGE,
)

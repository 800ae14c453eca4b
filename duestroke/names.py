"""Names of sites, lines, presses, positions, kinds and tools, as the contract spells them."""

from __future__ import annotations

import re
from typing import Final

PART: Final = r"[a-z0-9-]{1,32}"
PRESS: Final = rf"{PART}/{PART}/{PART}"
SCOPE: Final = rf"{PART}(/{PART}){{0,2}}"
SERIAL: Final = r"[A-Za-z0-9._-]{1,64}"

PRESS_POSITION: Final = "press"
"""The position of the press itself: its serial is the press's own name."""

DEFAULT_POSITIONS: Final[tuple[tuple[str, str, float | None], ...]] = (
    ("punch", "punch", 60e6),
    ("redraw-die", "redraw-die", 80e6),
    ("redraw-sleeve", "redraw-sleeve", 40e6),
    ("ring-1", "ironing-ring", 60e6),
    ("ring-2", "ironing-ring", 50e6),
    ("ring-3", "ironing-ring", 35e6),
    ("stripper", "stripper", 20e6),
    ("dome-die", "dome-die", 130e6),
    ("press", "press", None),
)
"""Position, kind, default handbook life (strokes), cup to dome. Common practice, no source."""

DEFAULT_SPREAD: Final = 0.48
"""Default standard deviation of log life. Common practice, no source."""


def is_match(pattern: str, text: str) -> bool:
    """Whether the whole of `text` matches one of the patterns above."""
    return re.fullmatch(pattern, text) is not None


def split_press(press: str) -> tuple[str, str, str]:
    """`site/line/press` to its three parts. Raises ValueError when it is not of that form."""
    if not is_match(PRESS, press):
        raise ValueError(f"not a press name: {press!r}")
    site, line, name = press.split("/")
    return site, line, name


def in_scope(press: str, scope: str) -> bool:
    """Whether a press (`site/line/press`) lies within a scope (`site`, `site/line` or a press)."""
    return press == scope or press.startswith(scope + "/")

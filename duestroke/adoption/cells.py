"""What one cell says: spreadsheets hold numbers, dates and text, and text that looks like either.

Each reader takes a cell that is not empty and raises ValueError that says what is allowed.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from datetime import date, datetime, time
from typing import Final

from duestroke.adoption.ages import Rounded, read_strokes
from duestroke.names import is_match
from duestroke.times import parse_time

Cell = str | int | float | bool | datetime | date | time | None
Reader = Callable[[Cell], object]
_LOCAL: Final = ("%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M")
_MOMENT: Final = "a time such as 2026-03-01 06:00 (the press's own) or 2026-03-01T06:00:00Z"
UNKNOWN: Final = frozenset({"unknown", "not known", "?", "n/a", "nobody knows"})


def text_of(cell: Cell) -> str:
    """A cell as the text that the sheet shows: a serial typed as a number is still a serial."""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return "" if cell is None else str(cell).strip()


def is_empty(cell: Cell) -> bool:
    """Nothing in it, or blanks."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def matching(pattern: str, allowed: str) -> Reader:
    """Text of one form."""

    def read(cell: Cell) -> str:
        text = text_of(cell)
        if not is_match(pattern, text):
            raise ValueError(allowed)
        return text

    return read


def text(longest: int) -> Reader:
    """Any text up to so many characters."""

    def read(cell: Cell) -> str:
        found = text_of(cell)
        if len(found) > longest or "\x00" in found:
            raise ValueError(f"at most {longest} characters")
        return found

    return read


def one_of(choices: Sequence[str]) -> Reader:
    """One word of several, in any case."""

    def read(cell: Cell) -> str:
        word = text_of(cell).casefold()
        if word not in choices:
            raise ValueError("one of " + ", ".join(choices))
        return word

    return read


def number(least: float, most: float, *, above: bool = False) -> Reader:
    """A number from `least` (or above it) to `most`, with a point before its fraction."""
    begin = "above" if above else "from"
    allowed = f"a number {begin} {least:g} to {most:g}, with a point before its fraction"

    def read(cell: Cell) -> float:
        value = _float(cell, allowed)
        if not least <= value <= most or (above and value == least):
            raise ValueError(allowed)
        return value

    return read


def _float(cell: Cell, allowed: str) -> float:
    if isinstance(cell, bool) or not isinstance(cell, (str, int, float)):
        raise ValueError(allowed)
    try:
        value = float(cell.strip() if isinstance(cell, str) else cell)
    except ValueError:
        raise ValueError(allowed) from None
    if not math.isfinite(value) or "_" in str(cell):
        raise ValueError(allowed)
    return value


def integer(least: int, most: int) -> Reader:
    """A whole number; its thousands may be set apart by commas."""
    allowed = f"a whole number from {least:,} to {most:,}"

    def read(cell: Cell) -> int:
        plain = cell
        if isinstance(cell, str) and re.fullmatch(r"\s*\d{1,3}(,\d{3})+\s*", cell):
            plain = cell.replace(",", "")
        value = _float(plain, allowed)
        if not value.is_integer() or not least <= value <= most:
            raise ValueError(allowed)
        return int(value)

    return read


def strokes(cell: Cell) -> Rounded:
    """Strokes, with how far a figure rounded by hand may be off."""
    if isinstance(cell, bool) or not isinstance(cell, (str, int, float)):
        raise ValueError("strokes such as 20,000,000 or about 20 M")
    found = read_strokes(text_of(cell))
    if found.value > 10**15:
        raise ValueError("at most 1,000,000,000,000,000 strokes")
    return found


def strokes_or_unknown(cell: Cell) -> Rounded | None:
    """The same, or a word for that nobody knows."""
    if isinstance(cell, str) and cell.strip().casefold() in UNKNOWN:
        return None
    try:
        return strokes(cell)
    except ValueError as fault:
        raise ValueError(f"{fault}, or unknown") from None


def moment(cell: Cell) -> datetime:
    """A time; without an offset it is the press's own and stays naive here."""
    if isinstance(cell, datetime):
        return cell
    if isinstance(cell, date):
        return datetime.combine(cell, time.min)
    if not isinstance(cell, str):
        raise ValueError(_MOMENT)
    text = cell.strip()
    try:
        return parse_time(text)
    except ValueError:
        return _local(text)


def _local(text: str) -> datetime:
    for form in (*_LOCAL, "%Y-%m-%d"):
        try:
            return datetime.strptime(text, form)  # noqa: DTZ007 (the press's own zone comes later)
        except ValueError:
            continue
    raise ValueError(_MOMENT)

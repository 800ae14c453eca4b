"""The sheets of an adoption: five of them, each with its named columns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from duestroke.adoption import cells
from duestroke.adoption.cells import Reader
from duestroke.lives import END_REASONS
from duestroke.names import PART, PRESS, SERIAL

_PRESS: Final = cells.matching(PRESS, "site/line/press, each of a-z 0-9 -, such as works/2/07")
_SERIAL: Final = cells.matching(SERIAL, "1 to 64 of A-Z a-z 0-9 . _ -")
_PART: Final = cells.matching(PART, "1 to 32 of a-z 0-9 -")
_MOST: Final = 1e9
_AGE_WORDS: Final = "rounded as you have it: 20 M, about 20 M, 20 M +/- 2 M"


@dataclass(frozen=True, slots=True)
class Column:
    """One column. needed: no row without it.  words: what it holds, for who fills it in."""

    name: str
    read: Reader
    words: str
    example: str
    needed: bool = False


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: what a row of it stands for, and its columns."""

    name: str
    words: str
    columns: tuple[Column, ...]

    def column(self, name: str) -> Column | None:
        """The column of that name."""
        return next((column for column in self.columns if column.name == name), None)


_PRESSES: Final = Sheet(
    "presses",
    "one row for each press",
    (
        Column("press", _PRESS, "its name: site/line/press", "works/2/07", needed=True),
        Column(
            "modulus",
            cells.integer(1_000, 2**53),
            "the counter turns to 0 at this value; left out: 4,294,967,296",
            "65536",
        ),
        Column(
            "max_spm",
            cells.integer(1, 2_000),
            "strokes a minute that it can reach at most; left out: 480",
            "420",
        ),
        Column("timezone", cells.text(64), "IANA name; left out: UTC", "Europe/London"),
        Column("crank_radius_mm", cells.number(0, 10_000, above=True), "half of its stroke", "250"),
        Column(
            "rod_length_mm",
            cells.number(0, 10_000, above=True),
            "longer than the crank's radius; empty for a straight-line drive",
            "2000",
        ),
    ),
)
_TOOLS: Final = Sheet(
    "tools",
    "one row for each tool, fitted or not",
    (
        Column("serial", _SERIAL, "what is engraved on it", "IR24-0412-M", needed=True),
        Column("kind", _PART, "a kind that a position takes", "ironing-ring", needed=True),
        Column("batch", cells.text(200), "as delivered", "IR-2404"),
        Column("size_mm", cells.number(0, 10_000, above=True), "its size now", "66.105"),
        Column("note", cells.text(2_000), "anything else", ""),
    ),
)
_FITS: Final = Sheet(
    "fits",
    "one row for each tool that sits in a press now",
    (
        Column("press", _PRESS, "where it sits", "works/2/07", needed=True),
        Column("position", _PART, "and at which position", "ring-3", needed=True),
        Column("serial", _SERIAL, "which tool", "IR24-0412-M", needed=True),
        Column(
            "at",
            cells.moment,
            "when it was fitted, or the time for which its strokes are right",
            "2026-03-01 06:00",
            needed=True,
        ),
        Column(
            "strokes",
            cells.strokes_or_unknown,
            f"its strokes since new or rework at that time, {_AGE_WORDS}, or unknown",
            "about 20 M",
            needed=True,
        ),
        Column("by", cells.text(200), "who says so", "tool room"),
        Column("note", cells.text(2_000), "anything else", ""),
    ),
)
_LIVES: Final = Sheet(
    "lives",
    "one row for each past life of a tool, from new or rework to its end",
    (
        Column("serial", _SERIAL, "which tool", "IR21-0077-K", needed=True),
        Column("kind", _PART, "its kind", "ironing-ring", needed=True),
        Column("position", _PART, "where it ran", "ring-3", needed=True),
        Column(
            "strokes",
            cells.strokes,
            f"its age at the end, {_AGE_WORDS}",
            "31,400,000",
            needed=True,
        ),
        Column(
            "end",
            cells.one_of(END_REASONS),
            "why it came out: " + ", ".join(END_REASONS),
            "worn",
            needed=True,
        ),
        Column("strokes_low", cells.strokes, "its age when last found good", "28.9 M"),
        Column("entry_strokes", cells.strokes, "its age when first seen; left out: 0", ""),
        Column("press", _PRESS, "in which press", "works/2/05"),
        Column("batch", cells.text(200), "as delivered", "IR-2104"),
        Column("ended_at", cells.moment, "when it came out", "2025-11-18"),
        Column(
            "mean_speed_mps",
            cells.number(0, 50, above=True),
            "mean peak speed of the punch over its life, m/s",
            "10.3",
        ),
    ),
)
_INSPECTIONS: Final = Sheet(
    "inspections",
    "one row for each time that a tool was looked at or measured: a verdict, a reading or both",
    (
        Column("serial", _SERIAL, "which tool", "IR24-0412-M", needed=True),
        Column("at", cells.moment, "when", "2026-03-01 09:10", needed=True),
        Column("verdict", cells.one_of(("good", "worn")), "good or worn", "good"),
        Column("quantity", cells.text(64), "what was read", "bore"),
        Column("value", cells.number(-_MOST, _MOST), "change since fit or rework", "4.2"),
        Column("unit", cells.text(16), "its unit", "um"),
        Column("limit", cells.number(-_MOST, _MOST), "value at which it comes out", "6"),
        Column("uncertainty", cells.number(0, _MOST), "half-width of its 95 % range", "0.8"),
        Column("by", cells.text(200), "who looked", "J. Thorne"),
        Column("note", cells.text(2_000), "anything else", ""),
    ),
)
SHEETS: Final[dict[str, Sheet]] = {
    sheet.name: sheet for sheet in (_PRESSES, _TOOLS, _FITS, _LIVES, _INSPECTIONS)
}
"""By name, in the order in which they are taken in."""

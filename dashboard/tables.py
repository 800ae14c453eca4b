"""Plain tables: words for the reader, and the same rows as values for a download (RFC 4180)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from dashboard.fleet import Document

MOST_ROWS: Final = 1_000

Value = str | int | float | bool | None


@dataclass(frozen=True, slots=True)
class Column:
    """One column. `word`: with its unit, as in `Strokes, M`.  name: in the download, with its unit.

    right: whether figures stand at its right edge.
    """

    word: str
    name: str
    right: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """Words, perhaps leading somewhere. tone: `act`, `doubt`, `quiet` or none."""

    text: str
    href: str = ""
    tone: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One row: a cell a column, and a value a column for the download.

    gone: struck through, as what was corrected or taken back.
    """

    key: str
    cells: Sequence[str | Cell]
    values: Sequence[Value]
    gone: bool = False


def table(key: str, caption: str, columns: Sequence[Column], rows: Sequence[Row]) -> Document:
    """A table of at most `MOST_ROWS` rows, and its download under the name `key`.csv.

    Raises ValueError where a row does not have a cell and a value for each column.
    """
    for row in rows:
        if not len(row.cells) == len(row.values) == len(columns):
            raise ValueError(f"row {row.key!r}: not one cell and one value a column")
    shown = rows[:MOST_ROWS]
    return {
        "key": key,
        "caption": caption,
        "head": [{"word": column.word, "right": column.right} for column in columns],
        "rows": [
            {"key": row.key, "gone": row.gone, "cells": [_cell(cell) for cell in row.cells]}
            for row in shown
        ],
        "more": _more(len(rows)),
        "csv": {
            "head": [column.name for column in columns],
            "rows": [list(row.values) for row in shown],
        },
    }


def _cell(cell: str | Cell) -> Document | str:
    if isinstance(cell, str):
        return cell
    return {"text": cell.text, "href": cell.href, "tone": cell.tone}


def _more(count: int) -> str:
    return f"The first {MOST_ROWS:,} of {count:,} rows." if count > MOST_ROWS else ""

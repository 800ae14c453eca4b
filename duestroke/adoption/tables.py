"""A table of cells to records; every cell that cannot be read is refused by row and column."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from duestroke.adoption.cells import Cell, is_empty, text_of
from duestroke.adoption.columns import SHEETS, Column, Sheet

HEADING_ROW = 1
_CUT = 80


@dataclass(frozen=True, slots=True)
class Refusal:
    """One cell that cannot stand. row: as the spreadsheet numbers it.  value: as it was written."""

    sheet: str
    row: int
    column: str
    value: str
    reason: str

    def __str__(self) -> str:
        got = "nothing" if not self.value else repr(self.value[:_CUT])
        return f"{self.sheet}, row {self.row}, {self.column}: got {got}, {self.reason}"


@dataclass(frozen=True, slots=True)
class Record:
    """One row. values: by column, those that were filled in.  said: the same as written."""

    sheet: str
    row: int
    values: Mapping[str, Any]
    said: Mapping[str, str]

    def refused(self, column: str, reason: str) -> Refusal:
        """This row, refused for one column."""
        return Refusal(self.sheet, self.row, column, self.said.get(column, ""), reason)


@dataclass(slots=True)
class Table:
    """What a sheet holds. ignored: headings that are none of its columns.

    refused: rows that could not be read, as they were written.
    """

    records: list[Record] = field(default_factory=list)
    refusals: list[Refusal] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)
    refused: list[Mapping[str, str]] = field(default_factory=list)

    def held(self, column: str) -> list[str]:
        """What rows that could not be read name in a column: others may rest on it."""
        return [said[column] for said in self.refused if said.get(column)]


def read_table(sheet: Sheet, rows: Sequence[Sequence[Cell]]) -> Table:
    """Rows of cells, the headings first. Empty rows are passed over, and so is an empty sheet."""
    table = Table()
    if all(is_empty(cell) for row in rows for cell in row):
        return table
    columns = _columns(sheet, rows[0], table)
    if table.refusals:
        return table
    for number, row in enumerate(rows[1:], start=HEADING_ROW + 1):
        if not all(is_empty(cell) for cell in row):
            _read_row(sheet, number, row, columns, table)
    return table


def _columns(sheet: Sheet, headings: Sequence[Cell], table: Table) -> dict[int, Column]:
    found: dict[int, Column] = {}
    for place, heading in enumerate(headings):
        name = "_".join(text_of(heading).casefold().split())
        column = sheet.column(name)
        if column is None:
            table.ignored += [text_of(heading)] if name else []
        elif column in found.values():
            table.refusals.append(_heading(sheet, name, "stands twice"))
        else:
            found[place] = column
    for column in sheet.columns:
        if column.needed and column not in found.values():
            table.refusals.append(_heading(sheet, column.name, "the column is missing"))
    return found


def _heading(sheet: Sheet, name: str, reason: str) -> Refusal:
    return Refusal(sheet.name, HEADING_ROW, name, "", reason)


def _read_row(
    sheet: Sheet, number: int, row: Sequence[Cell], columns: Mapping[int, Column], table: Table
) -> None:
    values: dict[str, Any] = {}
    said: dict[str, str] = {}
    refusals: list[Refusal] = []
    for place, column in columns.items():
        cell = row[place] if place < len(row) else None
        said[column.name] = text_of(cell)
        try:
            if not is_empty(cell):
                values[column.name] = column.read(cell)
            elif column.needed:
                raise ValueError(column.words)
        except ValueError as fault:
            reason = f"allowed is {fault}"
            refusals.append(Refusal(sheet.name, number, column.name, text_of(cell), reason))
    if refusals:
        table.refusals += refusals
        table.refused.append(said)
    else:
        table.records.append(Record(sheet.name, number, values, said))


def refusal_order(refusal: Refusal) -> tuple[int, int, str]:
    """By sheet as they are taken in, row, column."""
    names = list(SHEETS)
    place = names.index(refusal.sheet) if refusal.sheet in names else len(names)
    return (place, refusal.row, refusal.column)

"""Spreadsheets on disk as tables of cells, and empty ones to fill in."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, cast
from zipfile import BadZipFile

from duestroke.adoption import SHEETS, Cell, Sheet

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

_DELIMITERS: Final = ",;\t"
_GUIDE: Final = "columns"
MOST_ROWS: Final = 200_000


class NotRead(Exception):
    """A file cannot be read as a spreadsheet; the message is one line that names it."""


@dataclass(frozen=True)
class Found:
    """One sheet in a file. name: lower case, as sheets are known by."""

    file: Path
    name: str
    rows: list[Sequence[Cell]]


def read_files(paths: Iterable[Path]) -> list[Found]:
    """The sheets in files and folders, in order of their names. Raises NotRead."""
    return [found for path in paths for file in _files(path) for found in _read(file)]


def _files(path: Path) -> list[Path]:
    if not path.is_dir():
        return [path]
    found = sorted(file for file in path.iterdir() if file.suffix.lower() in (".csv", ".xlsx"))
    return [file for file in found if not file.name.startswith(("~", "."))]


def _read(file: Path) -> list[Found]:
    kind = file.suffix.lower()
    if kind not in (".csv", ".xlsx"):
        raise NotRead(f"{file}: allowed are .csv and .xlsx")
    try:
        return _read_workbook(file) if kind == ".xlsx" else [_read_csv(file)]
    except (OSError, KeyError, BadZipFile, ValueError, csv.Error) as fault:
        raise NotRead(f"{file}: can't be read: {fault}") from None


def _read_csv(file: Path) -> Found:
    text = file.read_text(encoding="utf-8-sig")
    heading = text.partition("\n")[0]
    delimiter = max(_DELIMITERS, key=heading.count)
    rows = cast(list[Sequence[Cell]], list(csv.reader(text.splitlines(True), delimiter=delimiter)))
    return Found(file, file.stem.strip().lower(), _few(rows))


def _read_workbook(file: Path) -> list[Found]:
    from openpyxl import load_workbook

    book = load_workbook(file, read_only=True, data_only=True)
    try:
        return [
            Found(file, name.strip().lower(), _few(_cells(book[name])))
            for name in book.sheetnames
            if name != _GUIDE
        ]
    finally:
        book.close()


def _cells(page: Worksheet) -> list[Sequence[Cell]]:
    # Read with their values alone, cells hold nothing but what a spreadsheet can show.
    return cast(list[Sequence[Cell]], list(page.iter_rows(values_only=True)))


def _few(rows: list[Sequence[Cell]]) -> list[Sequence[Cell]]:
    if len(rows) > MOST_ROWS:
        raise ValueError(f"at most {MOST_ROWS:,} rows")
    return rows


def write_templates(folder: Path) -> list[Path]:
    """One workbook with all sheets, the same as files of text, and what each column takes."""
    folder.mkdir(parents=True, exist_ok=True)
    made = [_write_workbook(folder / "adoption.xlsx")]
    for sheet in SHEETS.values():
        file = folder / "csv" / f"{sheet.name}.csv"
        file.parent.mkdir(exist_ok=True)
        with file.open("w", newline="", encoding="utf-8") as out:
            csv.writer(out).writerow([column.name for column in sheet.columns])
        made.append(file)
    return made


def _write_workbook(file: Path) -> Path:
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    guide = cast("Worksheet", book.active)
    guide.title = _GUIDE
    for row in _guide_rows():
        guide.append(row)
    for letter, width in zip("ABCDE", (14, 18, 9, 70, 22), strict=True):
        guide.column_dimensions[letter].width = width
    for sheet in SHEETS.values():
        page = book.create_sheet(sheet.name)
        page.append([column.name for column in sheet.columns])
        page.freeze_panes = "A2"
        for place, column in enumerate(sheet.columns, start=1):
            page.cell(1, place).font = Font(bold=column.needed)
    book.save(file)
    return file


def _guide_rows() -> list[list[str]]:
    rows = [["sheet", "column", "needed", "what it holds", "such as"]]
    for sheet in SHEETS.values():
        rows.append([sheet.name, "", "", sheet.words, ""])
        rows += [_guide_row(sheet, place) for place in range(len(sheet.columns))]
    return rows


def _guide_row(sheet: Sheet, place: int) -> list[str]:
    column = sheet.columns[place]
    needed = "yes" if column.needed else ""
    return [sheet.name, column.name, needed, column.words, column.example]

"""A plant's own spreadsheets, read cell by cell: what a column takes, what is refused and why."""

from duestroke.adoption.ages import Rounded, read_strokes
from duestroke.adoption.cells import Cell
from duestroke.adoption.columns import SHEETS, Column, Sheet
from duestroke.adoption.tables import Record, Refusal, Table, read_table, refusal_order

__all__ = [
    "SHEETS",
    "Cell",
    "Column",
    "Record",
    "Refusal",
    "Rounded",
    "Sheet",
    "Table",
    "read_strokes",
    "read_table",
    "refusal_order",
]

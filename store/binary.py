"""Rows for binary COPY straight from numpy columns, for loads of millions of rows."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

HEADER: Final = b"PGCOPY\n\xff\r\n\0" + bytes(8)
TRAILER: Final = b"\xff\xff"
POSTGRES_EPOCH: Final = 946_684_800_000_000
"""Microseconds from 1970 to 2000, from where Postgres counts time."""

_CHUNK: Final = 50_000


def timestamps(at: NDArray[np.int64]) -> NDArray[np.int64]:
    """Microseconds since 1970 as Postgres stores a timestamptz."""
    return at - POSTGRES_EPOCH


def binary_rows(
    columns: list[NDArray[Any]], nulls: dict[int, NDArray[np.bool_]] | None = None
) -> Iterator[bytes]:
    """COPY data in chunks; columns are int32, int64 or float64.

    Null is NaN in a float column, and where `nulls` (by column) says so. The rows come out grouped
    by which of their fields are null.
    """
    yield HEADER
    nulls = dict(nulls or {})
    for index, column in enumerate(columns):
        if column.dtype.kind == "f":
            nulls[index] = np.isnan(column)
    for pattern in product((False, True), repeat=len(nulls)):
        absent = dict(zip(nulls, pattern, strict=True))
        chosen = np.ones(len(columns[0]), dtype=bool)
        for index, is_null in absent.items():
            chosen &= nulls[index] == is_null
        rows = np.flatnonzero(chosen)
        for start in range(0, len(rows), _CHUNK):
            yield _encode(columns, rows[start : start + _CHUNK], absent)
    yield TRAILER


def _encode(columns: list[NDArray[Any]], rows: NDArray[np.intp], absent: dict[int, bool]) -> bytes:
    """One record a row: field count, then length and big-endian value of each field."""
    fields: list[tuple[str, str]] = [("count", ">i2")]
    for index, column in enumerate(columns):
        fields.append((f"size{index}", ">i4"))
        if not absent.get(index, False):
            fields.append((f"value{index}", column.dtype.newbyteorder(">").str))
    out = np.empty(len(rows), dtype=np.dtype(fields))
    out["count"] = len(columns)
    for index, column in enumerate(columns):
        missing = absent.get(index, False)
        out[f"size{index}"] = -1 if missing else column.dtype.itemsize
        if not missing:
            out[f"value{index}"] = column[rows]
    return out.tobytes()

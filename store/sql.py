"""Named SQL, kept in `.sql` files beside the repository that uses it.

A query starts at a line `-- name: keep_report`; comment lines below it carry the reason and stay.
"""

from __future__ import annotations

import re
from importlib import resources
from typing import Final, LiteralString, cast

_NAME: Final = re.compile(r"^-- name: ([a-z0-9_]+)\s*$", re.MULTILINE)


def named_queries(file: str) -> dict[str, LiteralString]:
    """Queries of one file of this package by name. Raises ValueError when a name stands twice."""
    text = resources.files("store").joinpath(file).read_text(encoding="utf-8")
    parts = _NAME.split(text)
    names, bodies = parts[1::2], parts[2::2]
    if len(set(names)) != len(names):
        raise ValueError(f"{file}: a query name stands twice")
    # The files are ours and ship with the package: as literal as a string in the source.
    return {
        name: cast(LiteralString, body.strip()) for name, body in zip(names, bodies, strict=True)
    }

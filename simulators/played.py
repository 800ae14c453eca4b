"""What a press's crew did: entries for the ledger, looks, lives; and the serials of its tools."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from simulators.plant import Press
from simulators.serials import serial
from simulators.tooling import Life, Rework, Tool


@dataclass(frozen=True)
class Entry:
    """One line for the ledger, before tools have serials. `at` in microseconds since 1970.

    change: on a pull and the fit after it in the same position: the number of the change.
    """

    at: int
    type: str
    tool: Tool | None
    position: str | None = None
    reason: str | None = None
    strokes_before: int | None = None
    before_unknown: bool = False
    size_mm: float | None = None
    back_at: int | None = None
    note: str | None = None
    change: int | None = None


@dataclass(frozen=True)
class Look:
    """An inspection at a stop: a verdict, what the gauge read, or both.

    value: signed change since fit or rework in `unit`, or whatever `quantity` says.
    """

    at: int
    tool: Tool
    verdict: str | None
    quantity: str | None = None
    value: float | None = None
    unit: str | None = None
    limit: float | None = None
    uncertainty: float | None = None
    note: str | None = None


@dataclass
class Played:
    """Two years of one press: entries and looks in order of time, lives, and stands it cost.

    back: tools that were out for rework, or back from it and not fitted again, at the end.
    """

    press: Press
    entries: list[Entry] = field(default_factory=list)
    looks: list[Look] = field(default_factory=list)
    lives: list[Life] = field(default_factory=list)
    stands: list[tuple[int, int]] = field(default_factory=list)
    tools: list[Tool] = field(default_factory=list)
    back: list[Rework] = field(default_factory=list)


def name_tools(tools: Sequence[Tool], years: Sequence[int]) -> None:
    """Serials for a whole plant's tools, by kind and year, in the order in which they were bought.

    years: calendar year in which each was bought, as the tools.
    """
    numbers: dict[tuple[str, int], int] = {}
    order = np.lexsort(([tool.number for tool in tools], [tool.bought for tool in tools]))
    for index in order:
        tool, year = tools[int(index)], years[int(index)]
        numbers[tool.kind, year] = number = numbers.get((tool.kind, year), 0) + 1
        tool.serial = serial(tool.kind, year, number)

"""Charts: places in a box of 1000 by 100 worked out here, drawn by `assets/parts.lazy.js`.

Each has axis titles with units, one sentence that says what it shows, points that can be read one
by one, a table behind it, and downloads of both. No estimate is made here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from dashboard.fleet import Document

WIDE: Final = 1000.0
HIGH: Final = 100.0

Kind = Literal["line", "model", "own", "alone", "band", "dots", "uprights", "limit", "act"]
"""How a series is drawn: `line` ink; `model` blue; `own` and `alone` dashed; `band` blue fill;
`dots` ink; `uprights` thin; `limit` thick ink; `act` dots that someone must act on."""


@dataclass(frozen=True, slots=True)
class Scale:
    """One axis. title: with its unit.  low < high.  ticks: value and words."""

    title: str
    low: float
    high: float
    ticks: Sequence[tuple[float, str]]

    def share(self, value: float) -> float:
        """Where a value lies between low (0) and high (1)."""
        return (value - self.low) / (self.high - self.low)


@dataclass(frozen=True, slots=True)
class Series:
    """One series. path: of the box, from `line`, `steps`, `band`, `dots` or `uprights`."""

    kind: Kind
    name: str
    path: str


@dataclass(frozen=True, slots=True)
class Point:
    """A point that can be read: its place and what it says, with units."""

    x: float
    y: float
    text: str


def ticks(low: float, high: float, most: int = 6) -> list[float]:
    """At most `most` + 1 round values (steps of 1, 2 or 5 times a power of ten) in low..high."""
    if not (high > low and math.isfinite(high - low)):
        return [low]
    raw = (high - low) / most
    size = 10.0 ** math.floor(math.log10(raw))
    step = next(size * by for by in (1, 2, 5, 10) if size * by >= raw * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(at * step, 12) for at in range(first, last + 1)]


def place(x: Scale, y: Scale, at: tuple[float, float]) -> tuple[float, float]:
    """A point in the box; y grows upward in the data and downward in the box."""
    return round(WIDE * x.share(at[0]), 1), round(HIGH * (1 - y.share(at[1])), 2)


def line(x: Scale, y: Scale, points: Iterable[tuple[float, float]]) -> str:
    """Points joined straight."""
    return _path([place(x, y, point) for point in points])


def steps(x: Scale, y: Scale, points: Iterable[tuple[float, float]]) -> str:
    """Each value kept until the next point, as of a step curve."""
    drawn = [place(x, y, point) for point in points]
    if not drawn:
        return ""
    turns = "".join(f"H{px:g}V{py:g}" for px, py in drawn[1:])
    return f"M{drawn[0][0]:g} {drawn[0][1]:g}{turns}"


def band(x: Scale, y: Scale, rows: Iterable[tuple[float, float, float]]) -> str:
    """A band between two values over x: rows of (x, low, high)."""
    kept = list(rows)
    over = [place(x, y, (at, high)) for at, _, high in kept]
    under = [place(x, y, (at, low)) for at, low, _ in reversed(kept)]
    return _path([*over, *under]) + "Z" if kept else ""


def dots(x: Scale, y: Scale, points: Iterable[tuple[float, float]]) -> str:
    """Points as dots: lines of no length with round ends keep their shape in a stretched box."""
    drawn = [place(x, y, point) for point in points]
    return "".join(f"M{px:g} {py:g}h0" for px, py in drawn)


def uprights(x: Scale, y: Scale, rows: Iterable[tuple[float, float, float]]) -> str:
    """Upright lines: rows of (x, low, high)."""
    made = []
    for at, low, high in rows:
        (px, bottom), (_, top) = place(x, y, (at, low)), place(x, y, (at, high))
        made.append(f"M{px:g} {bottom:g}V{top:g}")
    return "".join(made)


def _path(drawn: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{px:g} {py:g}" for px, py in drawn) if drawn else ""


def chart(
    key: str,
    title: str,
    x: Scale,
    y: Scale,
    series: Sequence[Series],
    *,
    says: str,
    points: Sequence[Point] = (),
    table: Document | None = None,
    opened: bool = False,
) -> Document:
    """One chart. says: what it shows, in a sentence.  table: from `tables.table`, behind it."""
    return {
        "key": key,
        "title": title,
        "x": {"title": x.title, "ticks": _ticks(x, 100.0)},
        "y": {"title": y.title, "ticks": _ticks(y, -100.0)},
        "grid": _grid(x, y),
        "series": [{"kind": each.kind, "name": each.name, "path": each.path} for each in series],
        "points": [_point(x, y, each) for each in points],
        "says": says,
        "table": table,
        "open": opened,
    }


def _ticks(scale: Scale, by: float) -> list[dict[str, object]]:
    return [
        {"at": round(by * scale.share(value) + (100.0 if by < 0 else 0.0), 2), "text": text}
        for value, text in scale.ticks
    ]


def _grid(x: Scale, y: Scale) -> str:
    across = "".join(f"M0 {place(x, y, (x.low, value))[1]:g}H{WIDE:g}" for value, _ in y.ticks)
    up = "".join(f"M{place(x, y, (value, y.low))[0]:g} 0V{HIGH:g}" for value, _ in x.ticks)
    return across + up


def _point(x: Scale, y: Scale, point: Point) -> dict[str, object]:
    px, py = place(x, y, (point.x, point.y))
    return {"left": round(px / 10, 2), "top": py, "text": point.text}

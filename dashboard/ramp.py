"""A tool as a line on the axis: from the API's levels to the points of its run line and ramp.

x is in hundredths of a day from now, y runs down from 0 to 100 with the base at 86. Points are the
levels and chances that the API gave, joined straight: nothing is estimated here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Final

BASE: Final = 86.0
BELOW: Final = 96.0
TOP_LEVEL: Final = 0.9
DAY: Final = 100.0
"""Units of x in a day."""

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Scale:
    """Which stretch of time is drawn, and how high a certain end would stand.

    now: aware time at x = 0.  span: width, in x units.  rise: height of chance 1, in y units.
    """

    now: datetime
    span: float
    rise: float

    def x(self, at: datetime) -> float:
        """Position of a time; 0 where it has passed: no date in the past is shown."""
        return max(0.0, (at - self.now).total_seconds() / 864.0)

    def y(self, level: float) -> float:
        """Height of a chance (0..1) above the base."""
        return BASE - self.rise * level


def curve(
    due: Mapping[str, datetime | None],
    chances: Iterable[tuple[datetime, float]],
    scale: Scale,
) -> list[Point]:
    """Points (x, chance) of a tool's ramp up to its 90 % level, x and chance both rising.

    due: level to the time by which the tool has ended with that chance, null beyond 50 years.
    chances: time and chance (0..1) of having ended by then. Where several points fall on now, the
    highest stands: the ramp of an overdue tool starts high.
    """
    levels = {float(level): at for level, at in due.items() if at is not None}
    end = levels.get(TOP_LEVEL)
    points = [(scale.x(at), level) for level, at in levels.items() if level <= TOP_LEVEL]
    points += [
        (scale.x(at), share)
        for at, share in chances
        if at > scale.now and share <= TOP_LEVEL and (end is None or at <= end)
    ]
    return _rising(sorted(points))


def _rising(points: list[Point]) -> list[Point]:
    kept: list[Point] = []
    for x, level in points:
        level = max(level, kept[-1][1]) if kept else level
        if kept and kept[-1][0] == x:
            kept.pop()
        kept.append((x, level))
    return kept


def cut(points: list[Point], begin: float, end: float) -> list[Point]:
    """The stretch of a curve between two x, with its ends interpolated."""
    inside = [point for point in points if begin < point[0] < end]
    first = height(points, begin)
    last = height(points, end)
    left = [(begin, first)] if first is not None else []
    right = [(end, last)] if last is not None and end > begin else []
    return left + inside + right


def height(points: list[Point], x: float) -> float | None:
    """Level of the curve at x, or None outside it."""
    for (x0, low), (x1, high) in pairwise(points):
        if x0 <= x <= x1:
            return low + (high - low) * (x - x0) / (x1 - x0) if x1 > x0 else high
    return points[-1][1] if points and points[-1][0] == x else None


def paths(
    due: Mapping[str, datetime | None],
    chances: Iterable[tuple[datetime, float]],
    next_stop: float | None,
    scale: Scale,
) -> dict[str, str]:
    """SVG path data by part: `hot`, `cool`, `rim`, `risk`, `run`, `dots`, `bar`, `pq`,
    `p50`.

    A part that would be empty is left out. `hot` is what stands before x = next_stop; `risk` runs
    under it from now to that stop, of one thickness, so that a small chance is seen as well.
    """
    points = curve(due, chances, scale)
    end = min(points[-1][0], scale.span) if points else 0.0
    edge = min(next_stop if next_stop is not None else 0.0, end)
    shown = cut(points, points[0][0], end) if points else []
    parts = {
        "hot": _area(cut(points, points[0][0], edge), scale) if points else "",
        "cool": _area(cut(points, max(points[0][0], edge), end), scale) if points else "",
        "rim": _line(shown, scale),
        "risk": f"M0 {BASE:.0f}H{edge:.0f}" if points and edge > 0 else "",
        **_run(due, points, scale),
    }
    return {name: path for name, path in parts.items() if path}


def _run(due: Mapping[str, datetime | None], points: list[Point], scale: Scale) -> dict[str, str]:
    levels = {level: _place(due, level, scale) for level in ("0.1", "0.5", "0.9")}
    p10, p50, p90 = levels["0.1"], levels["0.5"], levels["0.9"]
    drawn = bool(points)
    end = min(p90 if p90 is not None else scale.span, scale.span) if drawn else 0.0
    return {
        "run": f"M0 86H{end:.0f}" if drawn else "",
        "dots": f"M{end:.0f} 86H{scale.span:.0f}" if end < scale.span else "",
        "bar": f"M{p10:.0f} 86H{end:.0f}" if p10 is not None and p10 < end else "",
        "pq": _upright(p10, 0.1, scale) + _upright(p90, 0.9, scale),
        "p50": _upright(p50, 0.5, scale),
    }


def _place(due: Mapping[str, datetime | None], level: str, scale: Scale) -> float | None:
    at = due.get(level)
    return None if at is None else scale.x(at)


def _upright(x: float | None, level: float, scale: Scale) -> str:
    if x is None or not 0 < x <= scale.span:
        return ""
    return f"M{x:.0f} {scale.y(level):.1f}V{BELOW:.0f}"


def _line(points: list[Point], scale: Scale) -> str:
    if len(points) < 2:
        return ""
    return "M" + "L".join(f"{x:.0f} {scale.y(level):.1f}" for x, level in points)


def _area(points: list[Point], scale: Scale) -> str:
    if len(points) < 2:
        return ""
    first, last = points[0][0], points[-1][0]
    return f"M{first:.0f} 86L{_line(points, scale)[1:]}L{last:.0f} 86Z"


def ghost(due: Mapping[str, datetime | None], scale: Scale) -> dict[str, str]:
    """A range that can't be told now: outline only, on a dotted run line."""
    points = curve(due, (), scale)
    shown = cut(points, points[0][0], min(points[-1][0], scale.span)) if points else []
    falls = bool(shown) and points[-1][0] <= scale.span
    outline = _line(shown, scale) + (f"V{BASE:.0f}" if falls else "")
    parts = {"ghost": outline if len(shown) > 1 else "", "dots": f"M0 86H{scale.span:.0f}"}
    return {name: path for name, path in parts.items() if path}

"""The strokes that tools have left, as the posterior of their place sees each of them.

Many tools of a place at once: what they share is tabled once, what is a tool's own enters by matrix
products. Tools are taken in blocks of a fixed size, so that a tool's figures do not depend on how
many others are asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.ahead_curve import Curves, mixed
from duestroke.inference.ahead_desk import AT_REFERENCE, Desk, PlaceLaw, Seen
from duestroke.inference.ahead_far import far_quantiles
from duestroke.inference.ahead_paths import wear_law
from duestroke.inference.ahead_survivors import survivors
from duestroke.inference.nodes import Nodes, log_survival
from duestroke.inference.tool import Alternative, ToolRecord

__all__ = [
    "Desk",
    "Futures",
    "PlaceLaw",
    "futures",
    "misfits",
    "remaining_quantiles",
    "survival",
]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

_GUARD_STEP: Final = 3
_TINY: Final = 1e-300


@dataclass(frozen=True)
class Futures:
    """What is left of n tools.

    strokes: at the levels asked, (n, levels), 0 is due now.  due: chance that the end has come
    already, unseen, (n,).  wear: of the ends within the highest level, the part by wear, (n,);
    NaN where the place is seen as one law.
    """

    strokes: Array
    due: Array
    wear: Array


def remaining_quantiles(
    place: PlaceLaw | Desk, tools: Sequence[ToolRecord], levels: Array
) -> Array:
    """Strokes left at each rising level in (0, 1) for each tool, (tools, levels); 0 is due now.

    Rows never fall as the level grows, and do not depend on the other tools.
    """
    return futures(place, tools, levels).strokes


def futures(place: PlaceLaw | Desk, tools: Sequence[ToolRecord], levels: Array) -> Futures:
    """Strokes left at rising levels in (0, 1), and by which mode the end will come."""
    count = len(tools)
    made = Futures(np.zeros((count, len(levels))), np.zeros(count), np.full(count, np.nan))
    desk = place if isinstance(place, Desk) else Desk(place)
    for rows, seen, base in desk.blocks(tools):
        told = _of_block(desk, [tools[row] for row in rows], seen, base, levels)
        real = len(set(rows))
        made.strokes[rows[:real]] = told.strokes[:real]
        made.due[rows[:real]] = told.due[:real]
        made.wear[rows[:real]] = told.wear[:real]
    return made


def misfits(desk: Desk, tools: Sequence[ToolRecord]) -> Array:
    """Two-sided chance of a latest reading as odd as each tool's, (n,); 1 without readings.

    Held against the tool's earlier readings and the wear law of its place; see `WearPaths.misfits`.
    """
    found = np.ones(len(tools))
    paths = desk.place.paths
    if paths is None:
        return found
    for rows, seen, base in desk.blocks(tools):
        laws = [max(each, key=_weight).life for each in seen]
        table = desk.table(laws[0])
        ages, density = table.ages[1::_GUARD_STEP], table.density[1::_GUARD_STEP]
        law = np.array([desk.frame(nodes).weight for nodes in laws]) @ density.T
        law = np.log(np.maximum(law * np.gradient(np.log(ages)), _TINY))
        at = np.log(ages) + np.log(desk.units(laws, base))[:, None]
        found[rows] = paths.misfits([tools[row].readings for row in rows], at, law)
    return found


def _weight(way: Alternative) -> float:
    return way.weight


def survival(place: PlaceLaw, strokes: Array, tool: ToolRecord | None = None) -> Array:
    """Chance that a new tool, or one of `tool`'s press, batch and speed, lasts beyond `strokes`.

    strokes: >= 0, any shape; same shape.
    """
    seen = place.alternatives(_as_new(tool or AT_REFERENCE))
    ages = np.asarray(strokes, dtype=np.float64).ravel() / place.handbook_life
    lasting = np.zeros(ages.size)
    for each in seen:
        sudden = np.ones(ages.size) if each.sudden is None else _lasting(each.sudden, ages)
        lasting += each.weight * _lasting(each.life, ages) * sudden
    return np.clip(lasting, 0.0, 1.0).reshape(np.shape(strokes))


def _as_new(tool: ToolRecord) -> ToolRecord:
    return replace(tool, age=0.0, good_at=None, readings=())


def _lasting(nodes: Sequence[Nodes], ages: Array) -> Array:
    total = np.zeros(ages.size)
    for n in nodes:
        total += np.exp(log_survival(n, ages)) @ n.weight
    return total


def _of_block(
    desk: Desk, tools: Sequence[ToolRecord], seen: Sequence[Seen], base: Array, levels: Array
) -> Futures:
    """Futures of tools whose alternatives share their tables."""
    ways = [_way(desk, tools, [each[k] for each in seen], base) for k in range(len(seen[0]))]
    shares = np.array([[each[way].weight for each in seen] for way in range(len(seen[0]))])
    curves = mixed([curve for curve, _ in ways], shares)
    strokes = curves.quantiles(levels)
    is_far = np.isnan(strokes).any(axis=1) | np.logical_or.reduce([lost for _, lost in ways])
    for row in np.flatnonzero(is_far).tolist():
        far = far_quantiles(seen[row], tools[row], float(base[row]), levels)
        strokes[row] = far * desk.place.ahead_factor(tools[row])
    wear = np.full(len(tools), np.nan)
    for curve, _ in ways:
        if curve.wear is not None:
            wear = curve.chance_of_wear(strokes[:, -1])
    return Futures(np.maximum.accumulate(strokes, axis=1), curves.due, wear)


def _way(
    desk: Desk, tools: Sequence[ToolRecord], seen: Sequence[Alternative], base: Array
) -> tuple[Curves, Flags]:
    """One way to see some tools, and which of them lie beyond the tables."""
    life, is_lost = _life(desk, tools, seen, base)
    if seen[0].sudden is None:
        return life, is_lost
    laws = [each.sudden or () for each in seen]
    # Speed is the wear's: the sudden mode does not move with it.
    unit = desk.units(laws, np.full(len(tools), desk.place.handbook_life))
    weights = np.array([desk.frame(nodes).weight for nodes in laws])
    ages = np.array([tool.age for tool in tools]) / unit
    left = survivors(desk.table(laws[0]), weights, ages, ages, np.zeros(len(tools)))
    factor = np.array([desk.place.sudden_ahead_factor(tool) for tool in tools])
    at = life.ahead / (factor * unit)[:, None] + ages[:, None]
    rows = zip(at, left.ages, left.hazard, strict=True)
    more = np.array([np.interp(x, known, y) for x, known, y in rows])
    return replace(life, hazard=life.hazard + more, wear=life.hazard), is_lost | left.is_lost


def _life(
    desk: Desk, tools: Sequence[ToolRecord], seen: Sequence[Alternative], base: Array
) -> tuple[Curves, Flags]:
    """The same by the law of all ends, or of wear where the sudden mode is apart."""
    laws = [each.life for each in seen]
    table, unit = desk.table(laws[0]), desk.units(laws, base)
    weights = np.array([desk.frame(nodes).weight for nodes in laws])
    ages = np.array([tool.age for tool in tools]) / unit
    factor = np.array([desk.place.ahead_factor(tool) for tool in tools]) * unit
    paths = desk.place.paths
    if tools[0].readings and paths is not None:
        law = wear_law(table, weights, tools, paths, unit=unit)
        return law.beyond(ages, factor), np.zeros(len(tools), dtype=bool)
    low = np.array([tool.age if tool.good_at is None else tool.good_at for tool in tools]) / unit
    left = survivors(table, weights, ages, low, np.array([each.q for each in seen]))
    curves = Curves(left.due, (left.ages - ages[:, None]) * factor[:, None], left.hazard)
    return curves, left.is_lost

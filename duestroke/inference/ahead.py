"""The strokes that tools have left, as the posterior of their place sees each of them.

Many tools of a place at once: what they share is tabled once, what is a tool's own enters by matrix
products. Tools are taken in blocks of a fixed size, so that a tool's figures do not depend on how
many others are asked for.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.ahead_curve import Curves, hazard_of, mixed
from duestroke.inference.ahead_far import far_quantiles
from duestroke.inference.ahead_paths import wear_law
from duestroke.inference.ahead_table import Frame, Table, lattice
from duestroke.inference.nodes import Nodes, log_survival
from duestroke.inference.tool import Alternative, ToolRecord
from duestroke.inference.wear import WearPaths

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Seen = tuple[Alternative, ...]

_SPEED_STEP: Final = 0.04
"""Steps of log speed at which a place is asked for the laws of its tools."""
_GUARD_STEP: Final = 3
_AT_REFERENCE: Final = ToolRecord(0.0)
_BLOCK: Final = 16
_MOST_TABLES: Final = 48
_MOST_FRAMES: Final = 30_000
_LEAST_LOG: Final = -600.0
"""A node under which a tool's age is less likely than e^-600 leaves the range of floats."""
_TINY: Final = 1e-300
_NEAR: Final = np.concatenate([np.geomspace(1e-8, 0.04, 16), np.geomspace(0.06, 1.0, 12)])
_QUICK: Final = -0.3
_STEEP: Final = 0.002
"""Where more weight lies on nodes under which few last to the next age of the table, their end is
looked at more closely."""


class PlaceLaw(Protocol):
    """What is asked of the posterior of a place; `PlacePosterior` gives it."""

    @property
    def handbook_life(self) -> float:
        """Strokes, the unit of the nodes' log ages."""
        ...

    @property
    def paths(self) -> WearPaths | None:
        """Shape of wear; None where no tool of the place was measured."""
        ...

    def alternatives(self, tool: ToolRecord) -> Seen:
        """Ways to see the place for this tool, with weights that sum to 1."""
        ...

    def ahead_factor(self, tool: ToolRecord) -> float:
        """Own strokes ahead for each stroke at the speed so far, > 0."""
        ...

    def sudden_ahead_factor(self, tool: ToolRecord) -> float:
        """The same for the sudden mode."""
        ...


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
        at = np.log(ages) + np.log(_units(desk, laws, base))[:, None]
        found[rows] = paths.misfits([tools[row].readings for row in rows], at, law)
    return found


def _weight(way: Alternative) -> float:
    return way.weight


def survival(place: PlaceLaw, strokes: Array, tool: ToolRecord | None = None) -> Array:
    """Chance that a new tool, or one of `tool`'s press, batch and speed, lasts beyond `strokes`.

    strokes: >= 0, any shape; same shape.
    """
    seen = place.alternatives(_as_new(tool or _AT_REFERENCE))
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


@dataclass(frozen=True)
class Desk:
    """A place with its tables, which are made once however many tools are asked for."""

    place: PlaceLaw
    _tables: dict[object, Table] = field(default_factory=dict)
    _frames: dict[int, tuple[Frame, tuple[Nodes, ...]]] = field(default_factory=dict)

    @cached_property
    def _ages(self) -> Array:
        return lattice(self.place.alternatives(_AT_REFERENCE))

    @cached_property
    def _reference(self) -> dict[object, tuple[Nodes, ...]]:
        seen = self.place.alternatives(_AT_REFERENCE)
        known = [nodes for each in seen for nodes in (each.life, each.sudden) if nodes]
        return {self.frame(nodes).key: nodes for nodes in known}

    @cached_property
    def _middle(self) -> float:
        seen = self.place.alternatives(_AT_REFERENCE)
        return sum(each.weight * _mean(each.life) for each in seen)

    def frame(self, nodes: tuple[Nodes, ...]) -> Frame:
        """Where the nodes lie; worked out once for each object."""
        found = self._frames.get(id(nodes))
        if found is None:
            if len(self._frames) >= _MOST_FRAMES:
                self._frames.clear()
            # The nodes are kept too, so that no other object can come by their id.
            found = self._frames[id(nodes)] = (Frame.of(nodes), nodes)
        return found[0]

    def shift(self, nodes: tuple[Nodes, ...]) -> float:
        """By how much in log age the nodes lie beyond those of their table."""
        frame = self.frame(nodes)
        base = self._reference.get(frame.key)
        if base is not None:
            return frame.shift - self.frame(base).shift
        return round(_mean(nodes) - self._middle, 1)

    def key(self, nodes: tuple[Nodes, ...]) -> object:
        """Equal for nodes that share a table."""
        frame = self.frame(nodes)
        is_known = frame.key in self._reference
        return frame.key if is_known else (frame.key, round(frame.shift - self.shift(nodes), 9))

    def table(self, nodes: tuple[Nodes, ...]) -> Table:
        """The table for the nodes, at ages that follow their `shift`."""
        key = self.key(nodes)
        if key not in self._tables:
            if len(self._tables) >= _MOST_TABLES:
                self._tables.clear()
            base = self._reference.get(self.frame(nodes).key)
            self._tables[key] = Table(self._ages, base or _moved(nodes, -self.shift(nodes)))
        return self._tables[key]

    def blocks(self, tools: Sequence[ToolRecord]) -> Iterator[tuple[list[int], list[Seen], Array]]:
        """Tools that share their tables, `_BLOCK` at a time; the last is repeated to fill one.

        With them how the place sees each, and the strokes of its own for each unit of the nodes.
        """
        groups: dict[object, list[int]] = {}
        asked = [self._asked(tool) for tool in tools]
        for row, tool in enumerate(tools):
            # Sums over as many readings run in one order, whoever else is in the block.
            count = 0 if self.place.paths is None else len(tool.readings)
            key = (self._shared(asked[row][0]), count)
            groups.setdefault(key, []).append(row)
        for rows in groups.values():
            for first in range(0, len(rows), _BLOCK):
                some = rows[first : first + _BLOCK]
                some = some + [some[-1]] * (_BLOCK - len(some))
                yield (
                    some,
                    [asked[row][0] for row in some],
                    np.array([asked[row][1] for row in some]),
                )

    def _asked(self, tool: ToolRecord) -> tuple[Seen, float]:
        """Laws of tools of about one speed are asked for once, and moved to each tool's own."""
        speed = tool.speed_so_far if tool.age > 0 and tool.speed_so_far else tool.speed_now
        speed = speed or tool.speed_so_far
        unit = self.place.handbook_life
        if speed is None:
            return self.place.alternatives(tool), unit
        about = math.exp(round(math.log(speed) / _SPEED_STEP) * _SPEED_STEP)
        seen = self.place.alternatives(replace(tool, speed_so_far=about, speed_now=about))
        moved = ToolRecord(1.0, speed_so_far=about, speed_now=speed)
        return seen, unit * self.place.ahead_factor(moved)

    def _shared(self, seen: Seen) -> object:
        return tuple((self.key(each.life), each.sudden and self.key(each.sudden)) for each in seen)


def _mean(nodes: Sequence[Nodes]) -> float:
    return sum(float((n.m * n.weight).sum()) for n in nodes)


def _moved(nodes: Sequence[Nodes], by: float) -> tuple[Nodes, ...]:
    return tuple(replace(n, m=n.m + by) for n in nodes)


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
    unit = _units(desk, laws, np.full(len(tools), desk.place.handbook_life))
    weights = np.array([desk.frame(nodes).weight for nodes in laws])
    ages = np.array([tool.age for tool in tools]) / unit
    left = _survivors(desk.table(laws[0]), weights, ages, ages, np.zeros(len(tools)))
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
    table, unit = desk.table(laws[0]), _units(desk, laws, base)
    weights = np.array([desk.frame(nodes).weight for nodes in laws])
    ages = np.array([tool.age for tool in tools]) / unit
    factor = np.array([desk.place.ahead_factor(tool) for tool in tools]) * unit
    paths = desk.place.paths
    if tools[0].readings and paths is not None:
        law = wear_law(table, weights, tools, paths, unit=unit)
        return law.beyond(ages, factor), np.zeros(len(tools), dtype=bool)
    low = np.array([tool.age if tool.good_at is None else tool.good_at for tool in tools]) / unit
    left = _survivors(table, weights, ages, low, np.array([each.q for each in seen]))
    curves = Curves(left.due, (left.ages - ages[:, None]) * factor[:, None], left.hazard)
    return curves, left.is_lost


def _units(desk: Desk, laws: Sequence[tuple[Nodes, ...]], base: Array) -> Array:
    """Strokes for each unit of the tables' ages, by tool, (n,).

    base: for each unit of the nodes.
    """
    return np.asarray(base * np.exp([desk.shift(nodes) for nodes in laws]))


@dataclass(frozen=True)
class _Survivors:
    """Tools of one mode given their past: chance that the end is past (n,), and what lasts.

    ages, hazard: cumulated hazard of those that last, at rising ages, (n, k).  is_lost: they lie
    beyond the tables.
    """

    due: Array
    ages: Array
    hazard: Array
    is_lost: Flags


def _survivors(table: Table, weights: Array, ages: Array, low: Array, q: Array) -> _Survivors:
    """As RemainingLife has it, for many tools at once.

    Under each node a tool of age `a` last found good at `l` has come to its end unseen with chance
    `q (S(l) - S(a)) / (q S(l) + (1 - q) S(a))`, else it lasts.
    """
    at_age = table.log_survival_at(ages)
    lasting = np.exp(at_age - table.log_survival_at(low))
    share = q[:, None]
    gone = share * (1 - lasting) / np.maximum(share + (1 - share) * lasting, _TINY)
    due = np.minimum((weights * gone).sum(axis=1), 1.0)
    staying = weights * (1 - gone) / np.maximum(1 - due, _TINY)[:, None]
    # Under a node that all but excludes the tool's age it ends at once: nothing lasts to the next.
    own = np.where(at_age > _LEAST_LOG, staying * np.exp(-np.maximum(at_age, _LEAST_LOG)), 0.0)
    left = np.where(table.ages <= ages[:, None], 1.0, (table.survival @ own.T).T)
    near = np.repeat(ages[:, None], _NEAR.size, axis=1)
    near_left = np.ones(near.shape)
    first = np.minimum(np.searchsorted(table.ages, ages, side="right"), table.ages.size - 2)
    is_quick = table.log_survival[first] - at_age < _QUICK
    for row in np.flatnonzero((staying * is_quick).sum(axis=1) > _STEEP):
        near[row] = ages[row] + (table.ages[first[row] + 1] - ages[row]) * _NEAR
        logs = table.log_survival_at(near[row]) - at_age[row]
        near_left[row] = np.exp(np.minimum(logs, 0.0)) @ staying[row]
    at = np.hstack([np.broadcast_to(table.ages, left.shape), near])
    order = np.argsort(at, axis=1, kind="stable")
    values = np.take_along_axis(np.hstack([left, near_left]), order, axis=1)
    is_lost = ages >= table.ages[-3]
    return _Survivors(due, np.take_along_axis(at, order, axis=1), hazard_of(values), is_lost)

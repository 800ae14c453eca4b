"""The posterior of a place at work: tools grouped by the tables that they share."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.ahead_table import Frame, Table, lattice
from duestroke.inference.nodes import Nodes
from duestroke.inference.tool import Alternative, ToolRecord
from duestroke.inference.wear import WearPaths

Array = NDArray[np.float64]
Seen = tuple[Alternative, ...]

_SPEED_STEP: Final = 0.04
"""Steps of log speed at which a place is asked for the laws of its tools."""
AT_REFERENCE: Final = ToolRecord(0.0)
_BLOCK: Final = 16
_MOST_TABLES: Final = 48
_MOST_FRAMES: Final = 30_000


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
class Desk:
    """A place with its tables, which are made once however many tools are asked for."""

    place: PlaceLaw
    _tables: dict[object, Table] = field(default_factory=dict)
    _frames: dict[int, tuple[Frame, tuple[Nodes, ...]]] = field(default_factory=dict)

    @cached_property
    def _ages(self) -> Array:
        return lattice(self.place.alternatives(AT_REFERENCE))

    @cached_property
    def _reference(self) -> dict[object, tuple[Nodes, ...]]:
        seen = self.place.alternatives(AT_REFERENCE)
        known = [nodes for each in seen for nodes in (each.life, each.sudden) if nodes]
        return {self.frame(nodes).key: nodes for nodes in known}

    @cached_property
    def _middle(self) -> float:
        seen = self.place.alternatives(AT_REFERENCE)
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

    def units(self, laws: Sequence[tuple[Nodes, ...]], base: Array) -> Array:
        """Strokes for each unit of the tables' ages, by tool, (n,).

        base: for each unit of the nodes.
        """
        return np.asarray(base * np.exp([self.shift(nodes) for nodes in laws]))

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

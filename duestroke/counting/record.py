"""A press's record as it is kept: placed readings, boots, and spans that open at breaks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from duestroke.counting.batch import Identity, Rules, Settlements
from duestroke.counting.effects import NEVER, PairEffect
from duestroke.counting.types import Kind, Reading


class Placed(NamedTuple):
    """A reading with its counter unwrapped against its predecessor in the boot."""

    reading: Reading
    unwrapped: int

    @property
    def identity(self) -> Identity:
        return self.reading.boot, self.reading.seq


class Boot(NamedTuple):
    """One run of a sender's sequence numbers, by its ends.  Its place in the order is `order`."""

    name: str
    first: Placed
    last: Placed
    latest_at: int
    readings: int

    @property
    def order(self) -> tuple[int, str]:
        return self.first.reading.at, self.name

    @property
    def missing(self) -> int:
        return self.last.reading.seq - self.first.reading.seq + 1 - self.readings


class Span(NamedTuple):
    """An unbroken run inside a boot; the break that opens it is judged in the same row.

    total: the press's total at the opening reading.  latest_before: latest `at` of all readings
    before it in counting order.  prev_*: the break's earlier reading; None for the very first.
    Inside a span `at` never goes back and unwrapped differences are the strokes counted.
    """

    boot: str
    start_seq: int
    boot_at: int
    start_at: int
    start_unwrapped: int
    total: int = 0
    latest_before: int = NEVER
    prev: Identity | None = None
    prev_at: int | None = None
    prev_unwrapped: int | None = None
    kinds: tuple[Kind, ...] = ()
    counted: int = 0
    hidden_at_most: int = 0
    settled: int = 0

    @property
    def start(self) -> Identity:
        return self.boot, self.start_seq

    @property
    def order(self) -> tuple[int, str, int]:
        return self.boot_at, self.boot, self.start_seq


@dataclass
class Record:
    """What counting knows of a press. With `whole` False only its last boot.

    thinned_to: readings up to this time (microseconds) may have lost neighbours to thinning; what
    was counted between those that are kept stands.
    """

    rules: Rules
    boots: dict[str, Boot] = field(default_factory=dict)
    spans: list[Span] = field(default_factory=list)
    total: int = 0
    latest_at: int = NEVER
    readings: int = 0
    missing: int = 0
    whole: bool = True
    settlements: Settlements = field(default_factory=dict)
    thinned_to: int = NEVER

    @property
    def last_boot(self) -> Boot | None:
        """The last boot in counting order."""
        return max(self.boots.values(), key=lambda boot: boot.order, default=None)


@dataclass
class Changes:
    """What an intake changed: rows to write, pairs taken out of and put into the rollups.

    moved_from: the earliest time at which the press's total changed; None where it did not.
    """

    placed: list[Placed] = field(default_factory=list)
    boots: set[str] = field(default_factory=set)
    spans: dict[Identity, Span] = field(default_factory=dict)
    gone_spans: set[Identity] = field(default_factory=set)
    effects: list[tuple[PairEffect, int]] = field(default_factory=list)
    moved_from: int | None = None

    def swap(self, old: PairEffect | None, new: PairEffect | None) -> None:
        """Take one pair out of the rollups and put another in."""
        if old == new:
            return
        for pair, sign in ((old, -1), (new, 1)):
            if pair is not None:
                self.effects.append((pair, sign))
                at = pair.at if pair.prev_at is None else pair.latest_before
                self.moved_from = at if self.moved_from is None else min(self.moved_from, at)


Around = Mapping[Identity, tuple[Placed | None, Placed | None]]


class Readings(Protocol):
    """The stored readings of one press, as far as a late reading needs them."""

    def around(self, identities: Sequence[Identity]) -> Around:
        """The stored neighbours in the boot, before and after each identity (itself not stored)."""
        ...

    def get(self, identities: Iterable[Identity]) -> dict[Identity, Placed]:
        """Stored readings by identity."""
        ...

    def stretch(self, boot: str, first_seq: int, last_seq: int, below: int) -> list[Placed]:
        """Of a run in which `at` never goes back: those with `at` < below, and the one after."""
        ...

    def everything(self) -> list[Placed]:
        """All stored readings, in any order."""
        ...

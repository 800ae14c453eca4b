"""Small histories with chosen faults and a known truth, for tests of counting and delivery.

Unlike the demo plant these are short, of any press, and drawn from a generator that is passed in.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

import numpy as np

from duestroke.counting.types import Reading
from duestroke.times import to_micros

_SECOND: Final = 1_000_000
_MINUTE: Final = 60 * _SECOND
_MOST_AHEAD: Final = 9 * _MINUTE


@dataclass(frozen=True)
class Chances:
    """Chance of each fault at a report, 0 to 1. At most one happens at a time.

    lost: the report never leaves its sender.  silence: no report is made for `silent_reports`.
    reset: the counter restarts at zero.  reboot: a new boot; half of them keep the counter.
    clock: the sender's clock goes up to nine minutes ahead, or is put right when it was.
    """

    lost: float = 0.01
    silence: float = 0.005
    silent_reports: int = 20
    reset: float = 0.005
    reboot: float = 0.005
    clock: float = 0.005


@dataclass
class PressHistory:
    """What one press sent, in order of making, and what really happened to it.

    true_strokes: made between its first and its last report sent.  restarts, reboots, clock_steps:
    how often the counter fell to zero, the sender restarted with the counter kept, and the clock
    was put right; there can be no more flagged pairs than these together.  missing: reports lost
    between two that were sent in one boot.
    """

    press: str
    modulus: int
    max_spm: int
    readings: list[Reading] = field(default_factory=list)
    true_strokes: int = 0
    restarts: int = 0
    reboots: int = 0
    clock_steps: int = 0
    missing: int = 0

    @property
    def most_flags(self) -> int:
        """More flagged pairs than this would be wrong."""
        return self.restarts + self.reboots + self.clock_steps


class Sender:
    """A press with its sender, report by report; `history` is what has happened so far."""

    def __init__(
        self,
        rng: np.random.Generator,
        press: str,
        *,
        start: datetime,
        every_s: float = 60.0,
        spm: int = 400,
        modulus: int = 2**32,
        max_spm: int = 480,
        chances: Chances = Chances(),
    ) -> None:
        self.history = PressHistory(press, modulus, max_spm)
        self._rng, self._chances, self._spm = rng, chances, spm
        self._every = round(every_s * _SECOND)
        self._true_at, self._ahead = to_micros(start), 0
        self._counter, self._made = int(rng.integers(modulus)), 0
        self._boot, self._seq, self._skipped = 1, 0, 0
        self._made_first: int | None = None
        self._quiet, self._boot_at = 0, 0

    def next(self) -> Reading | None:
        """Let the press run to its next report; None where that report got lost."""
        self._run(1)
        fault = self._fault()
        if fault == "silence":
            self._run(self._chances.silent_reports)
        self._seq += 1
        if fault == "lost":
            self._skipped += 1
            return None
        return self._sent()

    def _run(self, reports: int) -> None:
        length = self._every * reports
        load = float(self._rng.uniform(0.3, 1.0)) if self._rng.random() < 0.9 else 0.0
        strokes = int(self._spm * length * load) // _MINUTE
        self._true_at += length
        self._made += strokes
        self._counter = (self._counter + strokes) % self.history.modulus

    def _fault(self) -> str | None:
        """At most one fault, and never two within three reports: each pair has its own cause."""
        self._quiet -= 1
        odds = float(self._rng.random())
        if self._quiet > 0 or self._made_first is None:
            return None
        for name in ("lost", "silence", "reset", "reboot", "clock"):
            chance: float = getattr(self._chances, name)
            if odds < chance and self._can_be_told(name):
                self._quiet = 3
                self._happen(name)
                return name
            odds -= chance
        return None

    def _can_be_told(self, name: str) -> bool:
        """Whether the counting rules answer for this fault now; what they do not is left out.

        Boots are ordered by their first `at`, so one begun on a fast clock could come out last. A
        counter that falls to zero and is soon above its last reading shows no fall.
        """
        if name == "reboot":
            return self._true_at + self._ahead > self._boot_at
        if name == "reset":
            return self._counter > 2 * self._spm * self._every // _MINUTE
        return True

    def _happen(self, name: str) -> None:
        if name == "reset" or (name == "reboot" and self._rng.random() < 0.5):
            self._counter = 0
            self.history.restarts += 1
        elif name == "reboot":
            self.history.reboots += 1
        if name == "reboot":
            self._boot, self._seq, self._skipped = self._boot + 1, 0, 0
        if name == "clock" and self._ahead:
            self._ahead = 0
            self.history.clock_steps += 1
        elif name == "clock":
            self._ahead = int(self._rng.integers(_MINUTE, _MOST_AHEAD))

    def _sent(self) -> Reading:
        speed = accel = None
        if self._rng.random() < 0.95:
            speed = round(11.0 * (1 + 0.004 * float(self._rng.standard_normal())), 3)
            accel = round(461.0 * (1 + 0.015 * float(self._rng.standard_normal())), 1)
        boot, at = f"boot-{self._boot}", self._true_at + self._ahead
        reading = Reading(boot, self._seq, at, self._counter, speed, accel)
        if self._made_first is None:
            self._made_first = self._made
        if self._boot_at == 0 or self._seq == 1:
            self._boot_at = at
        self.history.readings.append(reading)
        self.history.true_strokes = self._made - self._made_first
        self.history.missing += self._skipped
        self._skipped = 0
        return reading


def make(
    rng: np.random.Generator,
    presses: Sequence[str],
    *,
    start: datetime,
    reports: int,
    every_s: float = 60.0,
    modulus: int = 2**32,
    chances: Chances = Chances(),
) -> list[PressHistory]:
    """Histories of several presses, each of so many reports made (lost ones included)."""
    found = []
    for press in presses:
        sender = Sender(rng, press, start=start, every_s=every_s, modulus=modulus, chances=chances)
        for _ in range(reports):
            sender.next()
        found.append(sender.history)
    return found


def deliveries(
    rng: np.random.Generator,
    histories: Sequence[PressHistory],
    *,
    most_in_one: int = 5,
    shuffled: bool = True,
    repeats: float = 0.05,
) -> Iterator[tuple[str, list[Reading]]]:
    """All readings as (press, readings of one message), in an order in which they may arrive."""
    parcels: list[tuple[str, list[Reading]]] = []
    for history in histories:
        rest = list(history.readings)
        while rest:
            size = int(rng.integers(1, most_in_one + 1))
            parcels.append((history.press, rest[:size]))
            rest = rest[size:]
    parcels += [parcel for parcel in parcels if rng.random() < repeats]
    order = rng.permutation(len(parcels)) if shuffled else np.arange(len(parcels))
    return (parcels[int(index)] for index in order)

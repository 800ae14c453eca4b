"""Presses with a truth of their own: what they really did, and the reports that they sent of it."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import Final

from duestroke.counting.types import Reading, Rule

MINUTE: Final = 60_000_000
START: Final = 1_788_220_800_000_000  # 2026-09-01T00:00:00Z, well before any clock of a test
STEP_MINUTES: Final = 7
"""A clock is set back by this much: within the ten minutes that a flag makes good."""
_INCIDENTS: Final = ("restart", "new-boot", "keep-boot", "step", "gap")
_CHANCE: Final = 0.02
_NEAR_TURN: Final = 6_000


@dataclass
class Press:
    """One simulated press, its sender, and the book of what happened to them.

    strokes: made since the first report.  restarts: counter back to zero within a boot.
    resets: the same with a new boot.  reboots: a new boot, the counter kept.  steps: clock set
    back.  lost: sequence numbers that were never sent.
    """

    name: str
    rule: Rule
    rng: random.Random
    at: int = START
    counter: int = 0
    seq: int = 0
    boot: int = 1
    strokes: int = 0
    restarts: int = 0
    resets: int = 0
    reboots: int = 0
    steps: int = 0
    lost: int = 0
    quiet: int = 0
    sent: list[Reading] = field(default_factory=list)

    def next_report(self) -> Reading:
        """Run for about a minute, perhaps with an incident, and report."""
        if self.sent:
            self._incident()
            self._run(1)
        reading = Reading(
            f"{self.name}-{self.boot}",
            self.seq,
            self.at,
            self.counter,
            round(self.rng.uniform(5.0, 7.0), 3),
            round(self.rng.uniform(700.0, 900.0), 1),
        )
        self.seq += 1
        self.sent.append(reading)
        return reading

    def _run(self, minutes: int) -> None:
        rate = self.rng.randint(240, self.rule.max_spm)
        self.counter = (self.counter + rate * minutes) % self.rule.modulus
        self.strokes += rate * minutes
        self.at += minutes * MINUTE

    def _incident(self) -> None:
        """At most one incident between two reports, and none beside another."""
        self.quiet += 1
        if self.quiet < 10 or self.rng.random() > _CHANCE * len(_INCIDENTS):
            return
        # A counter must fall far when it falls, or a restart and a turn look the same.
        settled = _NEAR_TURN < self.counter < self.rule.modulus - _NEAR_TURN
        kind = self.rng.choice(_INCIDENTS if settled else ("keep-boot", "step", "gap"))
        self.quiet = 0
        getattr(self, "_" + kind.replace("-", "_"))()

    def _restart(self) -> None:
        self._run(1)
        self.counter, self.restarts = 0, self.restarts + 1

    def _new_boot(self) -> None:
        self._run(1)
        self.counter, self.resets = 0, self.resets + 1
        self._begin_boot()

    def _keep_boot(self) -> None:
        self._run(1)
        self.reboots += 1
        self._begin_boot()

    def _begin_boot(self) -> None:
        self.boot, self.seq = self.boot + 1, self.rng.randint(0, 5)

    def _step(self) -> None:
        self.at -= STEP_MINUTES * MINUTE
        self.steps += 1

    def _gap(self) -> None:
        missed = self.rng.randint(1, 9)
        self._run(missed)
        self.seq += missed
        self.lost += missed


def plant(count: int, rng: random.Random) -> list[Press]:
    """`count` presses with counters of several sizes, each with a random stream of its own."""
    moduli = (2**16, 10**8, 2**32)
    return [
        Press(
            f"fault-mere/{index // 10 + 1}/{index % 10 + 1:02d}",
            Rule(moduli[index % 3], 480),
            random.Random(rng.random()),
        )
        for index in range(count)
    ]

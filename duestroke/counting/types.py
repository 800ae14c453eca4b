"""Words of counting: readings, the rule that holds for them, and what is judged of a pair."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

Kind = Literal["restart", "clock", "jump", "reboot", "wrap"]
KINDS: Final[tuple[Kind, ...]] = ("restart", "reboot", "jump", "clock", "wrap")
"""Kinds in the order in which a flag lists them."""


class Reading(NamedTuple):
    """One report as kept. `at` in microseconds since 1970 UTC; peaks in m/s and m/s2 or None."""

    boot: str
    seq: int
    at: int
    strokes: int
    peak_speed_mps: float | None = None
    peak_accel_mps2: float | None = None


class Rule(NamedTuple):
    """Modulus of a press's counter (1,000 to 2**53) and the most strokes a minute it can reach."""

    modulus: int = 2**32
    max_spm: int = 480


@dataclass(frozen=True, slots=True)
class RuleChange:
    """A rule that holds for the boots that begin at or after `valid_from` (microseconds)."""

    valid_from: int
    rule: Rule


class Judgement(NamedTuple):
    """What is counted from one reading to the next, and what may be hidden there.

    kinds: flag kinds, empty where nothing is doubtful.  counted: strokes, >= 0.
    hidden_at_most: strokes, >= 0; meaningful only where there is a flag.
    """

    kinds: tuple[Kind, ...]
    counted: int
    hidden_at_most: int


@dataclass(frozen=True, slots=True)
class Flag:
    """A pair of neighbours whose count is doubtful: identities (boot, seq), times and bound."""

    earlier: tuple[str, int]
    later: tuple[str, int]
    earlier_at: int
    later_at: int
    kinds: tuple[Kind, ...]
    counted: int
    hidden_at_most: int

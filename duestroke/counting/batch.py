"""The counting rules as one pure function over a whole history; all else must equal it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Final, NamedTuple

from duestroke.counting.judge import judge_between, judge_within
from duestroke.counting.types import Flag, Judgement, Reading, Rule, RuleChange

Identity = tuple[str, int]
"""Boot and sequence number: with the press, what a report is."""

Rules = Rule | Sequence[RuleChange]
DEFAULT: Final = Rule()


class Settlement(NamedTuple):
    """What an engineer added to a pair's count, and the count it was added to."""

    counted: int
    strokes: int


Settlements = Mapping[tuple[Identity, Identity], Settlement]


def rule_for(rules: Rules, boot_at: int) -> Rule:
    """The rule of a boot that begins at `boot_at` (microseconds): the newest that holds by then.

    A boot from before every change falls under the earliest.  Raises ValueError when there is none.
    """
    if isinstance(rules, Rule):
        return rules
    if not rules:
        raise ValueError("a press needs at least one counting rule")
    held = [change for change in rules if change.valid_from <= boot_at]
    if held:
        return max(held, key=lambda change: change.valid_from).rule
    return min(rules, key=lambda change: change.valid_from).rule


@dataclass(frozen=True)
class Count:
    """A press's record, counted.  `readings` in counting order, `totals` beside them (strokes)."""

    readings: tuple[Reading, ...]
    totals: tuple[int, ...]
    flags: tuple[Flag, ...]
    missing: int

    @property
    def total(self) -> int:
        """Strokes over the whole record."""
        return self.totals[-1] if self.totals else 0

    def total_at(self, at: int) -> int:
        """The press's total at a time (microseconds), by rule 8, in whole strokes."""
        latest = list(accumulate((reading.at for reading in self.readings), max))
        index = bisect_right(latest, at)
        if index == 0:
            return 0
        if index == len(self.readings):
            return self.total
        start, step = self.totals[index - 1], self.totals[index] - self.totals[index - 1]
        began, ended = self.readings[index - 1].at, self.readings[index].at
        return start + share_of(step, at - began, ended - began)


def share_of(strokes: int, part: int, whole: int) -> int:
    """`strokes * part / whole`, rounded half up, exact."""
    return (2 * strokes * part + whole) // (2 * whole)


def count(
    readings: Iterable[Reading], rules: Rules = DEFAULT, settlements: Settlements | None = None
) -> Count:
    """Count a press's readings, given in any order and with repeats.

    Of two readings of one identity the first in the given order stands (rule 1). Source of the
    rules: the project's contract, section 2.
    """
    kept: dict[Identity, Reading] = {}
    for reading in readings:
        kept.setdefault((reading.boot, reading.seq), reading)
    boots = in_boots(kept.values())
    ordered = [reading for boot in boots for reading in boot]
    judged = _judge(boots, rules)
    settled = settlements or {}
    totals, flags, total = [], [], 0
    for earlier, later, judgement in judged:
        total += judgement.counted if earlier is not None else 0
        if earlier is not None and judgement.kinds:
            total += settled_strokes(settled, earlier, later, judgement)
            flags.append(_flag(earlier, later, judgement))
        totals.append(total)
    missing = sum(boot[-1].seq - boot[0].seq + 1 - len(boot) for boot in boots)
    return Count(tuple(ordered), tuple(totals), tuple(flags), missing)


def settled_strokes(
    settlements: Settlements, earlier: Reading, later: Reading, judgement: Judgement
) -> int:
    """What a settlement adds to this pair now; it counts only on the count it was made for."""
    found = settlements.get(((earlier.boot, earlier.seq), (later.boot, later.seq)))
    return found.strokes if found is not None and found.counted == judgement.counted else 0


def in_boots(readings: Iterable[Reading]) -> list[list[Reading]]:
    """Boots by the `at` of their lowest seq, equal ones by name; inside by seq (rule 2)."""
    boots: dict[str, list[Reading]] = {}
    for reading in readings:
        boots.setdefault(reading.boot, []).append(reading)
    for boot in boots.values():
        boot.sort(key=lambda reading: reading.seq)
    return sorted(boots.values(), key=lambda boot: (boot[0].at, boot[0].boot))


def _judge(
    boots: list[list[Reading]], rules: Rules
) -> list[tuple[Reading | None, Reading, Judgement]]:
    out: list[tuple[Reading | None, Reading, Judgement]] = []
    last: Reading | None = None
    latest = 0
    for boot in boots:
        rule = rule_for(rules, boot[0].at)
        if last is None:
            out.append((None, boot[0], Judgement((), 0, 0)))
        else:
            out.append((last, boot[0], judge_between(last, boot[0], rule, latest)))
        out.extend((one, two, judge_within(one, two, rule)) for one, two in pairwise(boot))
        newest = max(reading.at for reading in boot)
        latest = newest if last is None else max(latest, newest)
        last = boot[-1]
    return out


def _flag(earlier: Reading, later: Reading, judgement: Judgement) -> Flag:
    return Flag(
        (earlier.boot, earlier.seq),
        (later.boot, later.seq),
        earlier.at,
        later.at,
        judgement.kinds,
        judgement.counted,
        judgement.hidden_at_most,
    )

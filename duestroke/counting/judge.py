"""What is counted from one reading to the next: the contract's counting rules 3, 4, 6 and 7.

Everything is whole numbers, so that no total ever rests on a rounding. Times are microseconds.
"""

from __future__ import annotations

from typing import Final

from duestroke.counting.types import KINDS, Judgement, Kind, Reading, Rule

MINUTE: Final = 60_000_000
CLOCK_GRACE: Final = 10 * MINUTE
"""A sender's clock is taken to be right or at most this far ahead."""
MOST_CANDIDATES: Final = 100
"""So many open counts say enough: a small counter may have turned ten thousand times in a month."""


def most_plausible(rule: Rule, elapsed: int) -> int:
    """The greatest plausible count of strokes over `elapsed` microseconds (below zero: zero)."""
    return 5 * rule.max_spm * max(elapsed, 0) // (4 * MINUTE) + 50


def judge_within(earlier: Reading, later: Reading, rule: Rule) -> Judgement:
    """Two neighbours of one boot (rule 3). `later.seq` follows `earlier.seq`."""
    elapsed = max(later.at - earlier.at, 0)
    kinds: set[Kind] = {"clock"} if later.at < earlier.at else set()
    ahead = (later.strokes - earlier.strokes) % rule.modulus
    fell = later.strokes < earlier.strokes
    if ahead <= most_plausible(rule, elapsed):
        return _turned(kinds, ahead, rule, elapsed)
    if fell and later.strokes <= most_plausible(rule, elapsed):
        return _judged(kinds | {"restart"}, later.strokes, rule, elapsed)
    if ahead <= most_plausible(rule, elapsed + CLOCK_GRACE):
        return _turned(kinds | {"clock"}, ahead, rule, elapsed, grace=CLOCK_GRACE)
    return _judged(kinds | {"jump"}, 0, rule, elapsed)


def judge_between(earlier: Reading, later: Reading, rule: Rule, latest: int) -> Judgement:
    """The last reading of a boot and the first of the next (rule 4).

    rule: the later boot's.  latest: the latest `at` of any earlier boot, from which time runs, so
    that a boot put out of order by its clock opens no long gap in which strokes count twice.
    """
    elapsed = max(later.at - latest, 0)
    kinds: set[Kind] = {"clock"} if latest != earlier.at or later.at < latest else set()
    if later.strokes < earlier.strokes:
        # A counter that fell between boots is never taken for a turn of the counter.
        if later.strokes <= most_plausible(rule, elapsed):
            return _judged(kinds | {"restart"}, later.strokes, rule, elapsed)
        return _judged(kinds | {"jump"}, 0, rule, elapsed)
    ahead = later.strokes - earlier.strokes
    if ahead <= most_plausible(rule, elapsed):
        return _turned(kinds | {"reboot"}, ahead, rule, elapsed)
    if ahead <= most_plausible(rule, elapsed + CLOCK_GRACE):
        return _turned(kinds | {"reboot", "clock"}, ahead, rule, elapsed, grace=CLOCK_GRACE)
    return _judged(kinds | {"jump"}, 0, rule, elapsed)


def turn_candidates(judged: Judgement, modulus: int, most: int = MOST_CANDIDATES) -> list[int]:
    """All counts that the counter's difference leaves open where whole turns may hide (rule 4).

    Growing, from what is counted, one modulus apart, none above the greatest plausible count; at
    most `most` of them. Empty where no turn may hide.
    """
    if "wrap" not in judged.kinds:
        return []
    greatest = judged.counted + judged.hidden_at_most
    return list(range(judged.counted, greatest + 1, modulus))[:most]


def _turned(kinds: set[Kind], ahead: int, rule: Rule, elapsed: int, grace: int = 0) -> Judgement:
    """The difference is counted; whole turns hide where one more is plausible by the same time."""
    if ahead + rule.modulus <= most_plausible(rule, elapsed + grace):
        kinds = kinds | {"wrap"}
    return _judged(kinds, ahead, rule, elapsed)


def _judged(kinds: set[Kind], counted: int, rule: Rule, elapsed: int) -> Judgement:
    if not kinds:
        return Judgement((), counted, 0)
    grace = CLOCK_GRACE if kinds & {"clock", "jump"} else 0
    hidden = most_plausible(rule, elapsed + grace) - counted
    return Judgement(tuple(kind for kind in KINDS if kind in kinds), counted, hidden)

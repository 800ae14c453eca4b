"""Counts that whole turns of a counter leave open."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from duestroke.counting.judge import (
    CLOCK_GRACE,
    MINUTE,
    MOST_CANDIDATES,
    judge_between,
    judge_within,
    most_plausible,
    turn_candidates,
)
from duestroke.counting.types import Reading, Rule

DAY = 24 * 60 * MINUTE


def pair(start: int, ran: int, elapsed: int, modulus: int) -> tuple[Reading, Reading]:
    """Two readings of a counter that made `ran` strokes in `elapsed` microseconds."""
    return Reading("b", 1, 0, start), Reading("b", 2, elapsed, (start + ran) % modulus)


@given(
    modulus=st.integers(1_000, 200_000),
    share=st.floats(0, 1),
    start=st.integers(0, 2**40),
    elapsed=st.integers(0, 3 * DAY),
    between=st.booleans(),
)
@example(65_536, 0.633, 100, 240 * MINUTE, False)
def test_what_really_ran_is_among_them_and_each_fits_the_counter(
    modulus, share, start, elapsed, between
):
    """A record without resets: a plausible count is counted itself or is one of the candidates."""
    rule = Rule(modulus)
    ran = int(share * most_plausible(rule, elapsed))
    earlier, later = pair(start % modulus, ran, elapsed, modulus)
    if between and later.strokes < earlier.strokes:
        return  # between boots a counter that fell is never taken for a turn (rule 4)
    judged = (
        judge_between(earlier, later, rule, 0) if between else judge_within(earlier, later, rule)
    )
    found = turn_candidates(judged, modulus)
    assert bool(found) == ("wrap" in judged.kinds)
    if not found:
        assert judged.counted == ran
        return
    assert found[0] == judged.counted
    assert ran in found or len(found) == MOST_CANDIDATES
    grace = CLOCK_GRACE if "clock" in judged.kinds else 0
    greatest = most_plausible(rule, elapsed + grace)
    for count in found:
        assert (earlier.strokes + count) % modulus == later.strokes
        assert count <= greatest
    assert len(found) == MOST_CANDIDATES or found[-1] + modulus > greatest


@pytest.mark.parametrize(
    ("ran", "minutes", "expected"),
    [
        # 4 h at 400 a minute are 96,000 strokes, and read as 96,000 - 65,536 (arithmetic).
        (96_000, 240, [30_464, 96_000]),
        (91_200, 240, [25_664, 91_200]),
        # At 480 a minute, times 1.25, a whole turn of 65,536 needs more than 109 minutes.
        (0, 109, []),
        (0, 110, [0, 65_536]),
    ],
)
def test_a_counter_of_16_bits(ran, minutes, expected):
    earlier, later = pair(1_000, ran, minutes * MINUTE, 65_536)
    assert turn_candidates(judge_within(earlier, later, Rule(65_536)), 65_536) == expected


def test_a_counter_that_fell_or_leapt_leaves_no_turn_open():
    """A restart and a leap are doubts of another kind: a turn is no answer to them."""
    rule = Rule(10**8)
    for later in (Reading("b", 2, MINUTE, 3), Reading("b", 2, MINUTE, 99_000_000)):
        judged = judge_within(Reading("b", 1, 0, 50_000_000), later, rule)
        assert judged.kinds
        assert turn_candidates(judged, rule.modulus) == []

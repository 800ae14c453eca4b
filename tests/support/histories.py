"""Random histories of a press with a truth of its own: what counting is tested on.

A history is a script of steps. Each step lets the press run a while, may do something to the
counter, the sender or its clock, and ends with a report (which may be lost). The truth keeps the
strokes really made, and which pairs the contract's rule 7 does not answer for.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from hypothesis import strategies as st

from duestroke.counting.types import Reading, Rule

MINUTE = 60_000_000
START = 1_767_225_600_000_000  # 2026-01-01T00:00:00Z
DEEDS = (
    *("run",) * 8,
    *("gap",) * 3,
    *("lose",) * 2,
    "reset",
    "reboot-keep",
    "reboot-zero",
    "ahead",
    "right",
    "back",
    "far",
    "odd",
    *("overlap",) * 7,
)


@dataclass
class History:
    """Readings in the order in which they were made, with the truth beside them."""

    rule: Rule
    readings: list[Reading] = field(default_factory=list)
    true_strokes: int = 0
    lost: int = 0
    excused: bool = False
    """Something happened that rule 7 does not answer for."""


@dataclass
class _Press:
    rule: Rule
    now: int = START
    clock: int = 0
    counter: int = 0
    seq: int = 0
    boot: int = 0
    made: int = 0
    since_reset: int | None = None
    turned: bool = False
    put_right: bool = False

    def run(self, minutes: int, load: float) -> None:
        strokes = int(self.rule.max_spm * minutes * load)
        self.turned |= self.counter + strokes >= self.rule.modulus
        self.counter = (self.counter + strokes) % self.rule.modulus
        self.made += strokes
        self.now += minutes * MINUTE

    def do(self, deed: str, size: int) -> bool:
        """Act; True where the contract does not answer for what follows."""
        if deed == "reset":
            self.counter, self.since_reset = 0, self.made
        elif deed == "reboot-keep":
            self.boot, self.seq = self.boot + 1, 0
        elif deed == "reboot-zero":
            self.boot, self.seq = self.boot + 1, size % 3
            self.counter, self.since_reset = 0, self.made
        elif deed == "ahead":
            self.clock = (1 + size % 9) * MINUTE
        elif deed == "right":
            self.put_right, self.clock = self.clock != 0, 0
        elif deed == "back":
            self.clock -= (1 + size % 90) * MINUTE
            return True
        elif deed == "far":
            self.clock += (11 + size) * MINUTE
            return True
        elif deed == "odd":
            self.counter = (self.counter + size * 97_003) % self.rule.modulus
            return True
        return False


@st.composite
def histories(draw: st.DrawFn, most: int = 24) -> History:
    """A press's history of 2 to `most` steps."""
    rule = Rule(
        modulus=draw(st.sampled_from([1_000, 10_000, 65_536, 2**32])),
        max_spm=draw(st.sampled_from([60, 480])),
    )
    steps = draw(
        st.lists(
            st.tuples(st.sampled_from(DEEDS), st.integers(0, 299), st.integers(0, 10)),
            min_size=2,
            max_size=most,
        )
    )
    press, history = _Press(rule, counter=draw(st.integers(0, 900))), History(rule)
    _report(press, history)
    first = press.made
    for deed, size, load in steps:
        _step(press, history, deed, size, load / 10)
    # What is made after the last report is in no record; a loss at the end is no gap in seq.
    history.true_strokes = press.made - first
    _report(press, history)
    history.lost = _gaps(history.readings)
    return history


def _step(press: _Press, history: History, deed: str, size: int, load: float) -> None:
    minutes = 30 + size if deed == "gap" else 1 + size % 12
    press.run(size % 3, load)
    if deed == "overlap":
        _overlap(press, history, load)
        return
    history.excused |= press.do(deed, size)
    press.run(minutes, load)
    if deed == "lose":
        press.seq += 1
    else:
        _report(press, history)


def _overlap(press: _Press, history: History, load: float) -> None:
    """The clock runs ahead, then a boot with the right clock begins before the last one ends."""
    press.clock = 9 * MINUTE
    press.run(1, load)
    _report(press, history)
    press.boot, press.seq, press.clock = press.boot + 1, 0, 0
    press.run(2, load)
    _report(press, history)


def _report(press: _Press, history: History) -> None:
    last = history.readings[-1] if history.readings else None
    at = press.now + press.clock
    if press.since_reset is not None:
        unseen = last is not None and last.boot == f"b{press.boot}" and _unseen(press, last, at)
        history.excused |= unseen or press.put_right
    history.excused |= press.turned and press.put_right
    history.readings.append(
        Reading(
            f"b{press.boot}",
            press.seq,
            at,
            press.counter,
            *((None, None) if press.counter % 7 == 0 else (10.5, 440.0 + press.seq)),
        )
    )
    press.seq += 1
    press.since_reset, press.turned, press.put_right = None, False, False


def _unseen(press: _Press, last: Reading, at: int) -> bool:
    """A restart inside a boot that looks like strokes, or like a turn of the counter."""
    minutes = max(at - last.at, 0) / MINUTE + 10
    looks = (press.counter - last.strokes) % press.rule.modulus
    return looks <= 1.25 * press.rule.max_spm * minutes + 50


def _gaps(readings: list[Reading]) -> int:
    boots: dict[str, list[int]] = {}
    for reading in readings:
        boots.setdefault(reading.boot, []).append(reading.seq)
    return sum(max(seqs) - min(seqs) + 1 - len(seqs) for seqs in boots.values())


def arrivals(history: History) -> st.SearchStrategy[list[list[Reading]]]:
    """Orders of arrival: shuffled a little or wholly, with repeats, cut into batches."""
    return _arrivals(history)


@st.composite
def _arrivals(draw: st.DrawFn, history: History) -> list[list[Reading]]:
    readings = list(history.readings)
    style = draw(
        st.sampled_from(
            ["in order", *["newest first"] * 3, *["shuffled"] * 2, "one late", "halves"]
        )
    )
    if style == "newest first":
        readings.reverse()
    elif style == "shuffled":
        readings = draw(st.permutations(readings))
    elif style == "one late":
        readings.append(readings.pop(draw(st.integers(0, len(readings) - 1))))
    elif style == "halves":
        cut = draw(st.integers(0, len(readings)))
        readings = readings[cut:] + readings[:cut]
    repeats = draw(st.lists(st.sampled_from(readings), max_size=4))
    for repeat in repeats:
        readings.insert(draw(st.integers(0, len(readings))), repeat)
    cuts = sorted(draw(st.lists(st.integers(0, len(readings)), max_size=5)))
    edges = [0, *cuts, len(readings)]
    return [readings[a:b] for a, b in pairwise(edges)]

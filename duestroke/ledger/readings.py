"""What readings of a tool ask back: those that go backwards, and those that can hardly be right.

A question is never an event. A reading that goes backwards may mean that the tool was changed and
nobody entered it; one that is twenty times its limit may have been read with the wrong gauge, in
another unit, or on another tool. Only somebody who knows can say.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Final, Literal

QuestionKind = Literal["backwards", "implausible", "set-limit"]

SET_QUANTITIES: Final = frozenset({"wall", "wall-thickness", "dome-depth"})
"""Quantities read off the can that several tools make together: the wall between punch and ring 3,
the dome depth between dome die, punch and hold-down. Common practice, no source."""

BACKWARDS_SHARE: Final = 0.25
"""Part of the limit by which a reading without uncertainty may fall back before it is questioned:
some three times what two shop readings differ by. Common practice, no source."""

LEAP: Final = 20.0
"""Times its limit at which a reading is questioned: wear is found long before."""

WRONG_UNIT: Final = 200.0
"""Times smaller than the last reading at which it is questioned: um read as mm is 1,000."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One reading that stands.

    stretch: readings of one stretch in a press have one zero and are held against each other.
    limit: its own, or the position's where quantity and unit are the position's.  uncertainty:
    half-width of the 95 % range.  of_set: made by several tools together.
    """

    id: str
    serial: str
    at: datetime
    entry: int
    stretch: str | None
    quantity: str
    value: float
    unit: str
    limit: float | None = None
    uncertainty: float | None = None
    of_set: bool = False

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}"


@dataclass(frozen=True, slots=True)
class Question:
    """What a reading asks. against: id of the reading that it does not fit to, if there is one."""

    kind: QuestionKind
    reading: Reading
    against: str | None
    words: str


def is_of_set(quantity: str | None) -> bool:
    """Whether a quantity is made by several tools together, however it is spelt."""
    return quantity is not None and _plain(quantity) in SET_QUANTITIES


def _plain(quantity: str) -> str:
    return "-".join(quantity.casefold().replace("_", " ").replace("-", " ").split())


def questions(readings: Iterable[Reading]) -> list[Question]:
    """What the readings that stand ask, in order of time; the order given does not matter."""
    ordered = sorted(readings, key=lambda one: (*_series(one), one.at, one.entry))
    asked = [
        question
        for _, series in groupby(ordered, key=_series)
        for question in _of_series(list(series))
    ]
    return sorted(asked, key=lambda question: (question.reading.at, question.reading.entry))


def _series(reading: Reading) -> tuple[str, str, str, str]:
    return (reading.serial, reading.stretch or "", reading.quantity, reading.unit)


def _of_series(series: Sequence[Reading]) -> list[Question]:
    found: list[Question] = []
    last: Reading | None = None
    for reading in series:
        question = _question(reading, last)
        if question is not None:
            found.append(question)
        if question is None or question.kind != "implausible":
            last = reading
    return found


def _question(reading: Reading, last: Reading | None) -> Question | None:
    if reading.of_set:
        return _past_limit_of_set(reading)
    return _leap(reading, last) or _backwards(reading, last)


def _past_limit_of_set(reading: Reading) -> Question | None:
    if reading.limit is None or reading.value / reading.limit < 1:
        return None
    words = (
        f"{reading.quantity} reads {reading}, past its limit of {reading.limit:g} {reading.unit}; "
        "it is made by several tools together: which of them is worn?"
    )
    return Question("set-limit", reading, None, words)


def _leap(reading: Reading, last: Reading | None) -> Question | None:
    limit = reading.limit
    if limit is not None and abs(reading.value) >= LEAP * abs(limit):
        before = "" if last is None else f" and the last reading of {last}"
        words = (
            f"{reading.quantity} reads {reading} against a limit of {limit:g} {reading.unit}"
            f"{before}: is it the right tool, gauge and unit?"
        )
        return Question("implausible", reading, None if last is None else last.id, words)
    if last is None or not _is_much_smaller(reading.value, last):
        return None
    words = (
        f"{reading.quantity} reads {reading} against the last reading of {last}"
        f"{_limit_words(reading)}: is it in another unit?"
    )
    return Question("implausible", reading, last.id, words)


def _is_much_smaller(value: float, last: Reading) -> bool:
    """Not zero, which a fresh tool reads, but hundreds of times less than one that counts."""
    counts = last.limit is None or abs(last.value) >= abs(last.limit) / 10
    return value != 0 and counts and abs(value) * WRONG_UNIT <= abs(last.value)


def _limit_words(reading: Reading) -> str:
    return "" if reading.limit is None else f" and a limit of {reading.limit:g} {reading.unit}"


def _backwards(reading: Reading, last: Reading | None) -> Question | None:
    if last is None:
        return None
    direction = math.copysign(1.0, last.value if reading.limit is None else reading.limit)
    if direction * (reading.value - last.value) >= -_margin(reading, last):
        return None
    words = (
        f"{reading.quantity} reads {reading}, and read {last} before: wear does not go back. "
        "Was the tool changed, or another one read?"
    )
    return Question("backwards", reading, last.id, words)


def _margin(reading: Reading, last: Reading) -> float:
    """What two readings may differ by: their uncertainties together, else a part of the limit."""
    if reading.uncertainty is not None or last.uncertainty is not None:
        return math.hypot(reading.uncertainty or 0.0, last.uncertainty or 0.0)
    return BACKWARDS_SHARE * abs(last.value if reading.limit is None else reading.limit)


def unlikely(reading: Reading) -> str | None:
    """A first reading that looks like one in another unit: a word of warning, no question."""
    limit = reading.limit
    if limit is None or reading.of_set or reading.value == 0:
        return None
    if abs(reading.value) * WRONG_UNIT * 2 > abs(limit):
        return None
    return f"{reading} is little against the limit of {limit:g} {reading.unit}: is the unit right?"


def near_limit(reading: Reading) -> str | None:
    """A reading whose uncertainty reaches over its limit: neither in nor out (ISO 14253-1:2017)."""
    limit, doubt = reading.limit, reading.uncertainty
    if limit is None or not doubt or abs(reading.value - limit) > doubt:
        return None
    return (
        f"{reading} with {doubt:g} {reading.unit} of uncertainty is neither in nor out of the "
        f"limit of {limit:g} {reading.unit}"
    )

"""Places of a small figure: a plot stretched over 60 days, its ticks, and labels with room.

x runs from 0 to 1000 over the days shown, y from 0 (top) to 100. Words are placed in per cent.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from dashboard import words

WIDE: Final = 1000.0
HIGH: Final = 100.0
LANES: Final = 3
LANE_PX, PLOT_PX, ABOVE_PX = 18.0, 192.0, 58.0
"""Heights as the style sheet has them: of a lane, of the plot, and of all lanes above it."""
CHAR_SHARE: Final = 1.55
"""Per cent of the width that a letter takes where the figure is narrowest."""
STEPS: Final = (1.0, 2.0, 4.0, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Days:
    """Plant days from `first` to `last`, each equally wide."""

    first: date
    last: date

    @property
    def count(self) -> int:
        """How many days."""
        return (self.last - self.first).days + 1

    def x(self, day: date, share: float = 0.5) -> float:
        """x in a day: 0 at its start, 1 at its end."""
        return round(WIDE * ((day - self.first).days + share) / self.count, 1)

    def left(self, day: date, share: float = 0.5) -> float:
        """The same in per cent."""
        return round(self.x(day, share) / WIDE * 100, 2)

    def labels(self) -> list[dict[str, Any]]:
        """Every other Monday by date, where there is room."""
        first_monday = self.first + timedelta(days=-self.first.weekday() % 7)
        mondays = (first_monday + timedelta(weeks=2 * at) for at in range(self.count // 14 + 1))
        return [
            {"left": self.left(day), "text": day_word(day)}
            for day in mondays
            if day <= self.last and 4 <= self.left(day) <= 94
        ]


def day_word(day: date) -> str:
    """`14 Nov`."""
    return f"{day.day}{words.NB}{words.MONTHS[day.month - 1]}"


@dataclass(frozen=True, slots=True)
class Heights:
    """A y scale from `low` to `high` in steps, all of them round figures."""

    low: float
    high: float
    step: float

    def y(self, value: float) -> float:
        """y of a value, 0 at the top."""
        return round(HIGH * (self.high - value) / (self.high - self.low), 2)

    def ticks(self, decimals: int) -> list[dict[str, Any]]:
        """Ticks from the lowest to the highest."""
        count = round((self.high - self.low) / self.step)
        values = [self.low + self.step * at for at in range(count + 1)]
        return [{"top": self.y(value), "text": f"{value:.{decimals}f}"} for value in values]

    def grid(self) -> str:
        """Path data of the lines at the ticks."""
        count = round((self.high - self.low) / self.step)
        tops = [self.y(self.low + self.step * at) for at in range(count + 1)]
        return "".join(f"M0 {top:g}H{WIDE:g}" for top in tops)


def heights(values: Sequence[float], least: float, low: float | None = None) -> Heights:
    """A scale that holds the values. least: the smallest span.  low: where it must begin."""
    bottom, top = min(values) if low is None else low, max(values)
    lacking = max(least - (top - bottom), 0.0)
    top += lacking if low is not None else lacking / 2
    bottom -= 0.0 if low is not None else lacking / 2
    step = _step((top - bottom) / 4)
    return Heights(
        low=round(math.floor(bottom / step + 1e-9) * step, 9),
        high=round(math.ceil(top / step - 1e-9) * step, 9),
        step=step,
    )


def _step(rough: float) -> float:
    base = 10.0 ** math.floor(math.log10(rough))
    return next(each * base for each in STEPS if each * base >= rough * 0.999)


def in_lanes(days: Days, marks: Sequence[tuple[date, str]]) -> list[dict[str, Any]]:
    """Labels of uprights in lanes above the plot, the newest first; what has no room is left out.

    A label stands right of its upright in the left half, left of it in the right half.
    """
    taken: list[list[tuple[float, float]]] = [[] for _ in range(LANES)]
    placed = []
    for day, text in sorted(marks, reverse=True):
        left, width = days.left(day), CHAR_SHARE * len(text) + 2
        begin, end = (left - width, left) if left > 50 else (left, left + width)
        lane = next((at for at, held in enumerate(taken) if _is_free(held, begin, end)), None)
        if lane is None or begin < -1 or end > 101:
            continue
        taken[lane].append((begin, end))
        placed.append({"left": left, "lane": lane, "text": text, "back": left > 50})
    return placed


def uprights(days: Days, marks: Sequence[date], placed: Sequence[dict[str, Any]]) -> str:
    """Path data of uprights through the plot, those with a label up to it."""
    lanes = {each["left"]: each["lane"] for each in placed}
    tops = {
        left: round(HIGH * (LANE_PX * lane + 2 - ABOVE_PX) / PLOT_PX, 1)
        for left, lane in lanes.items()
    }
    return "".join(f"M{days.x(day):g} {tops.get(days.left(day), 0):g}V100" for day in marks)


def _is_free(held: Sequence[tuple[float, float]], begin: float, end: float) -> bool:
    return all(end <= low or begin >= high for low, high in held)

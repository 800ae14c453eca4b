"""Futures of many tools at once: strokes left, due times, chances before stops, by scenario."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from duestroke.forecast.dates import LEVELS, WEIGHTS, DueDays
from duestroke.forecast.facts import LifeBasis, PressFacts, ToolFacts
from duestroke.forecast.unknown_age import remaining_at_unknown_age
from duestroke.forecast.view import View
from duestroke.inference.ahead import futures
from duestroke.inference.tool import ToolRecord

Floats = NDArray[np.float64]

_ENDED = np.concatenate(([0.0], np.cumsum(WEIGHTS)))
"""Chance that the end is past where so many levels have nothing left."""


@dataclass(frozen=True, slots=True)
class Seat:
    """A tool that has a life law, in its press."""

    view: View
    tool: ToolFacts
    basis: LifeBasis


@dataclass(frozen=True, slots=True)
class Ahead:
    """One tool's future: strokes left and due times at LEVELS, chances, outlooks by scenario.

    due_us: None where the press never moved.  chances: before each stop ahead.  stood, ran: chance
    that the end is past, and that it comes before the second and the third stop, if the press
    stood in a silence and if it ran flat out.  wear: of the ends within the highest level, the
    part by wear; None where all ends are one law.
    """

    remaining: tuple[float, ...]
    due_us: tuple[int | None, ...] | None
    chances: tuple[float, ...]
    stood: tuple[float, tuple[float, float]]
    ran: tuple[float, tuple[float, float]]
    wear: float | None


def futures_of(seats: Sequence[Seat]) -> list[Ahead]:
    """Futures of tools, those of a press one after the other.

    The range is widened by what may have run in a silence: low levels as if it ran flat out, high
    ones as if it stood.
    """
    if not seats:
        return []
    left, wear = strokes_left(seats)
    left = _coarse(left)
    unseen = np.array([seat.view.unseen(seat.tool) for seat in seats])[:, None]
    remaining = np.maximum(left - unseen * (1 - LEVELS), 0.0).round(1)
    silent = [row for row, seat in enumerate(seats) if seat.view.silent]
    ran = np.maximum(left - unseen, 0.0).round(1)[silent]
    views = [seat.view for seat in seats] + 2 * [seats[row].view for row in silent]
    ends = _Ends(views, np.concatenate((remaining, left[silent].round(1), ran)))
    due = ends.due(len(seats))
    place = {row: len(seats) + k for k, row in enumerate(silent)}
    rows = remaining.tolist()
    return [
        Ahead(
            remaining=tuple(rows[row]),
            due_us=due[row],
            chances=tuple(ends.chances[row][:-3]),
            stood=_judged(ends.chances[place.get(row, row)]),
            ran=_judged(ends.chances[place[row] + len(silent) if row in place else row]),
            wear=wear[row],
        )
        for row in range(len(seats))
    ]


def _coarse(left: Floats) -> Floats:
    """Strokes left (tools, levels) to the seventh digit of a tool's largest figure, or to 0.1.

    The last digits of a sum may differ from one process to the next; what is kept may not.
    """
    largest = np.maximum(left.max(axis=1, keepdims=True), 1.0)
    step = np.maximum(10.0 ** (np.floor(np.log10(largest)) - 6), 0.1)
    return np.asarray(np.rint(left / step) * step)


def _judged(chances: list[float]) -> tuple[float, tuple[float, float]]:
    now, second, third = chances[-3:]
    return now, (second, third)


class _Ends:
    """When strokes left (rows, levels) are used up; without a rate only what is past is known."""

    def __init__(self, views: Sequence[View], remaining: Floats) -> None:
        self._views = views
        rates = [view.press.rate for view in views]
        known = [row for row, rate in enumerate(rates) if rate is not None]
        self._days = DueDays(remaining[known], [rate for rate in rates if rate is not None])
        self._row = {row: k for k, row in enumerate(known)}
        told = self._days.chance_before([views[row].judged_days for row in known])
        ended = _ENDED[np.count_nonzero(remaining < 1, axis=1)]
        self.chances: list[list[float]] = [
            told[self._row[row]].tolist()
            if row in self._row
            else [float(ended[row])] * (len(view.stops) + 3)
            for row, view in enumerate(views)
        ]
        """Chance of the end before the stops ahead, now, and the second and third occasion."""

    def due(self, count: int) -> list[tuple[int | None, ...] | None]:
        """Due times at LEVELS of the first rows; rows of one press follow each other."""
        found: list[tuple[int | None, ...] | None] = []
        for view, rows in groupby(range(count), key=lambda row: self._views[row]):
            members = list(rows)
            if view.press.rate is None:
                found += [None for _ in members]
                continue
            first = self._row[members[0]]
            found += view.due_us(self._days.quantiles[first : first + len(members)])
        return found


def strokes_left(seats: Sequence[Seat]) -> tuple[Floats, list[float | None]]:
    """Strokes left at the last report, (seats, levels), growing with the level; the part by wear.

    A tool found at its end has none left, so that state, range and chances agree.
    """
    left = np.zeros((len(seats), len(LEVELS)))
    wear: list[float | None] = [None for _ in seats]
    for rows in _by_place(seats):
        desk = seats[rows[0]].basis.desk
        if desk is None:
            continue
        records = [record_of(seats[row].view.press, seats[row].tool) for row in rows]
        aged = [k for k, row in enumerate(rows) if seats[row].tool.strokes is not None]
        told = futures(desk, [records[k] for k in aged], LEVELS)
        for k, strokes, part in zip(aged, told.strokes, told.wear.tolist(), strict=True):
            left[rows[k]] = strokes
            wear[rows[k]] = None if part != part else part
        for k, row in enumerate(rows):
            tool = seats[row].tool
            if tool.strokes is None:
                since = tool.strokes_since_fit
                left[row] = remaining_at_unknown_age(desk, records[k], since, LEVELS)
    left += _doubt_of_age([seat.tool for seat in seats])
    return np.maximum.accumulate(np.maximum(left, 0.0), axis=1), wear


def _by_place(seats: Sequence[Seat]) -> list[list[int]]:
    places: dict[int, list[int]] = {}
    for row, seat in enumerate(seats):
        if not seat.tool.read_past_limit:
            places.setdefault(id(seat.basis), []).append(row)
    return list(places.values())


def _doubt_of_age(tools: Sequence[ToolFacts]) -> Floats:
    """Strokes that each level moves by, (tools, levels), since an age is not known to the stroke.

    Low levels stand as if the tool were as old as it may be, high ones as if as young. None of it
    where the tool was found at its end.
    """
    told = [not tool.read_past_limit for tool in tools]
    hidden = np.array([tool.strokes_hidden for tool in tools]) * told
    margin = np.array([tool.age_margin for tool in tools]) * told
    return np.asarray(margin[:, None] * (2 * LEVELS - 1) - hidden[:, None] * (1 - LEVELS))


def record_of(press: PressFacts, tool: ToolFacts) -> ToolRecord:
    """The tool as the life law takes it; of unknown age, as one of its strokes since the fit.

    A good verdict at an age beyond its own (a count that was set back since) holds for now.
    """
    age = tool.strokes_since_fit if tool.strokes is None else tool.strokes
    good = None if tool.strokes is None or tool.good_at is None else min(tool.good_at, age)
    return ToolRecord(
        age=age,
        good_at=good,
        readings=tool.readings,
        press=press.press,
        batch=tool.batch,
        life_number=tool.life_number,
        speed_so_far=tool.speed_so_far,
        speed_now=tool.speed_now,
        rough_so_far=tool.rough_so_far,
        rough_now=tool.rough_now,
    )

"""Forecasts held against how the ledger says they came out, whoever made them and when."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from duestroke.score import Ending, Made, came_before, ending, score
from store.scores import Kept, LifeRecord
from store.strokes import totals_at
from store.unit import Unit


@dataclass(frozen=True, slots=True)
class Told:
    """A forecast to be scored.

    chain, fit_id: the life and the stretch that held the tool at `as_of`.  stop: of the chance in
    `made`: its id (None for a stand-in) and its begin.
    """

    forecast_id: int | None
    press_id: int
    position: str
    kind: str
    serial: str
    chain: UUID
    fit_id: UUID
    as_of: datetime
    made: Made
    stop: tuple[str | None, datetime] | None


class Totals:
    """Totals of presses at times, asked for once and together."""

    def __init__(self, unit: Unit, questions: Iterable[tuple[int, datetime]]) -> None:
        asked = sorted(set(questions))
        self._known = dict(zip(asked, totals_at(unit.conn, asked), strict=True))

    def at(self, press_id: int, at: datetime) -> int:
        """A press's total at a time that was asked for."""
        return self._known[press_id, at]


def judged(unit: Unit, told: Sequence[Told], now: datetime) -> list[Kept]:
    """Scores of forecasts, by the ledger and the counts of now.

    Left out are those of tools that were known to be at their limit already, and of tools that
    the ledger does not place there any more.
    """
    lives = unit.scores.lives(sorted({each.chain for each in told}))
    ends_of_stops = {stop.id: stop.ends_at for stop in unit.stops.all()}
    stops = [_stop(each, ends_of_stops, now) for each in told]
    totals = Totals(unit, _questions(told, stops))
    rows: list[Told] = []
    ends: list[Ending] = []
    came: list[bool | None] = []
    for each, stop in zip(told, stops, strict=True):
        life = lives.get(each.chain)
        end = None if life is None else _end(each, life, totals, now)
        if life is None or end is None:
            continue
        rows.append(each)
        ends.append(end)
        came.append(None if stop is None else _came(each, life, end, stop, totals))
    scores = score([each.made for each in rows], ends, came)
    return [
        Kept(
            forecast_id=each.forecast_id,
            press_id=each.press_id,
            position=each.position,
            kind=each.kind,
            serial=each.serial,
            chain=each.chain,
            as_of=each.as_of,
            score=came_out,
        )
        for each, came_out in zip(rows, scores, strict=True)
    ]


Window = tuple[datetime, datetime]


def _stop(told: Told, ends: dict[str, datetime], now: datetime) -> Window | None:
    """Begin and end of the next stop, None where it is not over yet, or none was said."""
    if told.stop is None or told.made.chance is None:
        return None
    name, start = told.stop
    end = start if name is None else max(ends.get(name, start), start)
    return (start, end) if end <= now else None


def _questions(
    told: Sequence[Told], stops: Sequence[Window | None]
) -> Iterable[tuple[int, datetime]]:
    for each, stop in zip(told, stops, strict=True):
        yield each.press_id, each.as_of
        for at in stop or ():
            yield each.press_id, at


def _end(told: Told, life: LifeRecord, totals: Totals, now: datetime) -> Ending | None:
    if told.fit_id not in life.fits:
        return None
    first = life.fits.index(told.fit_id)
    total = totals.at(told.press_id, told.as_of)
    return ending(life.stretches, life.looks, first, told.as_of, total, now)


def _came(told: Told, life: LifeRecord, end: Ending, stop: Window, totals: Totals) -> bool | None:
    begin = totals.at(told.press_id, told.as_of)
    from_stop, to_stop = (float(totals.at(told.press_id, at) - begin) for at in stop)
    out_at = life.stretches[life.fits.index(told.fit_id)].pulled_at
    return came_before(end, from_stop, to_stop, stop[0], out_at)

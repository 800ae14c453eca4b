"""Forecasts made again at earlier times from what was known then, held against what came.

At every origin the lives of each place are fitted anew and every tool that was in a press is
forecast, with the functions that the engine itself uses. Known is what had happened and had been
entered by then: a correction entered later does not count yet. Taken as they are now are the
counts of strokes (a flag settled since moves earlier totals), the handbook figures, and stops
entered only after they had begun.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from duestroke.errors import BadField
from duestroke.forecast import Forecast
from duestroke.score import Made, score_answer
from engine.judge import Told, judged
from engine.past import Fitting, Past, Place, fitted
from store.scores import Kept
from store.unit import Connection, Unit

EVERY_DAYS: Final = 28.0

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to make again.

    every_days: between two origins, > 0.  start: the first origin, None: so many days after the
    first report.  place: kind and position, None: all.
    """

    every_days: float = EVERY_DAYS
    start: datetime | None = None
    place: Place | None = None


@dataclass(frozen=True)
class Backtest:
    """What came out.

    left_out: forecasts without a score, of tools that the ledger of now does not place there or
    says to have been at their limit already.  answer: as `GET /forecasts/score` gives the rest.
    """

    origins: tuple[datetime, ...]
    kept: tuple[Kept, ...]
    left_out: int
    answer: dict[str, object]


def backtest(
    conn: Connection,
    wanted: Wanted,
    now: datetime,
    *,
    keep: bool,
    say: Say = lambda line: None,
    fitting: Fitting = fitted,
) -> Backtest:
    """Make forecasts again at every origin up to `now`, score them, and keep the scores if asked.

    say: takes a line of progress.  fitting: how lives become a posterior.  Commits; kept scores
    take the place of those of the last backtest of the same place.
    Raises BadField for a place that is none, and where there is no origin.
    """
    with Unit(conn) as unit:
        unit.conn.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        past = Past(unit, wanted.place, fitting)
        origins = origins_of(wanted, past.begin, now)
        made: list[Forecast] = []
        for number, origin in enumerate(origins, start=1):
            made += past.forecasts(origin)
            say(f"{number} of {len(origins)}: {origin:%Y-%m-%d}, {len(made)} forecasts so far")
        handbook = {each.position: each.handbook_life for each in unit.positions.by_name().values()}
        kept = judged(unit, _told(unit, made, handbook), now)
        if keep:
            kind, position = wanted.place or (None, None)
            unit.scores.replace_backtest(kind, position, kept, now)
        unit.commit()
    answer = score_answer([each.as_scored() for each in kept])
    return Backtest(tuple(origins), tuple(kept), len(made) - len(kept), answer)


def origins_of(wanted: Wanted, begin: datetime | None, now: datetime) -> list[datetime]:
    """Times evenly apart, by the calendar and not by what happened at them.

    begin: of the record, None without one.  Raises BadField where there are none.
    """
    if not wanted.every_days > 0:
        raise BadField("every", wanted.every_days, "a number of days above 0")
    step = timedelta(days=wanted.every_days)
    at = wanted.start or (now if begin is None else begin + step)
    found: list[datetime] = []
    while at < now:
        found.append(at)
        at += step
    if not found:
        start = None if wanted.start is None else wanted.start.isoformat()
        raise BadField("from", start, "a time before now; the record must be older than one step")
    return found


def _told(unit: Unit, made: Sequence[Forecast], handbook: dict[str, float | None]) -> list[Told]:
    """The forecasts with the lives that they are of by the ledger of now."""
    tools = [(each.press, each.position, each.serial, each.made_at) for each in made]
    return [
        Told(
            forecast_id=None,
            press_id=seat[0],
            position=each.position,
            kind=each.kind,
            serial=each.serial,
            chain=seat[1],
            fit_id=seat[2],
            as_of=each.made_at,
            made=Made(
                each.remaining,
                each.due_us,
                each.strokes,
                handbook.get(each.position),
                each.chances[0].chance if each.chances else None,
            ),
            stop=(each.chances[0].stop, each.chances[0].at) if each.chances else None,
        )
        for each, seat in zip(made, unit.scores.seats(tools), strict=True)
        if seat is not None and each.remaining is not None
    ]

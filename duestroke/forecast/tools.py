"""Forecasts of the tools in presses: strokes left, due times, chances before stops, states."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from duestroke.forecast.basis import Basis
from duestroke.forecast.facts import LifeBasis, PressFacts, State, ToolFacts
from duestroke.forecast.futures import Ahead, Seat, futures_of
from duestroke.forecast.intervals import interval_of
from duestroke.forecast.result import DEFAULT_LEVELS, Chance, Forecast
from duestroke.forecast.states import Outlook, state_in_silence, state_of
from duestroke.forecast.view import View
from duestroke.times import to_micros

Tools = Sequence[tuple[ToolFacts, LifeBasis]]


def forecast_press(press: PressFacts, tools: Tools, now: datetime) -> list[Forecast]:
    """Forecasts of all tools in a press as things stand at `now`, in the order given.

    Pure: the same facts give the same content to the byte. Raises nothing for odd data: what
    cannot be told is said by the state and in the cautions.
    """
    return forecast_presses([(press, tools)], now)[0]


def forecast_presses(
    presses: Sequence[tuple[PressFacts, Tools]], now: datetime
) -> list[list[Forecast]]:
    """Forecasts of all tools of many presses, by press and tool in the order given.

    A press alone gets the same bytes as among others.
    """
    views = [(View(press, now), tools) for press, tools in presses]
    seats = [Seat(view, *pair) for view, tools in views for pair in tools]
    based = [seat for seat in seats if seat.basis.law is not None]
    ahead = dict(zip(map(id, based), futures_of(based), strict=True))
    basis = Basis.of(based)
    made = iter([_forecast(seat, ahead.get(id(seat)), basis) for seat in seats])
    return [[next(made) for _ in tools] for _, tools in presses]


def _forecast(seat: Seat, ahead: Ahead | None, basis: Basis) -> Forecast:
    view, tool = seat.view, seat.tool
    press = view.press
    inputs, digest = basis.inputs(seat)
    return Forecast(
        press=press.press,
        position=tool.position,
        kind=tool.kind,
        serial=tool.serial,
        made_at=view.now,
        as_of=press.as_of,
        state=_state(view, tool, ahead),
        strokes=tool.strokes,
        remaining=None if ahead is None else ahead.remaining,
        due_us=None if ahead is None else ahead.due_us,
        chances=() if ahead is None else _chances(view, ahead),
        rate=_rate(press),
        interval=interval_of(view, tool, view.unseen(tool), spread=True),
        basis=basis.of_tool(seat, ahead),
        inputs=inputs,
        digest=digest,
    )


def _chances(view: View, ahead: Ahead) -> tuple[Chance, ...]:
    return tuple(
        Chance(stop.id, stop.start, round(chance, 6))
        for stop, chance in zip(view.stops, ahead.chances, strict=True)
    )


def _rate(press: PressFacts) -> tuple[float, datetime, datetime] | None:
    rate = press.rate
    return None if rate is None else (rate.strokes_per_day, rate.start, rate.end)


def _state(view: View, tool: ToolFacts, ahead: Ahead | None) -> State:
    if view.press.counter_stands_since is not None:
        return "cant-tell"
    stood = _outlook(view, tool, None if ahead is None else ahead.stood, 0.0)
    if not view.silent:
        return state_of(stood)
    ran = _outlook(view, tool, None if ahead is None else ahead.ran, view.unseen(tool))
    return state_in_silence(stood, ran)


def _outlook(
    view: View,
    tool: ToolFacts,
    life: tuple[float, tuple[float, float]] | None,
    unseen: float,
) -> Outlook:
    interval = interval_of(view, tool, unseen, spread=False)
    reached = (False, False, False)
    if interval is not None:
        at = interval.due_us[DEFAULT_LEVELS.index(0.5)]
        second, third = view.second_and_third
        reached = _by(at, view.now), _before(at, second), _before(at, third)
        if interval.strokes_left == 0:
            reached = (True, True, True)
    ended, chances = (None, None) if life is None else life
    if life is None and interval is not None and not any(reached):
        # No life is asked for where the plant keeps a fixed interval and nothing else.
        ended, chances = 0.0, (0.0, 0.0)
    return Outlook(ended, chances, tool.read_past_limit, reached)


def _by(at: int | None, instant: datetime) -> bool:
    return at is not None and at <= to_micros(instant)


def _before(at: int | None, instant: datetime) -> bool:
    return at is not None and at < to_micros(instant)

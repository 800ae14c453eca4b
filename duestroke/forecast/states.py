"""The word for a tool: what is to be done about it, by the contract's rules, no costs being set."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from duestroke.forecast.facts import STATES, State

WANTED_CHANCE: Final = 0.25
"""A change is wanted when the chance of ending before the stop after is at least this."""
PAST_CHANCE: Final = 0.5


class Outlook(NamedTuple):
    """One view of a tool's future.

    ended: chance that its end is past, or None without a basis.  chances: chance of ending
    before the second and the third stop to come, or None.  past_limit: read past its limit.
    interval_at: whether the fixed interval is reached now, before the second and the third stop.
    """

    ended: float | None
    chances: tuple[float, float] | None
    past_limit: bool
    interval_at: tuple[bool, bool, bool]


def state_of(outlook: Outlook) -> State:
    """The state of a tool whose counts are known."""
    now, second, third = outlook.interval_at
    if outlook.past_limit or now or _above(outlook.ended, PAST_CHANCE):
        return "overdue"
    if second or _wanted(outlook, 0):
        return "this-stop"
    if outlook.ended is None and not third:
        return "cant-tell"
    return "plan" if third or _wanted(outlook, 1) else "fine"


def _above(chance: float | None, bound: float) -> bool:
    return chance is not None and chance > bound


def _wanted(outlook: Outlook, stop: int) -> bool:
    return outlook.chances is not None and outlook.chances[stop] >= WANTED_CHANCE


def state_in_silence(stood: Outlook, ran: Outlook) -> State:
    """The state of a tool whose press is silent: what holds whether it stood or ran flat out."""
    first, second = state_of(stood), state_of(ran)
    return first if first == second else "cant-tell"


def worst(states: Sequence[State]) -> State | None:
    """The worst of some states, None of none."""
    return min(states, key=STATES.index, default=None)

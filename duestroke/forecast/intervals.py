"""Fixed intervals that a plant keeps: strokes and days counted from fit, rework or service.

No life is in them: their range comes from the rate alone, and from what may have run unseen.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from duestroke.forecast.dates import LEVELS, fixed_days
from duestroke.forecast.facts import ToolFacts
from duestroke.forecast.result import DEFAULT_LEVELS, Interval
from duestroke.forecast.view import HORIZON, View
from duestroke.times import to_micros


def interval_of(view: View, tool: ToolFacts, unseen: float, *, spread: bool) -> Interval | None:
    """The fixed interval of the position, None where it has none.

    unseen: strokes at most that may have run in a silence; all of them did, or, with `spread`,
    the range goes from that to none.
    """
    if tool.interval_strokes is None and tool.interval_days is None:
        return None
    left, due = None, None
    if tool.interval_strokes is not None:
        ran = tool.strokes if tool.strokes is not None else tool.strokes_since_fit
        left = max(tool.interval_strokes - ran, 0.0)
        due = _strokes_due(view, left, unseen, spread)
        left = left if spread else max(left - unseen, 0.0)
    if tool.interval_days is not None:
        fixed = tool.began + timedelta(days=tool.interval_days)
        due = _earliest(due, to_micros(max(fixed, view.now)), view)
    assert due is not None  # noqa: S101 - one of the two is set
    return Interval(left, due)


def _strokes_due(view: View, left: float, unseen: float, spread: bool) -> tuple[int | None, ...]:
    rate = view.press.rate
    due: list[int | None] = []
    for level in DEFAULT_LEVELS:
        strokes = max(left - unseen * (1 - level if spread else 1.0), 0.0)
        if strokes == 0:
            due.append(to_micros(view.now))
        elif rate is None:
            due.append(None)
        else:
            days = np.interp(level, LEVELS, fixed_days(strokes, rate))
            due += view.due_us(np.array([[days]]))[0]
    return tuple(due)


def _earliest(due: tuple[int | None, ...] | None, fixed: int, view: View) -> tuple[int | None, ...]:
    known = due if due is not None else tuple(None for _ in DEFAULT_LEVELS)
    last = to_micros(view.now + HORIZON)
    first = [fixed if at is None else min(at, fixed) for at in known]
    return tuple(at if at <= last else None for at in first)

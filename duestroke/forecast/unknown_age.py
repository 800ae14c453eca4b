"""Strokes left for a tool whose age at fit nobody knows: the stationary age law.

Seen at a random moment of its life, a tool's strokes left have the density `S(x) / mean life`
(renewal theory; D. R. Cox, Renewal Theory, 1962, chapter 5, from memory). The tool has since run
`since_fit` strokes and lasted, so the law is taken beyond those.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.ahead import Desk, remaining_quantiles, survival
from duestroke.inference.tool import ToolRecord

Floats = NDArray[np.float64]

_POINTS: Final = 800
_LAST_CHANCE: Final = 1e-4
_DOUBLINGS: Final = 60


def remaining_at_unknown_age(
    desk: Desk, tool: ToolRecord, since_fit: float, levels: Floats
) -> Floats:
    """Strokes left at the levels for a tool of unknown age that ran `since_fit` strokes here.

    tool: what else is known of it; its age and readings do not count.
    """
    new = replace(tool, age=0.0, good_at=None, readings=())
    start = remaining_quantiles(desk, [new], np.array([0.5]))[0, 0]
    end = _end_of_life(desk, new, since_fit + max(float(start), 1.0))
    strokes = np.linspace(since_fit, end, _POINTS)
    lasting = survival(desk.place, strokes, new)
    # The mass beyond each point; the trapezium rule on an even grid.
    pieces = (lasting[1:] + lasting[:-1]) / 2
    beyond = np.concatenate((np.cumsum(pieces[::-1])[::-1], [0.0]))
    if beyond[0] <= 0:
        return np.zeros_like(levels)
    ended = 1 - beyond / beyond[0]
    return np.asarray(np.interp(levels, ended, strokes - since_fit))


def _end_of_life(desk: Desk, tool: ToolRecord, strokes: float) -> float:
    """Strokes beyond which hardly a life reaches."""
    for _ in range(_DOUBLINGS):
        if survival(desk.place, np.array([strokes]), tool)[0] <= _LAST_CHANCE:
            break
        strokes *= 2
    return strokes

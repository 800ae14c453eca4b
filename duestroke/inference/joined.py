"""Stretches of one life put together, so that all its readings tell of one end."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from duestroke.lives import Life

_SAME_AGE: Final = 1e-9
"""Ages that differ by less than this part are one age."""


def joined(lives: Sequence[Life]) -> list[Life]:
    """The lives in an order of their own, with consecutive stretches of one life made one.

    Two stretches follow on each other when they have one serial, kind, position and life number,
    when the later begins at the age at which the earlier ended, and that end was no failure.
    They are put together only where one of them has readings: without, the product of their
    chances is the same, and each keeps the press it worked in. The whole keeps the press of its
    last stretch; speed and roughness are means over its strokes.
    """
    ordered = sorted(lives, key=_order)
    chain: list[Life] = []
    out: list[Life] = []
    for life in ordered:
        if chain and _follows(chain[-1], life):
            chain.append(life)
            continue
        out.extend(_one(chain))
        chain = [life]
    out.extend(_one(chain))
    return sorted(out, key=_order)


def _order(life: Life) -> tuple[object, ...]:
    """Content, so that the order in which lives come in does not show."""
    return (
        *(life.serial, life.kind, life.position, life.life_number),
        *(life.entry_strokes, life.strokes, life.end, life.press or "", life.batch or ""),
        *(_first(life.strokes_low), _first(life.entry_low)),
        *(_first(life.mean_speed_mps), _first(life.mean_roughness)),
        *(len(life.readings), life.id),
    )


def _first(value: float | None) -> float:
    return -1.0 if value is None else value


def _follows(earlier: Life, later: Life) -> bool:
    return (
        (earlier.serial, earlier.kind, earlier.position, earlier.life_number)
        == (later.serial, later.kind, later.position, later.life_number)
        and later.entry_strokes > 0
        and not earlier.is_failure
        and math.isclose(earlier.strokes, later.entry_strokes, rel_tol=_SAME_AGE)
    )


def _one(chain: Sequence[Life]) -> list[Life]:
    if len(chain) < 2 or not any(life.readings for life in chain):
        return list(chain)
    first, last = chain[0], chain[-1]
    readings = {reading: None for life in chain for reading in life.readings}
    low = max((life.strokes_low for life in chain if life.strokes_low is not None), default=None)
    whole = replace(
        last,
        entry_strokes=first.entry_strokes,
        entry_low=first.entry_low,
        strokes_low=low if last.strokes_low is not None else None,
        mean_speed_mps=_mean((life.mean_speed_mps, life) for life in chain),
        mean_roughness=_mean((life.mean_roughness, life) for life in chain),
        batch=next((life.batch for life in chain if life.batch is not None), None),
        readings=tuple(sorted(readings, key=lambda reading: reading.strokes)),
    )
    return [whole]


def _mean(values: Iterable[tuple[float | None, Life]]) -> float | None:
    """Mean over the strokes of those stretches for which it is known."""
    known = [
        (value, life.strokes - life.entry_strokes) for value, life in values if value is not None
    ]
    total = sum(strokes for _, strokes in known)
    if total <= 0:
        return known[0][0] if known else None
    return sum(value * strokes for value, strokes in known) / total

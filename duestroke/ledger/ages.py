"""A tool's three ages in strokes: since fit, since rework, since new."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID


@dataclass(frozen=True, slots=True)
class Run:
    """One stretch of one tool, with the strokes it ran (up to now while it is in).

    chain, base: see `replay.Fit`.  is_running: not pulled yet.
    """

    life: int
    chain: UUID
    base: int | None
    strokes: int
    is_running: bool


@dataclass(frozen=True, slots=True)
class Ages:
    """Strokes, >= 0; None where nobody knows, or where the tool is not fitted (since_fit)."""

    since_fit: int | None
    since_rework: int | None
    since_new: int | None


def ages(runs: Sequence[Run], life: int) -> Ages:
    """Ages from a tool's stretches in order.  life: reworks so far.

    Since new is known only when the first stretch began at zero and no life's age was unknown: a
    tool that came with strokes since its last rework may have had lives before that one.
    """
    lives: dict[int, int | None] = {life: 0}
    chains: dict[UUID, int] = {}
    for run in runs:
        chains[run.chain] = chains.get(run.chain, 0) + run.strokes
        lives[run.life] = None if run.base is None else run.base + chains[run.chain]
    since_fit = runs[-1].strokes if runs and runs[-1].is_running else None
    since_new = _total(list(lives.values())) if _began_new(runs, life) else None
    return Ages(since_fit, lives[life], since_new)


def _began_new(runs: Sequence[Run], life: int) -> bool:
    if not runs:
        return life == 0
    return runs[0].base == 0 and runs[0].life == 0


def _total(lives: Sequence[int | None]) -> int | None:
    known = [strokes for strokes in lives if strokes is not None]
    return sum(known) if len(known) == len(lives) else None

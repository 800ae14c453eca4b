"""The truth as JSON: what really happened, what became of each tool, which records were right."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from duestroke.times import format_time, from_micros
from simulators import records, scripted, stories
from simulators.tooling import MILLION, Life
from simulators.truth import PressTruth


def export(truths: Sequence[PressTruth], at: int) -> dict[str, Any]:
    """Everything that really happened up to a time, as JSON: presses, tools and their lives."""
    told = records.all_records(truths[0].demo, [truth.played for truth in truths])
    return {
        "seed": truths[0].demo.seed,
        "first_day": format_time(truths[0].demo.first_day),
        "until": format_time(from_micros(at)),
        "presses": {
            truth.press.name: _press_record(truth, at)
            | {"records": [records.export(record) for record in told[truth.press.name]]}
            for truth in truths
        },
        "weak_batch": scripted.weak_batch(truths[0].demo),
    }


def _press_record(truth: PressTruth, at: int) -> dict[str, Any]:
    kinds = ("reset", "reboot")
    happened: dict[str, list[Any]] = {kind: [] for kind in kinds}
    for epoch in truth.epochs:
        if epoch.kind in kinds and epoch.at <= at:
            happened[epoch.kind].append(
                {"at": _time(epoch.at), "strokes": int(truth.strokes(epoch.at))}
            )
    return {
        "modulus": truth.press.modulus,
        "strokes": int(truth.strokes(at)),
        "running_share": round(truth.timeline.running_share(truth.demo.begin, at), 6),
        "resets": happened["reset"],
        "reboots": happened["reboot"],
        "clock_steps": [
            {"from": _time(step.start), "to": _time(step.end), "ahead_s": step.ahead // 1_000_000}
            for step in [truth.clock]
            if step is not None
        ],
        "lost_reports": truth.lost_until(at),
        "silences": [{"from": _time(low), "to": _time(high)} for low, high in truth.silences],
        "dry": _dry_record(truth),
        "lives": [_life_record(life) for life in truth.played.lives],
    }


def _dry_record(truth: PressTruth) -> list[dict[str, Any]]:
    if truth.dry is None:
        return []
    start, end = truth.dry
    strokes = stories.DRY_STROKES
    return [{"from": _time(start), "to": _time(end), "strokes": strokes, "why": "size change"}]


def _life_record(life: Life) -> dict[str, Any]:
    return {
        "serial": life.tool.serial,
        "position": life.position.name,
        "life": life.number,
        "fitted_at": _time(life.fitted_at),
        "strokes_before": round(life.age * MILLION),
        "age_known": life.age_known,
        "batch": life.tool.batch,
        "growth_um_per_million": round(life.growth_um, 5),
        "press_strokes_at_fit": life.fitted_strokes,
        "press_strokes_at_pull": life.pulled_strokes,
        "pulled_at": None if life.pulled_at is None else _time(life.pulled_at),
        "end": life.end,
        "worn_at_press_strokes": _millions(life.worn_at),
        "sudden_at_press_strokes": _millions(life.sudden_at),
    }


def _millions(strokes: float) -> int | None:
    return round(strokes * MILLION) if np.isfinite(strokes) else None


def _time(at: int) -> str:
    return format_time(from_micros(at))

"""What the fake API tells of lives: fixed past lives, and what the project's own readouts make of
them, so that the board is tried on answers of the right shape and size.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from statistics import NormalDist
from typing import Any

import numpy as np

from duestroke.errors import BadField
from duestroke.forecast import LifeBasis
from duestroke.forecast.dates import LEVELS
from duestroke.inference.place import PlacePosterior, fit_place
from duestroke.lives import Life, WearReading
from duestroke.readouts import Assumptions, Change, told_model, told_more, what_if
from duestroke.score import Ending, Made, Scored, score_answer
from duestroke.score import score as score_of
from duestroke.times import format_time, to_micros

NOW = datetime(2026, 11, 23, 6, 2, tzinfo=UTC)
LINES = {"1": (11.0, 1.0), "2": (10.3, 0.85), "3": (11.5, 1.0)}
"""Mean peak speed in m/s, and the share of the limit at which a ring is pulled."""
EACH = 18
HANDBOOK = Assumptions(34e6, 0.4)


@lru_cache(maxsize=1)
def lives() -> tuple[Life, ...]:
    """Rings of three lines that pull by three rules; every ninth breaks, one press runs still."""
    rng = np.random.default_rng(11)
    made = [_life(rng, line, number) for line in LINES for number in range(EACH)]
    return tuple(made)


def _life(rng: np.random.Generator, line: str, number: int) -> Life:
    speed, pulled_at = LINES[line]
    speed *= float(np.exp(0.01 * rng.standard_normal()))
    batch = f"RB-{2401 + number % 3}"
    weak = 1.5 if batch == "RB-2403" else 1.0
    end = 34e6 * float(np.exp(0.22 * rng.standard_normal())) * (11 / speed) ** 1.3 / weak
    strokes, reason = _how(rng, line, number, end, pulled_at)
    ages = np.arange(3.5e6, strokes, 3.5e6)
    noisy = ages / end + 0.05 * rng.standard_normal(ages.size)
    press = f"harlow-mere/{line}/{1 + number % 6:02d}"
    ended = NOW - timedelta(days=float(4 + 11 * number + int(line)))
    return Life(
        id=f"past-{line}-{number:02d}",
        source="imported" if number % 4 == 0 else "ledger",
        serial=f"IR25-{int(line)}{number:03d}",
        kind="ironing-ring",
        position="ring-3",
        press=press,
        batch=batch,
        entry_strokes=9e6 if number % 7 == 5 and strokes > 12e6 else 0.0,
        entry_low=None,
        strokes=round(strokes),
        strokes_low=float(ages[-1]) if reason == "worn" and ages.size else None,
        end=reason,  # type: ignore[arg-type]
        ended_at=None if reason == "running" else ended.replace(minute=0, second=0, microsecond=0),
        mean_speed_mps=round(speed, 3),
        life_number=number % 2,
        mean_roughness=1.06 if press.endswith("2/05") else 1.0,
        readings=tuple(
            WearReading(float(age), float(share), 0.06)
            for age, share in zip(ages, noisy, strict=True)
        ),
    )


def _how(
    rng: np.random.Generator, line: str, number: int, end: float, pulled_at: float
) -> tuple[float, str]:
    """Strokes and reason of the end by the rule of the line."""
    if number >= EACH - 2:
        return 0.45 * end, "running"
    if number % 9 == 4:
        return 0.35 * end * float(rng.uniform(0.6, 1.4)), "broken"
    if line == "3" and end > 29e6:
        return 29e6, "planned"
    return (end * pulled_at, "planned") if pulled_at < 1 else (end, "worn")


@lru_cache(maxsize=1)
def place() -> PlacePosterior:
    """The fit of the lives; about a second."""
    return fit_place(
        lives(),
        handbook_life=HANDBOOK.handbook_life,
        handbook_spread=HANDBOOK.handbook_spread,
    )


@lru_cache(maxsize=1)
def _model() -> dict[str, Any]:
    return dict(told_model(place(), lives()))


def answer(path: str, asked: dict[str, str]) -> tuple[int, dict[str, Any]] | None:
    """Lives, model and scores of ring-3 alone. None where the path is none of these."""
    is_here = asked.get("position") == "ring-3"
    if path == "/lives":
        return 200, {
            "items": [told_life(life) for life in lives()] if is_here else [],
            "next": None,
        }
    if path == "/life-models" and "position" not in asked:
        return 200, {"items": [model("")], "next": None}
    if path == "/life-models":
        return (200, model(asked.get("with", ""))) if is_here else (404, {"status": 404})
    if path == "/forecasts/score":
        return 200, score(asked.get("source", "live") if is_here else "none")
    return None


def model(more: str) -> dict[str, Any]:
    """`GET /life-models` of ring-3, with what was asked for."""
    told = _model()
    base = {name: value for name, value in told.items() if name != "curves"}
    made = base | {
        "kind": "ironing-ring",
        "position": "ring-3",
        "fit": "ring-3/4f2a",
        "made_at": format_time(NOW - timedelta(minutes=22)),
        "lives": len(lives()),
        "failures": place().failures,
        "prior_only": False,
        "next": None,
    }
    for name in filter(None, more.split(",")):
        made[name] = told["curves"] if name == "curves" else worked_out(name)
    return made


@lru_cache
def worked_out(name: str) -> Any:
    """A read-out that is worked out when asked for."""
    return told_more(place(), lives(), {"harlow-mere/2/05": [NOW - timedelta(days=40)]}, name)


def told_life(life: Life) -> dict[str, Any]:
    """One life as `GET /lives` gives it."""
    names = ("id", "source", "serial", "kind", "position", "press", "batch", "entry_strokes")
    more = ("strokes", "strokes_low", "end", "mean_speed_mps", "life_number", "mean_roughness")
    told = {name: getattr(life, name) for name in (*names, *more)}
    told["ended_at"] = None if life.ended_at is None else format_time(life.ended_at)
    readings = [{"strokes": r.strokes, "share": r.share, "sd": r.sd} for r in life.readings]
    return told | {"entry_strokes_low": life.entry_low, "readings": readings}


@lru_cache
def score(source: str) -> dict[str, Any]:
    """`GET /forecasts/score`: past ends held against quantiles that were half right."""
    rows = _scored() if source == "live" else []
    return {**score_answer(rows), "source": source, "scored_at": format_time(NOW)}


def _scored() -> list[Scored]:
    rng = np.random.default_rng(5)
    rows = []
    for number in range(90):
        middle = float(rng.uniform(2e6, 2e7))
        remaining = [middle * float(np.exp(0.3 * NormalDist().inv_cdf(q))) for q in LEVELS]
        left = middle * float(np.exp(0.33 * rng.standard_normal()))
        due = [to_micros(NOW + timedelta(days=each / 5e5)) for each in remaining]
        made = Made(remaining, due, 20e6, 34e6, None)
        at = NOW + timedelta(days=left / 5e5)
        end = Ending("exact", left, left, at, at)
        row = score_of([made], [end], [None])[0]
        rows.append(Scored("ironing-ring", "ring-3", f"life-{number // 3}", NOW, row))
    return rows


def what_if_of(body: dict[str, Any]) -> tuple[int, dict[str, Any]]:
    """`POST /life-models/what-if`, with the fit's own lives and no tools in presses."""
    place_ = {name: body.pop(name) for name in ("kind", "position")}
    given = body.pop("prior", None)
    try:
        prior = replace(HANDBOOK.prior, **given) if given else None
        gone = frozenset(body.pop("leave_out", ()))
        change = Change(**body, prior=prior, leave_out=gone)
        basis = LifeBasis(**place_, law=None, fit="what-if", prior_only=False)
        told = what_if(lives(), HANDBOOK, basis, change, [], NOW)
    except BadField as fault:
        errors = [{"field": fault.field, "reason": fault.allowed}]
        return 422, {"status": 422, "detail": str(fault), "errors": errors}
    return 200, place_ | dict(told)

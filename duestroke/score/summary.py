"""How forecasts came out in all: coverage, scores, reliability, in numbers and in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final, get_args

import numpy as np
from numpy.typing import NDArray

from duestroke.score.ends import Outcome
from duestroke.score.limit import ProductLimit, Share, bounds_by_group, ended_weights
from duestroke.score.scored import RANGES, Score
from duestroke.score.uniform import CELLS, Uniformity, drawn, uniformity

Array = NDArray[np.float64]

FEW_LIVES: Final = 30
"""With fewer lives that came to an end, the words say that little can be said."""
LEAST_FOR_TEST: Final = 20
SEED: Final = 20_260
"""Of the draws that stand for outcomes known to a range: the same scores give the same test."""


@dataclass(frozen=True, slots=True)
class Scored:
    """A score with what it is of. life: names the tool's life.  as_of: time of the forecast."""

    kind: str
    position: str
    life: str
    as_of: datetime
    score: Score


@dataclass(frozen=True)
class RangeScore:
    """How a range did. inside, below, above: shares of outcomes; NaN where outcomes don't reach.

    width: mean strokes between its ends; None for due times, and without forecasts.
    """

    nominal: float
    inside: Share
    below: Share
    above: Share
    width: float | None


@dataclass(frozen=True)
class Cell:
    """Forecasts whose chance of the end before the next stop lay in a tenth of the scale.

    said: mean chance.  came: share of ends before it, with 95 % bounds that take the forecasts of
    one life together.  None without any.
    """

    start: float
    end: float
    n: int
    said: float | None
    came: float | None
    bounds: tuple[float, float] | None


@dataclass(frozen=True)
class Reliability:
    """Chances of the end before the next stop. unknown: left out, the record does not tell.

    brier: mean squared distance, None without any.  base_rate: share that came.
    """

    n: int
    unknown: int
    brier: float | None
    base_rate: float | None
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Summary:
    """How forecasts came out.

    n, lives: forecasts and the lives they are of.  outcomes: forecasts by outcome.  ranges, dates:
    by nominal coverage, in strokes and as due times.  crps, crps_rule: means over the ended lives'
    forecasts that the handbook's rule could make too, weighted for those cut off; skill: the share
    of the rule's score that ours saves.
    histogram: shares of transforms in ten cells.  test: of one transform a life, its first.
    """

    n: int
    lives: int
    outcomes: dict[Outcome, int]
    ranges: tuple[RangeScore, ...]
    dates: tuple[RangeScore, ...]
    crps: float | None
    crps_rule: float | None
    skill: float | None
    reliability: Reliability
    histogram: tuple[Share, ...]
    test: Uniformity | None
    words: tuple[str, ...] = field(default=())


def summarise(rows: Sequence[Scored]) -> Summary:
    """Sum up scores, in any order; the same rows give the same answer."""
    ordered = sorted(rows, key=lambda row: (row.as_of, row.position, row.life))
    scores = [row.score for row in ordered]
    lives = _numbers([row.life for row in ordered])
    outcomes = Counter(each.outcome for each in scores)
    strokes = _limit(scores, lives)
    crps, rule = _means(ordered)
    return Summary(
        n=len(scores),
        lives=int(lives.max(initial=-1)) + 1,
        outcomes={name: outcomes[name] for name in get_args(Outcome)},
        ranges=_ranges(strokes, scores),
        dates=_date_ranges(scores, lives),
        crps=crps,
        crps_rule=rule,
        skill=1 - crps / rule if crps is not None and rule else None,
        reliability=reliability(scores, lives),
        histogram=tuple(strokes.between(k / CELLS, (k + 1) / CELLS) for k in range(CELLS)),
        test=_test(scores, lives),
        words=_words(scores, lives, strokes),
    )


def _numbers(names: Sequence[str]) -> NDArray[np.intp]:
    """A number for each life, in order of first sight."""
    seen: dict[str, int] = {}
    return np.array([seen.setdefault(name, len(seen)) for name in names], dtype=np.intp)


def _is_open(score: Score) -> bool:
    return score.left_high is None


def _limit(scores: Sequence[Score], lives: NDArray[np.intp]) -> ProductLimit:
    return ProductLimit(
        [each.pit_low for each in scores],
        [each.pit_high for each in scores],
        [_is_open(each) for each in scores],
        lives,
    )


def _ranges(limit: ProductLimit, scores: Sequence[Score]) -> tuple[RangeScore, ...]:
    widths = [[each.width_80 for each in scores], [each.width_90 for each in scores]]
    return tuple(
        _range(limit, nominal, float(np.mean(width)) if width else None)
        for nominal, width in zip(RANGES, widths, strict=True)
    )


def _date_ranges(scores: Sequence[Score], lives: NDArray[np.intp]) -> tuple[RangeScore, ...]:
    dated = [
        (each.date_low, each.date_high, each.date_is_open, life)
        for each, life in zip(scores, lives, strict=True)
        if each.date_low is not None
    ]
    low, high, is_open, of = zip(*dated, strict=True) if dated else ((), (), (), ())
    limit = ProductLimit(low, high, is_open, of)
    return tuple(_range(limit, nominal, None) for nominal in RANGES)


def _range(limit: ProductLimit, nominal: float, width: float | None) -> RangeScore:
    low, high = RANGES[nominal]
    return RangeScore(
        nominal,
        inside=limit.between(low, high),
        below=limit.between(0.0, low),
        above=limit.between(high, 1.0),
        width=width,
    )


def _means(rows: Sequence[Scored]) -> tuple[float | None, float | None]:
    """Mean scores of what ended, weighted for what was cut off: ours and the rule's.

    What cuts lives off differs from place to place, so the weights come from each by itself.
    """
    places: dict[tuple[str, str], list[Score]] = {}
    for row in rows:
        places.setdefault((row.kind, row.position), []).append(row.score)
    table = np.concatenate([_weighted(own) for own in places.values()] or [np.zeros((0, 3))])
    ours, rule, weight = table[table[:, 2] > 0].T
    both = ~np.isnan(rule)
    if not both.any():
        return (float(np.average(ours, weights=weight)) if ours.size else None), None
    return (
        float(np.average(ours[both], weights=weight[both])),
        float(np.average(rule[both], weights=weight[both])),
    )


def _weighted(scores: Sequence[Score]) -> Array:
    """Our score, the rule's (NaN: none) and the weight, (n, 3)."""
    weight = ended_weights(
        [each.pit_low for each in scores],
        [each.pit_high for each in scores],
        [_is_open(each) for each in scores],
    )
    rule = [np.nan if each.crps_rule is None else each.crps_rule for each in scores]
    return np.column_stack(([each.crps for each in scores], rule, weight))


def reliability(scores: Sequence[Score], lives: NDArray[np.intp]) -> Reliability:
    """Chances before the next stop against what came, in ten cells. lives: number of each, (n,)."""
    asked = [
        (each, life) for each, life in zip(scores, lives, strict=True) if each.chance is not None
    ]
    known = [(each.chance, each.came, life) for each, life in asked if each.came is not None]
    table = np.array(known, dtype=np.float64).reshape(-1, 3)
    said, came, of = table[:, 0], table[:, 1], table[:, 2]
    cell = np.minimum((said * CELLS).astype(int), CELLS - 1)
    return Reliability(
        n=len(known),
        unknown=len(asked) - len(known),
        brier=float(np.mean((said - came) ** 2)) if known else None,
        base_rate=float(np.mean(came)) if known else None,
        cells=tuple(
            _cell(k, said[cell == k], came[cell == k], of[cell == k]) for k in range(CELLS)
        ),
    )


def _cell(number: int, said: Array, came: Array, life: Array) -> Cell:
    start, end = number / CELLS, (number + 1) / CELLS
    if not said.size:
        return Cell(start, end, 0, None, None, None)
    share = float(came.mean())
    of = np.unique(life, return_inverse=True)[1]
    errors = np.asarray(np.bincount(of, (came - share) / came.size), dtype=np.float64)
    return Cell(
        start,
        end,
        int(said.size),
        float(said.mean()),
        share,
        bounds_by_group(share, errors, came.size),
    )


def _test(scores: Sequence[Score], lives: NDArray[np.intp]) -> Uniformity | None:
    """Of the first transform of each life: those of one life hang together."""
    first = np.unique(lives, return_index=True)[1]
    chosen = [scores[k] for k in first]
    known = sum(not _is_open(each) for each in chosen)
    if known < LEAST_FOR_TEST:
        return None
    rng = np.random.default_rng(SEED)
    low = [each.pit_low for each in chosen]
    return uniformity(drawn(low, [each.pit_high for each in chosen], rng))


def _words(
    scores: Sequence[Score], lives: NDArray[np.intp], limit: ProductLimit
) -> tuple[str, ...]:
    if not scores:
        return ("no forecast has been scored yet",)
    ended = len({life for each, life in zip(scores, lives, strict=True) if not _is_open(each)})
    words: list[str] = []
    if ended < FEW_LIVES:
        words.append(
            f"only {ended} lives have ended so far: the bounds are wide, and nothing can be said "
            "of single cells"
        )
    pulled = sum(each.outcome == "censored" for each in scores)
    if pulled > len(scores) / 4:
        words.append(
            f"{pulled} of {len(scores)} forecasts are of tools pulled before their end: they count "
            "as not ended until the pull. Where crews pull a tool because it is near its limit, "
            "the pull knows more than the forecast, and outcomes look later than they are"
        )
    if limit.reach < RANGES[0.9][1]:
        words.append(
            f"no outcome tells of the upper part of the forecasts (beyond {limit.reach:.2f} of "
            "their chance): tools were pulled or still run before it"
        )
    return tuple(words)

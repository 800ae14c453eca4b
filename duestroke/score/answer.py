"""A summary of scores as `GET /forecasts/score` gives it: plain JSON content."""

from __future__ import annotations

import math
from collections.abc import Sequence

from duestroke.score.limit import Share
from duestroke.score.summary import RangeScore, Scored, Summary, summarise
from duestroke.score.uniform import critical_distances

Content = dict[str, object]


def score_answer(rows: Sequence[Scored]) -> Content:
    """All scores together, then `places`: the same in short for each kind and position."""
    places: dict[tuple[str, str], list[Scored]] = {}
    for row in rows:
        places.setdefault((row.kind, row.position), []).append(row)
    return {
        **summary_answer(summarise(rows)),
        "places": [
            {"kind": kind, "position": position, **_short(summarise(own))}
            for (kind, position), own in sorted(places.items())
        ],
    }


def summary_answer(summary: Summary) -> Content:
    """One summary; what the outcomes do not tell is null. Widths and scores are strokes."""
    return {
        **_short(summary),
        "due_coverage": {_key(each): _range(each) for each in summary.dates},
        "chance_before": _reliability(summary),
        "pit": _pit(summary),
        "words": list(summary.words),
    }


def _short(summary: Summary) -> Content:
    return {
        "n": summary.n,
        "lives": summary.lives,
        "outcomes": dict(summary.outcomes),
        "coverage": {
            _key(each): _range(each) | {"mean_width": each.width} for each in summary.ranges
        },
        "crps": summary.crps,
        "crps_handbook_rule": summary.crps_rule,
        "skill": summary.skill,
        "brier": summary.reliability.brier,
    }


def _key(each: RangeScore) -> str:
    return f"{each.nominal:g}"


def _range(each: RangeScore) -> Content:
    inside = each.inside
    return {
        "share": _known(inside.share),
        "low": inside.by_life[0],
        "high": inside.by_life[1],
        "binomial_low": inside.binomial[0],
        "binomial_high": inside.binomial[1],
        "below": _known(each.below.share),
        "above": _known(each.above.share),
    }


def _reliability(summary: Summary) -> Content:
    told = summary.reliability
    return {
        "n": told.n,
        "unknown": told.unknown,
        "brier": told.brier,
        "base_rate": told.base_rate,
        "cells": [
            {
                "from": cell.start,
                "to": cell.end,
                "n": cell.n,
                "said": cell.said,
                "came": cell.came,
                "low": None if cell.bounds is None else cell.bounds[0],
                "high": None if cell.bounds is None else cell.bounds[1],
            }
            for cell in told.cells
        ],
    }


def _pit(summary: Summary) -> Content:
    test = summary.test
    told: Content | None = None
    if test is not None:
        critical = [critical_distances(test.n, level, test.cells) for level in (0.95, 0.999)]
        told = {
            "n": test.n,
            "chi_square": test.chi_square,
            "chi_square_chance": test.chi_square_chance,
            "chi_square_95": critical[0][0],
            "chi_square_999": critical[1][0],
            "ks": test.distance,
            "ks_chance": test.distance_chance,
            "ks_95": critical[0][1],
            "ks_999": critical[1][1],
        }
    return {"cells": [_cell(each) for each in summary.histogram], "uniformity": told}


def _cell(share: Share) -> Content:
    return {"share": _known(share.share), "low": share.by_life[0], "high": share.by_life[1]}


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value

"""Read-outs that take longer and are worked out when asked for, from the lives of a fit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Final

import numpy as np

from duestroke.errors import BadField
from duestroke.inference import observe
from duestroke.inference.families import Lognormal, Weibull
from duestroke.inference.goodness import Goodness, goodness_of_fit
from duestroke.inference.joined import joined
from duestroke.inference.modes import sudden, wear
from duestroke.inference.observations import Observations
from duestroke.inference.place import PlacePosterior
from duestroke.inference.pulls import LifeLeft, life_left_when_pulled
from duestroke.inference.surprises import (
    JAM_NEARBY,
    Shared,
    Surprise,
    attributes,
    in_words,
    last_surprises,
)
from duestroke.lives import Life
from duestroke.readouts.content import Content, generator, or_none, plain
from duestroke.readouts.likeliest import FAMILIES, likeliest, told_ratio_bounds, told_regression
from duestroke.readouts.lines import by_line, pulls_near_limit
from duestroke.readouts.words import MANY_CLOSE
from duestroke.times import format_time

Jams = Mapping[str, Sequence[datetime]]
MOST_PULLS: Final = 20
_POORLY: Final = 0.05


def told_more(place: PlacePosterior, lives: Sequence[Life], jams: Jams, asked: str) -> object:
    """One of MORE. jams: by press, times at which tools were pulled as damaged by others."""
    return MORE[asked](place, lives, jams)


def _goodness(place: PlacePosterior, lives: Sequence[Life], jams: Jams) -> object:
    """Each family over all ends, and of each mode with the other censored."""
    seen = {"all": observe(lives)}
    if place.worn and place.sudden:
        seen |= {"wear": wear(lives).seen, "sudden": sudden(lives).seen}
    told = {
        mode: {family.name: _closeness(place, rows, family) for family in FAMILIES}
        for mode, rows in seen.items()
    }
    return {"by_mode": told, "words": [*_in_words(told), *_not_by_chance(lives)]}


def _not_by_chance(lives: Sequence[Life]) -> list[str]:
    pulls = pulls_near_limit(lives)
    if pulls["close_to_limit"] <= MANY_CLOSE * pulls["pulls"]:
        return []
    return [
        f"{pulls['close_to_limit']} of {pulls['pulls']} planned pulls followed a reading close to "
        "the limit: the step curve takes them for chance and lies too high, and a law of wear "
        "that is right may look wrong here"
    ]


def _closeness(
    place: PlacePosterior, seen: Observations, family: Weibull | Lognormal
) -> Content | None:
    try:
        found: Goodness = goodness_of_fit(seen, family, generator(place))
    except BadField:
        # No failures, or all at one age: there is nothing to compare with.
        return None
    return {
        "anderson_darling": plain(found.distance),
        "chance": plain(found.chance),
        "samples": found.replicates,
    }


def _in_words(told: Mapping[str, Mapping[str, Content | None]]) -> list[str]:
    words = []
    for mode, families in told.items():
        for family, found in families.items():
            if found is None or not isinstance(found["chance"], float):
                continue
            verdict = "fits poorly" if found["chance"] < _POORLY else "is not ruled out"
            words.append(
                f"{mode} ends, {family}: {verdict}; {100 * found['chance']:.2g} of 100 samples "
                f"from that law lie as far from it ({found['samples']} drawn)"
            )
    return words


def _surprises(place: PlacePosterior, lives: Sequence[Life], jams: Jams) -> object:
    found = last_surprises(place, joined(lives), jams)
    return {
        "looked_at": found.looked_at,
        "outside": found.found,
        "expected": plain(found.expected),
        "last": [_surprise(each, jams) for each in found.last],
        "in_common": [_shared(row) for row in found.shared],
        "words": in_words(found),
    }


def _surprise(each: Surprise, jams: Jams) -> Content:
    life = each.life
    told = attributes(life, jams)
    jam = told.get("jam nearby")
    return {
        "life": life.id,
        "serial": life.serial,
        "press": life.press,
        "line": told.get("line"),
        "batch": life.batch,
        "jam_nearby": None if jam is None else jam == JAM_NEARBY,
        "side": each.side,
        "chance": plain(each.chance),
        "strokes": plain(life.strokes),
        "end": life.end,
        "ended_at": None if life.ended_at is None else format_time(life.ended_at),
        "life_number": life.life_number,
        "roughness": or_none(life.mean_roughness),
    }


def _shared(row: Shared) -> Content:
    return {
        "side": row.side,
        "attribute": row.attribute,
        "value": row.value,
        "among": row.among,
        "of": row.surprises,
        "in_all": row.in_all,
        "of_all": row.of_all,
        "chance": plain(row.chance),
    }


def _pulls(place: PlacePosterior, lives: Sequence[Life], jams: Jams) -> object:
    """Life left in tools pulled as planned: in all, by line, and those with most left."""
    whole = joined(lives)
    found = life_left_when_pulled(place, whole)
    lines = by_line(whole)
    by_name = {
        name: [each for each in found if each.life.press and each.life.press.startswith(f"{name}/")]
        for name in lines
    }
    most = sorted(found, key=lambda each: (-each.share[1], each.life.id))[:MOST_PULLS]
    return {
        "all": _left(found, whole),
        "by_line": [{"line": name, **_left(mine, lines[name])} for name, mine in by_name.items()],
        "most_left": [_one_left(each) for each in most],
        "words": [
            *_left_in_words("all lines", found, whole),
            *(w for name, mine in by_name.items() for w in _left_in_words(name, mine, lines[name])),
        ],
    }


def _left(found: Sequence[LifeLeft], lives: Sequence[Life]) -> Content:
    ended = [life for life in lives if life.end != "running"]
    share = [each.share[1] for each in found]
    quarter, median, upper = np.percentile(share, (25, 50, 75)) if share else (np.nan,) * 3
    return {
        "planned_pulls": len(found),
        "median_share_left": plain(float(median)),
        "lower_quarter": plain(float(quarter)),
        "upper_quarter": plain(float(upper)),
        "strokes_left": plain(float(sum(each.strokes[1] for each in found))),
        "ended_in_use": sum(life.is_failure for life in ended),
        "read_past_limit": _past_limit(ended),
        "ended": len(ended),
    }


def _past_limit(ended: Sequence[Life]) -> int:
    """Lives whose last reading had used up all of the limit: pulled too late."""
    return sum(1 for life in ended if life.readings and life.readings[-1].share >= 1)


def _one_left(each: LifeLeft) -> Content:
    life = each.life
    low, median, high = each.share
    return {
        "life": life.id,
        "serial": life.serial,
        "press": life.press,
        "strokes": plain(life.strokes),
        "ended_at": None if life.ended_at is None else format_time(life.ended_at),
        "share_left": {"0.1": plain(low), "0.5": plain(median), "0.9": plain(high)},
        "last_reading": plain(life.readings[-1].share) if life.readings else None,
    }


def _left_in_words(name: str, found: Sequence[LifeLeft], lives: Sequence[Life]) -> list[str]:
    ended = [life for life in lives if life.end != "running"]
    if not ended:
        return []
    failed = sum(life.is_failure for life in ended)
    words = f"{name}: {failed} of {len(ended)} tools ended in use, {_past_limit(ended)} read past "
    words += "their limit"
    if not found:
        return [f"{words}; none was pulled as planned"]
    median = float(np.median([each.share[1] for each in found]))
    return [
        f"{words}; half of {len(found)} planned pulls had {100 * median:.0f} % or more of their "
        "life left"
    ]


def _bounds(place: PlacePosterior, lives: Sequence[Life], jams: Jams) -> object:
    return told_ratio_bounds(likeliest(observe(lives)))


def _regression(place: PlacePosterior, lives: Sequence[Life], jams: Jams) -> object:
    return told_regression(lives)


MORE: Final[Mapping[str, Callable[[PlacePosterior, Sequence[Life], Jams], object]]] = {
    "goodness_of_fit": _goodness,
    "likelihood_ratio_bounds": _bounds,
    "regression": _regression,
    "surprises": _surprises,
    "pulls": _pulls,
}
"""Read-outs by the name under which they are asked and answered."""

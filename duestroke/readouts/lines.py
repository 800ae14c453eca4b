"""Each line at its own speed: the place's model beside what end codes alone would give."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from duestroke.inference import observe
from duestroke.inference.bounds import wald_bounds
from duestroke.inference.families import WEIBULL
from duestroke.inference.place import PlacePosterior
from duestroke.lives import Life
from duestroke.readouts.content import Content, interval, middle_of, or_none, plain
from duestroke.readouts.likeliest import LEVEL, likeliest_law

CLOSE: Final = 0.85
"""A planned pull whose last reading was above this share of its limit sits close under it."""


def by_line(lives: Sequence[Life]) -> dict[str, list[Life]]:
    """Lives by the line of their press; those of no known press are left out."""
    lines: dict[str, list[Life]] = {}
    for life in lives:
        if life.press is not None:
            lines.setdefault(life.press.rsplit("/", 1)[0], []).append(life)
    return dict(sorted(lines.items()))


def told_lines(place: PlacePosterior, lives: Sequence[Life]) -> list[Content]:
    """Of each line: lives, failures, speed, and median life and B10 at that speed."""
    return [_line(place, name, mine) for name, mine in by_line(lives).items()]


def _line(place: PlacePosterior, name: str, lives: Sequence[Life]) -> Content:
    speed = mean_speed(lives)
    draws = middle_of(place, speed)
    return {
        "line": name,
        "mean_speed_mps": None if speed is None else plain(speed),
        "lives": len(lives),
        "failures": sum(life.is_failure for life in lives),
        "median_life": interval(draws.quantile(0.5)),
        "b10": interval(draws.quantile(0.1)),
        "end_codes_alone": end_codes_alone(lives),
        "planned_pulls": pulls_near_limit(lives),
    }


def mean_speed(lives: Sequence[Life]) -> float | None:
    """Mean peak speed over the strokes of all lives that know it, m/s."""
    known = [
        (life.mean_speed_mps, life.strokes - life.entry_strokes)
        for life in lives
        if life.mean_speed_mps is not None and life.strokes > life.entry_strokes
    ]
    total = sum(strokes for _, strokes in known)
    return sum(speed * strokes for speed, strokes in known) / total if total else None


def end_codes_alone(lives: Sequence[Life]) -> Content | None:
    """Median life that one Weibull law on the end codes alone makes most likely, 90 % bounds.

    None where the codes hold no failures at different ages.
    """
    found = likeliest_law(observe(lives), WEIBULL)
    if found is None:
        return None
    bounds = wald_bounds(found, "b50", LEVEL)
    return {
        "median": plain(bounds.estimate),
        "low": or_none(bounds.low),
        "high": or_none(bounds.high),
    }


def pulls_near_limit(lives: Sequence[Life]) -> Mapping[str, int]:
    """Planned pulls, those with a reading, and those whose last reading was close to the limit."""
    planned = [life for life in lives if life.end == "planned"]
    read = [life.readings[-1].share for life in planned if life.readings]
    return {
        "pulls": len(planned),
        "with_reading": len(read),
        "close_to_limit": sum(1 for share in read if share > CLOSE),
    }

"""Batches and presses against the rest, effects of rate, roughness and reworks, and the modes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, Literal

from duestroke.inference.compared import Compared
from duestroke.inference.place import PlacePosterior
from duestroke.inference.posterior import Interval
from duestroke.readouts.content import Content, or_none, plain

KINDS: Final[tuple[Literal["batch", "press"], ...]] = ("batch", "press")
_TAILS: Final = 0.1


def told_interval(value: Interval) -> Content:
    """A posterior median with its 5 and 95 % points."""
    return {"median": plain(value.median), "low": plain(value.low), "high": plain(value.high)}


def told_effects(place: PlacePosterior) -> Mapping[str, Content]:
    """Each effect with its interval and the prior's; no figure where the records tell none."""
    return {
        name: {
            "known": effect.known,
            "interval": told_interval(effect.interval) if effect.known else None,
            "prior": told_interval(effect.prior),
            "words": effect.words,
        }
        for name, effect in place.effects().items()
    }


def told_modes_of(place: PlacePosterior) -> Content:
    """How likely wear and sudden failure are two laws, and what part of the ends is sudden."""
    modes = place.modes
    return {
        "chance_of_two_laws": plain(modes.two_modes),
        "worn": modes.worn,
        "sudden": modes.sudden,
        "sudden_share": or_none(modes.sudden_share),
    }


def told_groups(place: PlacePosterior) -> Content:
    """Each batch and each press against the others, and what to make of it."""
    return {kind: _kind(kind, place.groups(kind)) for kind in KINDS}


def _kind(kind: str, groups: Sequence[Compared]) -> Content:
    return {
        "groups": [_group(each) for each in groups],
        "words": _in_words(kind, groups),
    }


def _group(each: Compared) -> Content:
    return {
        "label": each.label,
        "lives": each.lives,
        "failures": each.failures,
        "ratio": told_interval(each.ratio),
        "differs": each.differs,
        "needed": {f"{ratio:g}": count for ratio, count in each.needed.items()},
    }


def _in_words(kind: str, groups: Sequence[Compared]) -> list[str]:
    if not groups:
        return []
    apart = [each for each in groups if each.differs]
    words = [_apart(kind, each) for each in apart]
    if not apart:
        words.append(f"no {kind} of {len(groups)} can be told from the others")
    words.append(
        f"{len(groups)} comparisons at 90 %: up to {_TAILS * len(groups):.1f} would stand apart "
        "by chance alone"
    )
    return words


def _apart(kind: str, each: Compared) -> str:
    ratio = each.ratio
    return (
        f"{kind} {each.label}: median life {ratio.median:.2f} times that of the others "
        f"({ratio.low:.2f} to {ratio.high:.2f}), from {each.lives} lives with {each.failures} "
        "failures"
    )

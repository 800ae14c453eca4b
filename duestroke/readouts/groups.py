"""Batches and presses against the rest, and effects of rate, ram ratio and reworks, as content."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from duestroke.inference.place import PlacePosterior
from duestroke.inference.posterior import Interval
from duestroke.lives import Life
from duestroke.readouts.content import Content, plain


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


def told_groups(place: PlacePosterior, lives: Sequence[Life]) -> Mapping[str, Content]:
    """Not yet."""
    return {}

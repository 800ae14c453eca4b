"""Cautions about a place's figures, in plain words with the numbers that make them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from duestroke.inference.bounds import error_of_log_life
from duestroke.inference.place import PlacePosterior
from duestroke.inference.posterior import Interval
from duestroke.lives import Life
from duestroke.readouts.content import strokes
from duestroke.readouts.lines import CLOSE

LEAST_PULLS: Final = 3
MANY_CLOSE: Final = 1 / 3
FEW_FAILURES: Final = 8
MANY_LATE: Final = 0.25
_LIKELY: Final = 0.9

Line = dict[str, object]


def cautions(
    place: PlacePosterior, lives: Sequence[Life], lines: Sequence[Line], told: dict[str, Interval]
) -> list[str]:
    """What a reader must know before trusting the place's figures."""
    if place.failures == 0:
        return [_no_failures(lives), *_close_pulls(place, lines)]
    return [
        *_few_failures(place, told),
        *_close_pulls(place, lines),
        *_modes(place),
        *_late_seen(lives),
        *_handbook(place, told),
    ]


def _no_failures(lives: Sequence[Life]) -> str:
    read = sum(bool(life.readings) for life in lives)
    if read:
        return f"no failures yet: from the handbook and the wear readings of {read} lives"
    return "from the handbook, no failures yet"


def _few_failures(place: PlacePosterior, told: dict[str, Interval]) -> list[str]:
    if place.failures >= FEW_FAILURES:
        return []
    error = error_of_log_life(told["spread"].median, place.failures)
    count = f"{place.failures} failure{'s' if place.failures > 1 else ''}"
    return [
        f"{count} only: even with the spread of lives known, the median life would be uncertain "
        f"by {100 * error:.0f} %, one standard error"
    ]


def _close_pulls(place: PlacePosterior, lines: Sequence[Line]) -> list[str]:
    return [words for line in lines for words in _close_on(place, line)]


def _close_on(place: PlacePosterior, line: Line) -> list[str]:
    pulls, alone, model = line["planned_pulls"], line["end_codes_alone"], line["median_life"]
    assert isinstance(pulls, dict)  # noqa: S101 - as made in lines
    assert isinstance(model, dict)  # noqa: S101 - as made in lines
    close, read, count = pulls["close_to_limit"], pulls["with_reading"], pulls["pulls"]
    if count < LEAST_PULLS or close <= MANY_CLOSE * count:
        return []
    words = (
        f"{line['line']}: {close} of {count} planned pulls ({read} with a reading) had a last "
        f"reading above {100 * CLOSE:.0f} % of the limit"
    )
    if not isinstance(alone, dict):
        return [f"{words}: end codes alone hold too few failures to give a median"]
    return [
        f"{words}: end codes alone would give a median of {strokes(alone['median'])}, readings "
        f"and modes give {strokes(model['median'])}"
    ]


def _modes(place: PlacePosterior) -> list[str]:
    worn, sudden = place.worn, place.sudden
    if not worn or not sudden:
        return []
    words = f"{sudden} of {worn + sudden} failures were sudden and {worn} wear"
    if place.two_modes > _LIKELY:
        return [f"{words}: they follow two laws, and one curve over both is wrong at both ends"]
    return [f"{words}: two laws with chance {100 * place.two_modes:.0f} %, else one for all ends"]


def _late_seen(lives: Sequence[Life]) -> list[str]:
    late = sum(life.entry_strokes > 0 for life in lives)
    if late < MANY_LATE * len(lives):
        return []
    return [
        f"{late} of {len(lives)} lives were first seen at an age; they count from that age on, "
        "else lives would come out too long"
    ]


def _handbook(place: PlacePosterior, told: dict[str, Interval]) -> list[str]:
    b50 = told["b50"]
    if b50.low <= place.handbook_life <= b50.high:
        return []
    return [
        f"the handbook life of {strokes(place.handbook_life)} lies outside what the lives say of "
        f"the median, {strokes(b50.low)} to {strokes(b50.high)}"
    ]

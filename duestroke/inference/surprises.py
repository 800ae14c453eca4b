"""Lives that ended outside their 80 % range, and what the last of them had in common.

The range is that of the place's law as it would be without the life itself, so that a life cannot
vouch for its own end.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import hypergeom

from duestroke.inference.left_out import chance_by_end
from duestroke.inference.place import PlacePosterior
from duestroke.lives import Life

Side = Literal["early", "late"]

LAST: Final = 20
MOST_LOOKED_AT: Final = 400
"""Of the lives that ended, the last so many are looked at."""
TAIL: Final = 0.1
ROUGH: Final = 1.03
"""Mean ram ratio over the press's own baseline from which a life ran rough."""
JAM_WITHIN: Final = timedelta(days=1)
JAM_NEARBY: Final = "within a day"
_TOLD: Final = 0.05


@dataclass(frozen=True, slots=True)
class Surprise:
    """A life whose end fell outside its 80 % range.

    chance: that such a life ends by then, from 0 to 1; the middle, where the end is an interval.
    """

    life: Life
    side: Side
    chance: float


@dataclass(frozen=True, slots=True)
class Shared:
    """What surprises have in common: `among` of `surprises`, against `in_all` of `of_all` lives.

    chance: that so many or more of them would share it by chance (hypergeometric).
    """

    side: Side
    attribute: str
    value: str
    among: int
    surprises: int
    in_all: int
    of_all: int
    chance: float


@dataclass(frozen=True, slots=True)
class Surprises:
    """The last surprises, the newest first, and what each side of them shares, likeliest last.

    looked_at: lives whose end was held against its range.  found: surprises among them.
    expected: how many there would be if the ranges are right, after the pulls that kept a life
    from becoming one.  compared: how many attributes were looked at, for the caution about many
    comparisons.
    """

    last: tuple[Surprise, ...]
    shared: tuple[Shared, ...]
    looked_at: int
    found: int
    expected: float
    compared: int


def last_surprises(
    place: PlacePosterior,
    lives: Sequence[Life],
    jams: Mapping[str, Sequence[datetime]],
    count: int = LAST,
) -> Surprises:
    """The last `count` surprises among ended lives, and what is over-represented among them.

    jams: by press, times at which other tools were pulled as damaged by something else.
    A life that was pulled sound is a surprise only when it outlived its range.
    """
    ended = sorted((life for life in lives if life.end != "running"), key=_newest_first)
    ended = ended[:MOST_LOOKED_AT]
    chances = chance_by_end(place, ended)
    found = [
        surprise
        for life, (low, high) in zip(ended, chances, strict=True)
        if (surprise := _judged(life, low, high)) is not None
    ]
    last = found[:count]
    shared = [
        row
        for side in ("early", "late")
        for row in _shared(side, last, ended, lambda life: attributes(life, jams))
    ]
    shared.sort(key=lambda row: row.chance)
    expected = _expected(ended, np.array([high for _, high in chances]))
    return Surprises(tuple(last), tuple(shared), len(ended), len(found), expected, len(shared))


def attributes(life: Life, jams: Mapping[str, Sequence[datetime]]) -> dict[str, str]:
    """What may explain a life's end, in words; only what is known of it."""
    told = {"reason": life.end, "life number": _number(life.life_number)}
    if life.press is not None:
        told |= {"press": life.press, "line": life.press.rsplit("/", 1)[0]}
        if life.ended_at is not None:
            near = any(abs(at - life.ended_at) <= JAM_WITHIN for at in jams.get(life.press, ()))
            told["jam nearby"] = JAM_NEARBY if near else "none"
    if life.batch:
        told["batch"] = life.batch
    if life.mean_roughness is not None:
        is_rough = life.mean_roughness >= ROUGH
        told["ram"] = f"ratio {100 * (ROUGH - 1):.0f} % or more up" if is_rough else "as usual"
    return told


def _number(reworks: int) -> str:
    return "new" if reworks == 0 else f"after {reworks} rework{'s' if reworks > 1 else ''}"


def _newest_first(life: Life) -> tuple[float, str]:
    return (-life.ended_at.timestamp() if life.ended_at else np.inf, life.id)


def _judged(life: Life, low: float, high: float) -> Surprise | None:
    if low > 1 - TAIL:
        return Surprise(life, "late", (low + high) / 2)
    if high < TAIL and life.is_failure:
        return Surprise(life, "early", (low + high) / 2)
    return None


def _expected(lives: Sequence[Life], reached: NDArray[np.float64]) -> float:
    """One in ten ends early and one in ten late, less those that pulls kept from it.

    A life pulled sound at chance `p` would have ended in a part `a` of the law beyond `p` with
    chance `a / (1 - p)`.
    """
    pulled = np.array([not life.is_failure for life in lives], dtype=bool)
    at = np.minimum(reached[pulled], 1 - TAIL)
    never_late = np.where(reached[pulled] < 1 - TAIL, TAIL / (1 - at), 0.0)
    never_early = np.where(at < TAIL, (TAIL - at) / (1 - at), 0.0)
    return float(2 * TAIL * len(lives) - never_late.sum() - never_early.sum())


def _shared(
    side: Side,
    last: Sequence[Surprise],
    ended: Sequence[Life],
    describe: Callable[[Life], dict[str, str]],
) -> list[Shared]:
    """Each attribute of the surprises of one side against all lives that could have been one."""
    mine = [describe(each.life) for each in last if each.side == side]
    if not mine:
        return []
    rest = [describe(life) for life in ended if side == "late" or life.is_failure]
    rows = []
    for name, value in sorted({item for told in mine for item in told.items()}):
        among = sum(told.get(name) == value for told in mine)
        known, of_all = _with(mine, name), _with(rest, name)
        in_all = sum(told.get(name) == value for told in rest)
        if among < 2 or in_all == of_all:
            continue
        chance = float(hypergeom.sf(among - 1, of_all, in_all, known))
        rows.append(Shared(side, name, value, among, known, in_all, of_all, chance))
    return rows


def _with(told: Sequence[Mapping[str, str]], name: str) -> int:
    return sum(name in each for each in told)


def in_words(found: Surprises) -> list[str]:
    """Plain sentences: how many surprises there were, what they share, and how far to trust it."""
    if not found.looked_at:
        return ["no life has ended yet"]
    words = [
        f"{found.found} of the last {found.looked_at} ended lives lie outside their 80 % range; "
        f"about {found.expected:.0f} are expected"
    ]
    words += [_sentence(row) for row in found.shared if row.chance < _TOLD][:3]
    if found.compared:
        words.append(
            f"{found.compared} attributes were compared: about "
            f"{_TOLD * found.compared:.1f} of them look that uneven by chance alone"
        )
    return words


def _sentence(row: Shared) -> str:
    return (
        f"{row.among} of {row.surprises} {row.side} ends: {row.attribute} {row.value}, "
        f"against {row.in_all} of {row.of_all} lives; by chance in {100 * row.chance:.2g} of 100"
    )

"""One life of one tool, as the inference sees it: from a first sight to an end, in strokes.

A life runs from fit or rework to its end and may be pieced together from several fittings. What
the record does not know exactly stays open here: the age at which a tool was first seen (left
truncation), the two ages between which it was worn out (interval), the age of a tool that still
runs or was pulled healthy (right censoring).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal, get_args

from duestroke.errors import BadField
from duestroke.names import PART, PRESS, SERIAL, is_match

EndReason = Literal[
    "worn",
    "broken",
    "can-defect",
    "planned",
    "collateral",
    "size-change",
    "other",
    "running",
]
"""How a life ended; `running` has not."""

LifeSource = Literal["ledger", "imported"]

END_REASONS: Final[tuple[EndReason, ...]] = get_args(EndReason)
FAILURES: Final[frozenset[EndReason]] = frozenset({"worn", "broken", "can-defect"})
"""Ends that are failures; all others censor the life at the age reached."""


@dataclass(frozen=True, slots=True)
class WearReading:
    """One reading of a tool's wear within a life.

    strokes: age of the tool at the reading, since new or the last rework, >= 0.
    share: part of its limit that was used up, 0 new, 1 at the limit; gauge noise may take it
        below 0 and wear above 1.
    sd: stated standard uncertainty as a part of the limit, > 0; None: not stated.
    session: readings of one session share a gauge set-up and its bias (the ordinal of the
        press's own day); None: a session of its own.

    Raises BadField naming the field.
    """

    strokes: float
    share: float
    sd: float | None = None
    session: int | None = None

    def __post_init__(self) -> None:
        if not _is_age(self.strokes):
            raise BadField("readings.strokes", self.strokes, "a number of strokes, 0 or more")
        if not math.isfinite(self.share):
            raise BadField("readings.share", self.share, "a finite part of the limit")
        if self.sd is not None and not (math.isfinite(self.sd) and self.sd > 0):
            raise BadField("readings.sd", self.sd, "above 0, or null")


@dataclass(frozen=True, slots=True)
class Life:
    """One tool life. All ages are strokes since new or since the last rework, >= 0.

    entry_strokes: age at which the life was first seen; it was not known to fail before.
    entry_low: age at which it was last found good before that (the contract's
        `entry_strokes_low`), at most `entry_strokes`; None: good at entry.
    strokes: age at the end, or now for a running tool; at least `entry_strokes`.
    strokes_low: age at which it was last found good, at most `strokes`; a `worn` end lies
        between the two and needs it below `strokes`; None: the end was seen when it came, and a
        running tool is good now.
    mean_speed_mps: mean peak punch speed over the life, m/s, > 0, at most 50.
    life_number: reworks before this life, 0 for a new tool's first.
    mean_roughness: mean ram ratio K over the life relative to the press's own baseline, > 0.
    readings: its wear as measured, in order of age.

    Raises BadField naming the field.
    """

    id: str
    serial: str
    kind: str
    position: str
    press: str | None
    batch: str | None
    entry_strokes: float
    entry_low: float | None
    strokes: float
    strokes_low: float | None
    end: EndReason
    ended_at: datetime | None
    mean_speed_mps: float | None
    source: LifeSource
    life_number: int = 0
    mean_roughness: float | None = None
    readings: tuple[WearReading, ...] = ()

    def __post_init__(self) -> None:
        _check_names(self)
        _check_ages(self)
        _check_lows(self)
        speed = self.mean_speed_mps
        if speed is not None and not 0 < speed <= 50:
            raise BadField("mean_speed_mps", speed, "above 0 and up to 50 m/s, or null")
        if self.life_number < 0:
            raise BadField("life_number", self.life_number, "0 or more")
        rough = self.mean_roughness
        if rough is not None and not (math.isfinite(rough) and rough > 0):
            raise BadField("mean_roughness", rough, "above 0, or null")

    @property
    def is_failure(self) -> bool:
        """Whether the end is a failure: worn, broken or can-defect."""
        return self.end in FAILURES


def _check_names(life: Life) -> None:
    if life.end not in END_REASONS:
        raise BadField("end", life.end, "one of " + ", ".join(END_REASONS))
    if life.source not in get_args(LifeSource):
        raise BadField("source", life.source, "ledger or imported")
    # A press's own serial is the press's name.
    if not (is_match(SERIAL, life.serial) or is_match(PRESS, life.serial)):
        raise BadField("serial", life.serial, "1 to 64 of A-Z a-z 0-9 . _ -")
    for field, name in (("kind", life.kind), ("position", life.position)):
        if not is_match(PART, name):
            raise BadField(field, name, "1 to 32 of a-z 0-9 -")
    if life.ended_at is not None and life.ended_at.tzinfo is None:
        raise BadField("ended_at", life.ended_at, "a time with an offset")


def _check_ages(life: Life) -> None:
    for field, age in (("entry_strokes", life.entry_strokes), ("strokes", life.strokes)):
        if not _is_age(age):
            raise BadField(field, age, "a number of strokes, 0 or more")
    if life.strokes < life.entry_strokes:
        raise BadField("strokes", life.strokes, f"at least entry_strokes ({life.entry_strokes})")


def _check_lows(life: Life) -> None:
    low, entry_low = life.strokes_low, life.entry_low
    if entry_low is not None and not (_is_age(entry_low) and entry_low <= life.entry_strokes):
        allowed = f"0 to entry_strokes ({life.entry_strokes}), or null"
        raise BadField("entry_strokes_low", entry_low, allowed)
    if low is None:
        return
    if not (_is_age(low) and low <= life.strokes):
        raise BadField("strokes_low", low, f"0 to strokes ({life.strokes}), or null")
    if life.end == "worn" and low >= life.strokes:
        raise BadField("strokes_low", low, f"below strokes ({life.strokes}) for a worn end")


def _is_age(age: float) -> bool:
    return math.isfinite(age) and age >= 0

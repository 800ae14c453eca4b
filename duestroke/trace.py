"""From a can to the tools that made it: who sat where, how sure it is, which cans share it.

A can carries the numbers of its line and press; with the time it was made they name the tools in
that press. What the record cannot vouch for is said beside each tool, and a can is never given to
a tool in silence. The cans to look at with a bad one are those since each tool was last found good.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, Literal

DoubtKind = Literal[
    "no-tool",
    "age-unknown",
    "near-a-change",
    "open-question",
    "serial-unconfirmed",
    "flag",
    "no-record",
]

NEAR_CHANGE: Final = timedelta(minutes=30)
"""A can made so near a change may be of the tool before or after: times of changes are written
down by hand. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why an answer may be wrong. position: the tool it is about, None for the whole press."""

    kind: DoubtKind
    position: str | None
    words: str


@dataclass(frozen=True, slots=True)
class Check:
    """A look at one tool. is_good: the verdict, or a reading short of its limit beyond doubt.

    value, unit: what was read, None for a look.  share: of its limit used up.  of_set: made by
    several tools together.  press_strokes: the press's total then.
    """

    id: str
    at: datetime
    verdict: str | None
    is_good: bool
    quantity: str | None = None
    value: float | None = None
    unit: str | None = None
    uncertainty: float | None = None
    share: float | None = None
    of_set: bool = False
    press_strokes: int | None = None


@dataclass(frozen=True, slots=True)
class Seat:
    """One stretch of a tool in the press. pulled_at: None while it is in.

    fit_strokes: the press's total at the fit.  strokes_before: the tool's strokes since rework
    then, None where nobody knows.  checks: in order of time.  asked: open questions in words.
    """

    position: str
    serial: str
    kind: str
    fitted_at: datetime
    pulled_at: datetime | None
    fit_strokes: int
    strokes_before: int | None
    batch: str | None = None
    size_mm: float | None = None
    life: int = 0
    reason: str | None = None
    entered_at: datetime | None = None
    entered_by: str | None = None
    corrected: bool = False
    checks: tuple[Check, ...] = ()
    asked: tuple[str, ...] = ()

    def holds(self, at: datetime) -> bool:
        """Whether it was in at `at`: from its fit on, up to its pull."""
        return self.fitted_at <= at and (self.pulled_at is None or at < self.pulled_at)

    @property
    def is_confirmed(self) -> bool:
        """Whether something besides the entry of its fit speaks for its serial."""
        measured = any(check.value is not None and not check.of_set for check in self.checks)
        return measured or self.pulled_at is not None


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time, `end` not held."""

    start: datetime
    end: datetime


def seats_at(seats: Iterable[Seat], at: datetime) -> dict[str, Seat]:
    """The tool in each position at `at`; of two the one fitted later, which came instead."""
    held: dict[str, Seat] = {}
    for seat in sorted(seats, key=lambda seat: seat.fitted_at):
        if seat.holds(at):
            held[seat.position] = seat
    return held


def checks_about(seat: Seat, at: datetime) -> tuple[Check | None, Check | None]:
    """The last check of the tool at or before `at`, and the first after it."""
    own = [check for check in seat.checks if not check.of_set]
    before = [check for check in own if check.at <= at]
    after = [check for check in own if check.at > at]
    return (before[-1] if before else None), (after[0] if after else None)


def suspects(seat: Seat, at: datetime, now: datetime) -> Span:
    """When the cans were made that stand or fall with one made at `at`, by this tool.

    From the last check that found it good, or its fit, to the next check, its pull, or `now`.
    """
    good = [c.at for c in seat.checks if c.is_good and not c.of_set and c.at <= at]
    _, after = checks_about(seat, at)
    ends = [] if after is None else [after.at]
    ends += [] if seat.pulled_at is None else [seat.pulled_at]
    return Span(good[-1] if good else seat.fitted_at, min(ends, default=now))


def same_set(seats: Sequence[Seat], now: datetime) -> Span | None:
    """When exactly these tools sat in the press together; None without any."""
    if not seats:
        return None
    ends = [seat.pulled_at for seat in seats if seat.pulled_at is not None]
    return Span(max(seat.fitted_at for seat in seats), min(ends, default=now))


def doubts(
    places: Sequence[str], seats: Sequence[Seat], at: datetime, *, flags: Sequence[str] = ()
) -> list[Doubt]:
    """What may make the answer wrong. places: positions that this press ever had.

    seats: all stretches near `at`, those before and after it included.  flags: open flags of the
    count that reach over `at`, in words.
    """
    held = seats_at(seats, at)
    found = [Doubt("flag", None, words) for words in flags]
    found += [_no_tool(place) for place in places if place not in held]
    for place in places:
        if _is_near_change(seats, place, at):
            found.append(_near(place))
        if place in held:
            found += _of_seat(held[place])
    return found


def _no_tool(place: str) -> Doubt:
    return Doubt("no-tool", place, f"no tool is on record at {place} at that time")


def _is_near_change(seats: Sequence[Seat], place: str, at: datetime) -> bool:
    return any(
        time is not None and abs(time - at) <= NEAR_CHANGE
        for seat in seats
        if seat.position == place
        for time in (seat.fitted_at, seat.pulled_at)
    )


def _near(place: str) -> Doubt:
    minutes = NEAR_CHANGE // timedelta(minutes=1)
    words = (
        f"{place} was changed within {minutes} minutes of that time: the can may come from the "
        "tool before or after"
    )
    return Doubt("near-a-change", place, words)


def _of_seat(seat: Seat) -> list[Doubt]:
    found = [Doubt("open-question", seat.position, words) for words in seat.asked]
    if seat.strokes_before is None:
        words = f"nobody knows how many strokes {seat.serial} had when it was fitted"
        found.append(Doubt("age-unknown", seat.position, words))
    if not seat.is_confirmed:
        words = (
            f"that {seat.serial} sits there stands on the entry of its fit alone: no reading of it "
            "and no change has spoken for it since"
        )
        found.append(Doubt("serial-unconfirmed", seat.position, words))
    return found

"""The ledger as it stood at an earlier time: what had happened by then and had been entered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from duestroke.ledger import Entry, Fit, replay
from duestroke.lives import Life, WearReading
from engine.duty import PressDuty, duty_of
from store.known import LookRow, Record
from store.ledger_rows import EventRow

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PastFit:
    """One stretch as known then. Ages are strokes since rework, None where nobody knew.

    looks: inspections of it, in order of time.  sums: of its days up to then, see `duty_of`.
    """

    fit: Fit
    batch: str | None
    before: float | None
    run: float
    looks: tuple[PastLook, ...]
    sums: Floats

    @property
    def age(self) -> float | None:
        """At its end, or then."""
        return None if self.before is None else self.before + self.run


@dataclass(frozen=True, slots=True)
class PastLook:
    """One inspection as known then. run: strokes of the stretch at it.  share: of the limit."""

    row: LookRow
    run: float
    share: float | None
    is_held_back: bool

    @property
    def is_good(self) -> bool:
        """Whether it found the tool short of its end."""
        short = self.share is not None and self.share + self.row.margin < 1
        return self.row.verdict == "good" or short

    def is_past(self, was: bool) -> bool:
        """Whether the tool is at its limit by the last word, this one; `was`: by the one before."""
        if self.row.verdict is not None:
            return self.row.verdict == "worn"
        return was if self.share is None else self.share >= 1


class Hindsight:
    """Plays the ledger as it was known at any time. kinds: the kind that each position takes."""

    def __init__(self, record: Record, kinds: Mapping[str, str]) -> None:
        self._record, self._kinds = record, kinds
        self._totals = {
            row.event.id: row.press_strokes
            for row in record.events
            if row.press_strokes is not None
        }

    def fits(
        self, at: datetime, totals: Mapping[str, int], duties: Mapping[str, PressDuty]
    ) -> list[PastFit]:
        """All stretches as known at `at`. totals: of the presses then.  duties: up to then."""
        standing = _standing(self._record.events, at)
        entries = [Entry(row.event, row.place) for row in standing]
        ledger = replay(entries, self._record.tools, self._kinds)
        looks = self._looks(at)
        reworked: dict[str, list[datetime]] = {}
        for row in standing:
            if row.event.type == "rework":
                reworked.setdefault(row.event.serial, []).append(row.event.at)
        found: list[PastFit] = []
        for serial, tool in ledger.tools.items():
            own = _by_fit(tool.fits, looks.get(serial, ()), reworked.get(serial, ()))
            runs: dict[UUID, float] = {}
            for fit, rows in zip(tool.fits, own, strict=True):
                past = self._past(fit, rows, runs, totals, duties)
                if past is not None:
                    found.append(past)
        return found

    def _past(
        self,
        fit: Fit,
        rows: Sequence[LookRow],
        runs: dict[UUID, float],
        totals: Mapping[str, int],
        duties: Mapping[str, PressDuty],
    ) -> PastFit | None:
        press = fit.seat[0]
        begin = self._totals.get(fit.event.id)
        end = totals.get(press) if fit.pull is None else self._totals.get(fit.pull.id)
        if begin is None or end is None:
            return None
        run = float(max(end - begin, 0))
        before = None if fit.base is None else fit.base + runs.get(fit.chain, 0.0)
        runs[fit.chain] = runs.get(fit.chain, 0.0) + run
        pulled = None if fit.pull is None else fit.pull.at
        sums = duties[press].sums(fit.event.at, pulled) if press in duties else np.zeros(4)
        batch = self._record.batches.get(fit.event.serial)
        return PastFit(fit, batch, before, run, _looks_of(rows, begin, run), sums)

    def _looks(self, at: datetime) -> dict[str, list[LookRow]]:
        """Inspections that stood then, by serial; readings in doubt then come without a share."""
        known = [row for row in self._record.looks if row.entered_at <= at]
        corrected = {row.corrects for row in known if row.corrects is not None}
        found: dict[str, list[LookRow]] = {}
        for row in known:
            if row.at <= at and not row.void and row.id not in corrected:
                found.setdefault(row.serial, []).append(row.as_of(at))
        return found

    def imported(self, at: datetime) -> list[Life]:
        """Lives that had been typed in by then and not taken back."""
        return [
            row.life
            for row in self._record.imported
            if row.entered_at <= at
            and (row.taken_back_at is None or row.taken_back_at > at)
            and (row.life.ended_at is None or row.life.ended_at <= at)
        ]


def _standing(events: Iterable[EventRow], at: datetime) -> list[EventRow]:
    """Events that stood then: entered, happened, and neither corrected nor taken back by then."""
    known = [row for row in events if row.entered_at <= at]
    corrected = {row.event.corrects for row in known if row.event.corrects is not None}
    return [
        row
        for row in known
        if row.event.at <= at and not row.event.void and row.event.id not in corrected
    ]


def _by_fit(
    fits: Sequence[Fit], looks: Sequence[LookRow], reworked: Sequence[datetime]
) -> list[list[LookRow]]:
    """Each look with the stretch it tells of: the last one begun, up to the next rework."""
    found: list[list[LookRow]] = [[] for _ in fits]
    for look in looks:
        begun = [k for k, fit in enumerate(fits) if fit.event.at <= look.at]
        if not begun:
            continue
        pull = fits[begun[-1]].pull
        if pull is None or not any(pull.at <= rework <= look.at for rework in reworked):
            found[begun[-1]].append(look)
    return found


def _looks_of(rows: Sequence[LookRow], begin: int, run: float) -> tuple[PastLook, ...]:
    """In order of time. From the reading before one that goes backwards on, while nobody has said
    why, readings tell of no path: the tool may be another one."""
    ordered = sorted(rows, key=lambda row: (row.at, row.entry))
    asked = [k for k, row in enumerate(ordered) if row.asked == "backwards"]
    held = max(asked[0] - 1, 0) if asked else len(ordered)
    return tuple(
        PastLook(
            row,
            run=min(max(float(row.press_strokes - begin), 0.0), run),
            share=None if row.asked == "implausible" else row.share,
            is_held_back=k >= held,
        )
        for k, row in enumerate(ordered)
    )


def past_life(past: PastFit) -> Life | None:
    """The life that inference takes a stretch for, None where nobody knew its age.

    As the store tells today's lives (store/lives.sql), from what was known then.
    """
    fit, age = past.fit, past.age
    if past.before is None or age is None:
        return None
    reason = fit.reason if fit.pull is not None and fit.reason is not None else "running"
    margin = float(fit.margin)
    is_worn = reason == "worn"
    duty = duty_of(past.sums)
    entry_low = max(past.before - margin, 0.0) if margin > 0 else None
    return Life(
        id=str(fit.event.id),
        serial=fit.event.serial,
        kind=fit.kind,
        position=fit.seat[1],
        press=fit.seat[0],
        batch=past.batch,
        entry_strokes=past.before + min(margin, past.run),
        entry_low=entry_low,
        strokes=age + (margin if is_worn else 0.0),
        strokes_low=_last_good(past, age, margin, is_worn),
        end=reason,
        ended_at=None if fit.pull is None else fit.pull.at,
        mean_speed_mps=duty.speed_mps,
        source="ledger",
        life_number=fit.life,
        mean_roughness=duty.roughness,
        readings=readings_of(past),
    )


def _last_good(past: PastFit, age: float, margin: float, is_worn: bool) -> float | None:
    good = good_at(past)
    if good is not None and (good < age or not is_worn):
        return max(good - margin, 0.0)
    return max(age - margin, 0.0) if is_worn and margin > 0 else None


def good_at(past: PastFit) -> float | None:
    """Age at the last look that found it good while it was in; None without one."""
    pull = past.fit.pull
    if past.before is None:
        return None
    for look in reversed(past.looks):
        if look.is_good and (pull is None or look.row.at < pull.at):
            return past.before + look.run
    return None


def is_past_limit(past: PastFit) -> bool:
    """Whether the last word on the tool is that it is at its limit."""
    is_past = False
    for look in past.looks:
        is_past = look.is_past(is_past)
    return is_past


def readings_of(past: PastFit) -> tuple[WearReading, ...]:
    """Its wear as measured, in order of age."""
    if past.before is None:
        return ()
    rows = [
        WearReading(
            past.before + look.run, look.share, look.row.margin / 2 or None, look.row.session
        )
        for look in past.looks
        if look.share is not None and look.row.is_own and not look.is_held_back
    ]
    return tuple(sorted(rows, key=lambda reading: reading.strokes))

"""Lives of the demo plant, straight from its simulator: what its ledger holds once it is right.

No database: strokes are the true ones, speeds those of the set rate, and a mistake that the crews
made and corrected is left out. Everything else is as the store tells it: each fitting with a known
age is a life, seen first at the age it was fitted with; last found good at the last look that found
it so; its readings with half of the stated 95 % half-width, the plant's own days as sessions.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Final, cast

import numpy as np

from duestroke.lives import EndReason, Life, WearReading
from duestroke.stroke import peak_speed
from duestroke.times import from_micros
from simulators import stories
from simulators.gauge import GAUGED
from simulators.played import Look
from simulators.stops import local_day
from simulators.stories import Demo
from simulators.tooling import MILLION
from simulators.tooling import Life as Truth
from simulators.truth import PressTruth
from simulators.works import Works, loaded_to

FIRST_DAY: Final = datetime(2026, 3, 9, 14, 25, tzinfo=UTC)


class DemoPlant:
    """The demo plant of a seed, as its ledger stands at any time of its two years."""

    def __init__(self, seed: int, first_day: datetime = FIRST_DAY) -> None:
        self.demo = Demo(seed, first_day)
        self._presses = [
            _Press(self.demo, truth) for truth in Works(self.demo).truths(loaded_to(self.demo))
        ]

    def lives(self, position: str, days_before: float = 0.0) -> list[Life]:
        """Lives at a position as known so many days before the demo's first day."""
        end = self.demo.first_day - timedelta(days=days_before)
        at = min(int(end.timestamp() * 1_000_000), loaded_to(self.demo))
        return [life for press in self._presses for life in press.lives(position, at)]


@dataclass(frozen=True)
class _Press:
    """One press with what its crew did."""

    demo: Demo
    truth: PressTruth

    def lives(self, position: str, at: int) -> Iterator[Life]:
        """Its lives at a position as known at a time."""
        for number, one in enumerate(self.truth.played.lives):
            if one.position.name == position and one.fitted_at < at and one.age_known:
                yield self._life(one, f"{self.truth.press.name}-{number}".replace("/", "-"), at)

    def _life(self, one: Truth, name: str, at: int) -> Life:
        is_running = one.pulled_at is None or one.pulled_at > at
        until = at if is_running else cast(int, one.pulled_at)
        fitted, ended = (self._strokes(moment) for moment in (one.fitted_at, until))
        entry = round(one.age * MILLION)
        looks = [look for look in self._looks[id(one.tool)] if one.fitted_at <= look.at <= until]
        age = entry + ended - fitted
        good = [entry + self._strokes(look.at) - fitted for look in looks if look.verdict == "good"]
        return Life(
            id=name,
            serial=one.tool.serial,
            kind=one.tool.kind,
            position=one.position.name,
            press=self.truth.press.name,
            batch=one.tool.batch,
            entry_strokes=float(entry),
            entry_low=None,
            strokes=float(age),
            strokes_low=self._low(good, age, is_running, one.end),
            end="running" if is_running else cast(EndReason, one.end),
            ended_at=None if is_running else from_micros(until),
            mean_speed_mps=self._mean_speed(one.fitted_at, until),
            source="ledger",
            life_number=one.number - 1,
            mean_roughness=self._mean_roughness(one.fitted_at, until),
            readings=tuple(self._readings(one, looks, entry - fitted)),
        )

    @staticmethod
    def _low(good: Sequence[int], age: int, is_running: bool, end: str) -> float | None:
        if not good or (end == "worn" and not is_running and good[-1] >= age):
            return None
        return float(min(good[-1], age))

    @cached_property
    def _looks(self) -> dict[int, list[Look]]:
        found: dict[int, list[Look]] = {id(one.tool): [] for one in self.truth.played.lives}
        for look in self.truth.played.looks:
            found[id(look.tool)].append(look)
        return found

    def _strokes(self, at: int) -> int:
        return int(self.truth.strokes(at))

    def _readings(self, one: Truth, looks: Sequence[Look], before: int) -> Iterator[WearReading]:
        gauged = GAUGED.get(one.position.name)
        for look in looks:
            if gauged is None or look.quantity != gauged.quantity or look.value is None:
                continue
            limit, unsure = cast(float, look.limit), cast(float, look.uncertainty)
            yield WearReading(
                strokes=float(max(before + self._strokes(look.at), 0)),
                share=look.value / limit,
                sd=unsure / abs(limit) / 2,
                session=local_day(from_micros(look.at)).toordinal(),
            )

    def _mean_speed(self, start: int, end: int) -> float:
        """Peak speed, mean over the strokes from one time to another."""
        rates = stories.rates(self.demo, self.truth.press)
        edges = [min(max(at, start), end) for at, _ in rates[1:]]
        strokes = np.diff(self.truth.strokes([start, *edges, end])).astype(float)
        speeds = [peak_speed(self.truth.press.line.drive, spm) for _, spm in rates]
        return float(np.average(speeds, weights=np.maximum(strokes, 1e-9)))

    def _mean_roughness(self, start: int, end: int) -> float:
        """K over K as new, mean over the time from one time to another."""
        ramp = stories.roughness(self.demo, self.truth.press)
        if ramp is None:
            return 1.0
        return float(np.interp(np.linspace(start, end, 200), *ramp).mean())

"""The truth about a press: what it really did, and what its counter, clock and gateway made of it.

A pure function of seed, first day and time. It stays outside the product's tables; tests and the
command `duestroke simulate --truth FILE` take it from here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from duestroke import stroke
from simulators import noise, stories
from simulators.plant import DAY, HOUR, MINUTE, SECOND, Press
from simulators.played import Played
from simulators.running import base_stands
from simulators.stories import Demo, Schedule
from simulators.timeline import WORK_A_STROKE, Timeline, build, merge_stands

SPEED_NOISE: Final = 0.004
ACCEL_NOISE: Final = 0.015
OUTLIERS: Final = 3e-4
OUTLIER_FACTOR: Final = 1.3
DRY_ACCEL: Final = 0.9
"""Peak acceleration of a stroke without a can, over that of one with."""
LOST_REPORTS: Final = 6e-5
"""Chance that a report of the history never gets out of its gateway: a gap in `seq`."""


@dataclass(frozen=True)
class Epoch:
    """From a time on the counter runs from `value`. kind: `start`, `reset` or `reboot`."""

    at: int
    value: int
    kind: str
    boot: str


@dataclass(frozen=True)
class ClockStep:
    """The sender's clock is `ahead` microseconds fast from one time to another."""

    start: int
    end: int
    ahead: int


class PressTruth:
    """One press from D-730 to `horizon` (microseconds). Beyond `horizon` nothing is known here."""

    def __init__(self, demo: Demo, press: Press, played: Played, horizon: int) -> None:
        self.demo, self.press, self.played, self.horizon = demo, press, played, horizon
        self.schedule: Schedule = stories.schedule(demo, press)
        self.timeline: Timeline = _timeline(demo, press, played, horizon)
        self.epochs: tuple[Epoch, ...] = _epochs(demo, press, self.timeline)
        fast = stories.fast_clock(demo, press)
        self.clock: ClockStep | None = fast and ClockStep(*fast, stories.CLOCK_FAST)
        self.silences: tuple[tuple[int, int], ...] = _silences(demo, press)

    def strokes(self, at: ArrayLike) -> NDArray[np.int64]:
        """True strokes since D-730 at each of `at`; same shape."""
        return self.timeline.strokes(at)

    def counter(self, at: ArrayLike) -> NDArray[np.int64]:
        """What the press's counter shows at each of `at`; same shape."""
        epoch = self._epoch_index(at)
        since = self.strokes(at) - self._epoch_strokes[epoch]
        return np.asarray((self._epoch_values[epoch] + since) % self.press.modulus)

    def boot_index(self, at: ArrayLike) -> NDArray[np.int64]:
        """Index into `boots` for each of `at`."""
        starts = np.array([epoch.at for epoch in self._boot_epochs], dtype=np.int64)
        return np.asarray(np.searchsorted(starts, np.asarray(at), side="right") - 1)

    def reported(self, at: ArrayLike) -> NDArray[np.int64]:
        """What the sender's clock shows at each true time."""
        at = np.asarray(at, dtype=np.int64)
        if self.clock is None:
            return at
        fast = (at >= self.clock.start) & (at < self.clock.end)
        return at + np.where(fast, self.clock.ahead, 0)

    @cached_property
    def boots(self) -> tuple[str, ...]:
        """Names of boots in order of time."""
        return tuple(epoch.boot for epoch in self._boot_epochs)

    @cached_property
    def _boot_epochs(self) -> tuple[Epoch, ...]:
        named = {epoch.boot: epoch for epoch in reversed(self.epochs)}
        return tuple(sorted(named.values(), key=lambda epoch: epoch.at))

    @cached_property
    def _epoch_strokes(self) -> NDArray[np.int64]:
        return self.strokes([epoch.at for epoch in self.epochs])

    @cached_property
    def _epoch_values(self) -> NDArray[np.int64]:
        return np.array([epoch.value for epoch in self.epochs], dtype=np.int64)

    def _epoch_index(self, at: ArrayLike) -> NDArray[np.int64]:
        starts = np.array([epoch.at for epoch in self.epochs], dtype=np.int64)
        return np.maximum(np.searchsorted(starts, np.asarray(at), side="right") - 1, 0)

    def peaks(
        self, at: NDArray[np.int64], made: NDArray[np.int64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Peak speed (m/s) and acceleration (m/s2) as sensors report them; nan without a stroke.

        at: report times.  made: strokes since the report before.
        """
        drive, name, seed = self.press.line.drive, self.press.name, self.demo.seed
        index = at // SECOND
        spm = _set_rate(self.demo, self.press, at)
        per_spm = stroke.peak_speed(drive, 1.0)
        accel_at_one = stroke.peak_acceleration(drive, 1.0)
        speed = per_spm * spm * (1 + SPEED_NOISE * noise.normal(noise.key(seed, name, "v"), index))
        accel = accel_at_one * spm**2 * self._roughness(at)
        accel = accel * (1 + ACCEL_NOISE * noise.normal(noise.key(seed, name, "a"), index))
        odd = noise.uniform(noise.key(seed, name, "outlier"), index) < OUTLIERS
        accel = np.where(odd, accel * OUTLIER_FACTOR, accel) * self._scale(at)
        if self.dry is not None:
            accel = np.where((at > self.dry[0]) & (at <= self.dry[1]), DRY_ACCEL * accel, accel)
        still = made == 0
        return (
            np.where(still, np.nan, np.round(speed, 3)),
            np.where(still, np.nan, np.round(accel, 1)),
        )

    def _roughness(self, at: NDArray[np.int64]) -> NDArray[np.float64]:
        """K over K as new."""
        ramp = stories.roughness(self.demo, self.press)
        return np.ones(at.shape) if ramp is None else np.interp(at, *ramp)

    @cached_property
    def dry(self) -> tuple[int, int] | None:
        """3/08: from the first stroke after its change of can size, 9,000 strokes without cans."""
        stop = stories.dry_after(self.demo, self.press)
        if stop is None:
            return None
        work = int(self.timeline.work_at(stop.start))
        start = self.timeline.time_of_work(work + 1)
        end = self.timeline.time_of_work(work + stories.DRY_STROKES * WORK_A_STROKE)
        return start, end

    def _scale(self, at: NDArray[np.int64]) -> NDArray[np.float64]:
        """The accelerometer of 2/02 reads 0.93 of the truth since a repair at D-150."""
        if not self.demo.is_at(self.press, "2/02"):
            return np.ones(at.shape)
        since = stories.stop_near(self.demo, self.press, -150).start
        return np.where(at >= since, 0.93, 1.0)

    def lost(self, at: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Which reports of the history never left their gateway."""
        odds = noise.uniform(noise.key(self.demo.seed, self.press.name, "lost"), at // MINUTE)
        held = np.zeros(at.shape, dtype=bool)
        for low, high in stories.protected(self.demo, self.press):
            held |= (at >= low - HOUR) & (at <= high + HOUR)
        return (
            (odds < LOST_REPORTS)
            & ~held
            & (at < self.demo.d0 - DAY)
            & (at > self.demo.begin + HOUR)
        )

    def lost_until(self, to: int) -> int:
        """How many reports of the history before `to` were lost."""
        first, step, count = self.schedule.times(self.demo.begin, to, stories.TEN_MINUTES)
        times = first + step * np.arange(count, dtype=np.int64)
        return int((self.lost(times) & ~self.silent(times)).sum())

    def silent(self, at: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Which report times fall into a stretch in which no report was made at all."""
        found = np.zeros(at.shape, dtype=bool)
        for low, high in self.silences:
            found |= (at > low) & (at < high)
        return found


def _timeline(demo: Demo, press: Press, played: Played, horizon: int) -> Timeline:
    starts, ends = base_stands(demo, press, horizon)
    extra = np.array(played.stands, dtype=np.int64).reshape(-1, 2)
    starts, ends = merge_stands(
        np.concatenate([starts, extra[:, 0]]), np.concatenate([ends, extra[:, 1]])
    )
    return build(demo.begin, starts, ends, stories.rates(demo, press))


def _set_rate(demo: Demo, press: Press, at: NDArray[np.int64]) -> NDArray[np.float64]:
    rates = stories.rates(demo, press)
    starts = np.array([start for start, _ in rates], dtype=np.int64)
    index = np.maximum(np.searchsorted(starts, at, side="right") - 1, 0)
    return np.array([spm for _, spm in rates], dtype=np.float64)[index]


def _silences(demo: Demo, press: Press) -> tuple[tuple[int, int], ...]:
    found = [stories.long_gap(demo, press), stories.power_dip(demo, press)]
    story = stories.download(demo, press)
    if story is not None:
        found.append((story.last_report, story.first_report))
    return tuple(stretch for stretch in found if stretch is not None)


def _epochs(demo: Demo, press: Press, timeline: Timeline) -> tuple[Epoch, ...]:
    """Starts of the counter: the first, and every reset and reboot, in order of time."""
    first = stories.boot_name(demo.begin, 1)
    found = [Epoch(demo.begin, _first_value(demo, press), "start", first)]
    dip = stories.power_dip(demo, press)
    if dip is not None:
        value = int(found[0].value + timeline.strokes(dip[1])) % press.modulus
        found.append(Epoch(dip[1], value, "reboot", stories.boot_name(dip[1], 2)))
    if demo.is_at(press, "3/05"):
        at = stories.stop_near(demo, press, -290).start + 2 * HOUR
        found.append(Epoch(at, 0, "reset", stories.boot_name(at, 2)))
    story = stories.download(demo, press)
    if story is not None:
        target = int(timeline.strokes(story.last_report)) - stories.DOWNLOAD_COUNTER
        by_hand = timeline.time_of_work(target * WORK_A_STROKE)
        found.append(Epoch(by_hand, 0, "reset", first))
        at = story.stop + 90 * MINUTE
        found.append(Epoch(at, 0, "reset", stories.boot_name(at, 2)))
    return tuple(found)


def _first_value(demo: Demo, press: Press) -> int:
    """What the counter shows at D-730: anything in small counters, the years so far in large."""
    chance = float(noise.uniform(noise.key(demo.seed, press.name, "counter"), 0))
    years = {"1": 20.0, "2": 10.0}.get(press.line.name, 1.0)
    return int((0.9 + 0.1 * chance) * years * 180e6 * (1 + chance)) % press.modulus

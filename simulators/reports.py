"""Reports of a simulated press as columns: what its gateway sends, and when it arrives."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.counting.types import Reading
from simulators import noise, stories
from simulators.plant import MINUTE, SECOND
from simulators.truth import PressTruth

Micros = NDArray[np.int64]

LATE_REPORTS: Final = 0.004
_LATE_MEAN: Final = 20 * MINUTE


@dataclass(frozen=True)
class Reports:
    """Reports of one press in sending order; every array of shape (n,).

    boots: names; boot: index into them.  at: the sender's clock, microseconds since 1970; made_at:
    the true time.  peak_speed (m/s) and peak_accel (m/s2): nan where the press made no stroke.
    """

    boots: tuple[str, ...]
    boot: NDArray[np.int16]
    seq: NDArray[np.int64]
    at: Micros
    made_at: Micros
    strokes: NDArray[np.int64]
    peak_speed: NDArray[np.float64]
    peak_accel: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.seq)

    def take(self, index: NDArray[np.intp]) -> Reports:
        """Some of them, in the order of `index`."""
        return Reports(
            self.boots,
            self.boot[index],
            self.seq[index],
            self.at[index],
            self.made_at[index],
            self.strokes[index],
            self.peak_speed[index],
            self.peak_accel[index],
        )

    def readings(self) -> Iterator[Reading]:
        """One by one, as the messages are made of."""
        columns = zip(
            self.boot.tolist(),
            self.seq.tolist(),
            self.at.tolist(),
            self.strokes.tolist(),
            self.peak_speed.tolist(),
            self.peak_accel.tolist(),
            strict=True,
        )
        for boot, seq, at, strokes, speed, accel in columns:
            yield Reading(self.boots[boot], seq, at, strokes, _known(speed), _known(accel))


@dataclass(frozen=True)
class Sent:
    """Where a gateway stands for one press: last boot, last seq in it, true time of the report."""

    boot: str
    seq: int
    made_at: int


def history(truth: PressTruth, to: int) -> tuple[Reports, Sent]:
    """All reports of a press from D-730 up to (not at) `to`, ten minutes apart, and the last one.

    Where a report got lost its `seq` is missing; in a silence none was made.
    """
    first, step, count = truth.schedule.times(truth.demo.begin, to, stories.TEN_MINUTES)
    times = first + step * np.arange(count, dtype=np.int64)
    times = times[~truth.silent(times)]
    boot = truth.boot_index(times).astype(np.int16)
    opening = np.append(True, boot[1:] != boot[:-1])
    index = np.arange(len(times))
    seq = index - np.maximum.accumulate(np.where(opening, index, 0)) + 1
    made = np.diff(truth.strokes(np.append(truth.demo.begin, times)))
    out = ~truth.lost(times)
    found = _reports(truth, times[out], made[out], boot[out], seq[out])
    return found, Sent(truth.boots[int(boot[-1])], int(seq[-1]), int(times[-1]))


def following(truth: PressTruth, sent: Sent, to: int, every: int) -> tuple[Reports, Sent]:
    """Reports after the last one sent up to (not at) `to`, `every` microseconds apart."""
    frm = truth.schedule.next(sent.made_at, every)
    first, step, count = truth.schedule.times(frm, to, every)
    times = first + step * np.arange(count, dtype=np.int64)
    made = np.diff(truth.strokes(np.append(sent.made_at, times)))
    boot = np.full(count, truth.boots.index(sent.boot), dtype=np.int16)
    seq = sent.seq + 1 + np.arange(count, dtype=np.int64)
    last = Sent(sent.boot, int(seq[-1]), int(times[-1])) if count else sent
    return _reports(truth, times, made, boot, seq), last


def _reports(
    truth: PressTruth,
    times: Micros,
    made: NDArray[np.int64],
    boot: NDArray[np.int16],
    seq: NDArray[np.int64],
) -> Reports:
    speed, accel = truth.peaks(times, made)
    at, strokes = truth.reported(times), truth.counter(times)
    return Reports(truth.boots, boot, seq, at, times, strokes, speed, accel)


def arrivals(truth: PressTruth, reports: Reports) -> Micros:
    """When each report came in: seconds later, now and then much later, on one day all at once."""
    seed, name = truth.demo.seed, truth.press.name
    index = reports.made_at // SECOND
    delay = 0.2 + 1.8 * noise.uniform(noise.key(seed, name, "delay"), index)
    late = noise.uniform(noise.key(seed, name, "late"), index) < LATE_REPORTS
    extra = -np.log(noise.uniform(noise.key(seed, name, "late-by"), index)) * _LATE_MEAN
    came = reports.made_at + (delay * SECOND).astype(np.int64)
    came = came + np.where(late, extra, 0).astype(np.int64)
    return _after_the_deaf_hours(truth, came)


def _after_the_deaf_hours(truth: PressTruth, came: Micros) -> Micros:
    """Story 4: what came while nobody listened is sent from 11:30 on, line 2 newest first."""
    if not truth.demo.plant.has_stories:
        return came
    deaf = stories.deaf(truth.demo)
    held = np.flatnonzero((came >= deaf.start) & (came < deaf.end))
    order = held[::-1] if truth.press.line.name == "2" else held
    came = came.copy()
    came[order] = deaf.end + (1 + np.arange(len(order))) * SECOND // 10
    return came


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value

"""Places whose crews pull on readings: ring 3 of the demo plant under its three policies.

24 presses, each from a new ring on; a reading at every stop, 3.5 M strokes apart, with 0.4 um of
noise against a limit of 6 um. Wear is straight with a lognormal rate, the sudden mode a Weibull
law (`simulators.plant` holds the figures; factors of press, batch and speed are left out). On one
line a ring stays until a reading is at the limit, on another it comes out, `planned`, at the stop
after a reading above 85 %, on the third at a fixed age. The record ends after 80 to 110 M strokes
of each press, with some 70 lives in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchmarks.cases import Case, M, RunningTool, quantiles_of
from duestroke.inference.law import Law
from duestroke.inference.tool import ToolRecord
from duestroke.lives import EndReason, Life, WearReading
from simulators import policy, wear
from simulators.paperwork import HANDBOOK_M
from simulators.plant import BY_POSITION, Policy

Array = NDArray[np.float64]

RING: Final = BY_POSITION["ring-3"]
LIMIT_UM: Final = 6.0
BETWEEN_LOOKS: Final = 3.5 * M
PRESSES: Final = 24
RECORD: Final = (80 * M, 110 * M)
MEDIAN: Final = 34.2 * M
"""Median life at 11 m/s, both modes (four million draws of the simulator's law)."""
STOPS_AHEAD: Final = 4
_SD: Final = RING.noise_um / LIMIT_UM
_SUDDEN: Final = Law.weibull(shape=RING.shape, scale=RING.scale * M)
_TYPICAL: Final = LIMIT_UM / RING.growth * M
_LOG_LIVES: Final = math.log(_TYPICAL) + RING.growth_sigma * np.linspace(-7, 7, 1401)
_AHEAD: Final = np.concatenate([[0.0], np.geomspace(1e-3 * M, 300 * M, 1500)])


@dataclass(frozen=True)
class _Stay:
    """One ring in one press, on the press's stroke clock; ages of its ends, and its readings."""

    fitted: float
    ended: float
    worn_at: float
    broken_at: float
    end: EndReason
    readings: tuple[WearReading, ...]
    good_at: float


def draw_place(line: Policy, rng: np.random.Generator) -> Case:
    """A place under one policy, its record ended by the calendar."""
    lives: list[Life] = []
    running: list[RunningTool] = []
    for number in range(PRESSES):
        end, phase = rng.uniform(*RECORD), rng.uniform(0, BETWEEN_LOOKS)
        press, at, count = f"plant/1/{number + 1:02d}", 0.0, 0
        while at < end:
            stay = _stay(line, at, phase, end, rng)
            lives.append(_as_life(stay, press, f"{number:02d}-{count}"))
            at, count = stay.ended, count + 1
        running.append(_as_tool(stay, press, phase, end))
    return Case(HANDBOOK_M["ring-3"] * M, tuple(lives), tuple(running), MEDIAN)


def _stay(line: Policy, fitted: float, phase: float, end: float, rng: np.random.Generator) -> _Stay:
    drawn = wear.draw(RING, rng, 1)
    worn_at = float(wear.wear_ages(RING, drawn.growth)[0]) * M
    broken_at = float(drawn.sudden[0]) * M
    readings: list[WearReading] = []
    good_at, goes_next = 0.0, False
    stop = _next_look(fitted, phase)
    while stop <= min(end, fitted + broken_at):
        age = stop - fitted
        share = age / worn_at + _SD * float(rng.standard_normal())
        readings.append(WearReading(age, share, _SD))
        good_at = age if share < 1 else good_at
        word = policy.judge(line, RING, share * LIMIT_UM, age / M)
        if goes_next or word in ("planned", "worn"):
            reason: EndReason = "planned" if goes_next or word == "planned" else "worn"
            return _Stay(fitted, stop, worn_at, broken_at, reason, tuple(readings), good_at)
        goes_next = word == "next-stop"
        stop += BETWEEN_LOOKS
    is_broken = fitted + broken_at <= end
    ended = fitted + broken_at if is_broken else end
    reason = "broken" if is_broken else "running"
    return _Stay(fitted, ended, worn_at, broken_at, reason, tuple(readings), good_at)


def _next_look(after: float, phase: float) -> float:
    return phase + BETWEEN_LOOKS * (math.floor((after - phase) / BETWEEN_LOOKS) + 1)


def _as_life(stay: _Stay, press: str, name: str) -> Life:
    return Life(
        id=name,
        serial=f"T-{name}",
        kind=RING.kind,
        position=RING.name,
        press=press,
        batch=None,
        entry_strokes=0.0,
        entry_low=None,
        strokes=stay.ended - stay.fitted,
        strokes_low=stay.good_at,
        end=stay.end,
        ended_at=None,
        mean_speed_mps=wear.REFERENCE_SPEED,
        source="imported",
        readings=stay.readings,
    )


def _as_tool(stay: _Stay, press: str, phase: float, end: float) -> RunningTool:
    age = end - stay.fitted
    first = _next_look(end, phase) - end
    record = ToolRecord(age, stay.good_at, stay.readings, press, speed_so_far=wear.REFERENCE_SPEED)
    return RunningTool(
        record=record,
        remaining=max(min(stay.worn_at, stay.broken_at) - age, 0.0),
        stops=tuple(first + BETWEEN_LOOKS * k for k in range(STOPS_AHEAD)),
        known=_known(stay, age),
    )


def _known(stay: _Stay, age: float) -> Array:
    """Strokes left at LEVELS for one who knows both laws and the gauge, by Bayes on the life."""
    z = (_LOG_LIVES - math.log(_TYPICAL)) / RING.growth_sigma
    log_mass = -0.5 * z**2
    for reading in stay.readings:
        error = (reading.share - reading.strokes / np.exp(_LOG_LIVES)) / _SD
        log_mass = log_mass - 0.5 * error**2
    beyond = tail_of(log_mass, _LOG_LIVES, np.log(age + _AHEAD))
    sudden = _SUDDEN.survival(age + _AHEAD) / _SUDDEN.survival(age)
    return quantiles_of(1 - beyond[0], beyond / max(beyond[0], 1e-300) * sudden, _AHEAD)


def tail_of(log_mass: Array, log_lives: Array, at: Array) -> Array:
    """Chance beyond each log age of a law given by log densities on an even grid of log lives."""
    mass = np.exp(log_mass - log_mass.max())
    steps = (mass[1:] + mass[:-1]) / 2
    beyond = np.concatenate([[0.0], np.cumsum(steps[::-1])])[::-1] / steps.sum()
    return np.interp(at, log_lives, beyond, left=1.0, right=0.0)

"""Lives of places with a known truth, drawn for tests: modes, groups, effects, wear readings."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import numpy as np

from duestroke.lives import EndReason, Life, WearReading
from tests.support.lives import life

HANDBOOK = 50e6
Policy = Literal["to the limit", "at 85 percent", "fixed age"]


def with_modes(count: int, seed: int = 1) -> list[Life]:
    """Lognormal wear of median 50 M and sudden ends, Weibull 1.2, told apart by their labels."""
    rng = np.random.default_rng([seed, 1])
    out = []
    for k in range(count):
        worn, broken = 50e6 * math.exp(0.3 * rng.standard_normal()), 160e6 * rng.weibull(1.2)
        end: EndReason = "worn" if worn < broken else "broken"
        age = min(worn, broken)
        if k % 5 == 0:
            age, end = 0.8 * age, "running"
        low = 0.9 * age if k % 3 == 0 and end == "worn" else None
        out.append(replace(life(age, end, low=low), id=f"m{k}", serial=f"M{k}"))
    return out


def with_groups(
    count: int,
    seed: int = 1,
    *,
    exponent: float = 1.3,
    press_sd: float = 0.0,
    weak: int = 0,
    per_rework: float = 0.0,
) -> list[Life]:
    """Lives in 12 batches on 20 presses of four speeds, sd of log life 0.25, median 50 M at 11 m/s.

    exponent: of the speed.  press_sd: of the presses' log medians.  weak: so many of batch `weak`,
    which wears 1.6 times as fast.  per_rework: log life lost with each rework.
    """
    rng = np.random.default_rng([seed, 2])
    own = press_sd * rng.standard_normal(20)
    out = []
    for k in range(count):
        press, number = int(rng.integers(20)), int(rng.integers(3))
        speed = (10.94, 10.29, 11.0, 11.88)[press % 4]
        log_life = 0.25 * rng.standard_normal() + exponent * math.log(11 / speed) + own[press]
        log_life -= per_rework * number + (math.log(1.6) if k < weak else 0.0)
        age = 50e6 * math.exp(log_life)
        end: EndReason = "broken" if rng.random() < 0.75 else "running"
        age *= 1.0 if end == "broken" else rng.uniform(0.3, 0.9)
        out.append(
            replace(
                life(age, end),
                id=f"g{k}",
                serial=f"G{k}",
                press=f"works/1/{press + 1:02d}",
                batch="weak" if k < weak else f"B-{k % 12}",
                mean_speed_mps=speed,
                life_number=number,
            )
        )
    return out


def with_roughness(count: int, exponent: float, seed: int = 1) -> list[Life]:
    """Sudden ends, Weibull 1.2, of tools under rams of roughness 0.94 to 1.06; wear at 90 M."""
    rng = np.random.default_rng([seed, 3])
    out = []
    for k in range(count):
        rough = float(rng.uniform(0.94, 1.06))
        worn = 90e6 * math.exp(0.2 * rng.standard_normal())
        broken = 80e6 * rng.weibull(1.2) * rough**-exponent
        end: EndReason = "worn" if worn < broken else "broken"
        one = life(min(worn, broken), end)
        out.append(replace(one, id=f"r{k}", serial=f"R{k}", mean_roughness=rough))
    return out


def with_readings(count: int, policy: Policy = "to the limit", seed: int = 1) -> list[Life]:
    """Ring 3 of the demo plant at 11 m/s: wear straight to a limit of 6 um, read each 3.5 M.

    Wear 0.17 um a million strokes, log sds 0.22 (tool), 0.08 (press), 0.06 (batch); sudden ends
    Weibull 1.2, 220 M; gauge noise 0.4 um. True medians: 34.2 M, wear alone 35.3 M.
    """
    rng = np.random.default_rng([seed, 4])
    return [_ring(k, policy, rng) for k in range(count)]


def _ring(number: int, policy: Policy, rng: np.random.Generator) -> Life:
    rate = 0.17 * math.exp(math.hypot(0.22, 0.08, 0.06) * rng.standard_normal())
    broken, readings, age = 220 * rng.weibull(1.2), list[WearReading](), 0.0
    end: EndReason = "running"
    while end == "running":
        age += 3.5
        is_last = policy == "fixed age" and age >= 29.1
        age = 29.1 if is_last else age
        if broken <= age:
            age, end = broken, "broken"
            break
        share = (rate * age + 0.4 * rng.standard_normal()) / 6
        readings.append(WearReading(age * 1e6, share, 0.4 / 6))
        if share >= 1:
            end = "worn"
        elif is_last or (policy == "at 85 percent" and share > 0.85):
            end = "planned"
    low = readings[-2].strokes if end == "worn" and len(readings) > 1 else None
    one = life(age * 1e6, end, low=low)
    return replace(one, id=f"w{number}", serial=f"W{number}", readings=tuple(readings))

"""Places with wear readings whose paths are straight, rough or curved, and without readings.

Limit 20 um, gauge noise 1.5 um (not stated: to be learned), a reading every 8 M strokes. A tool's
mean path reaches the limit at a lognormal life of median 50 M and spread 0.35. `straight`: that
line. `curved`: the power 1.35 of it. `rough`: a line with Wiener noise of 0.5 um per root of a
million strokes, and the life is when it first reaches the limit. `none`: straight, but only the
verdict good or worn is written down. A tool comes out when a reading is at its limit.

In the record are so many finished tools, 24 that run, each seen at an age that has nothing to do
with its life, and those that came out before they were to be seen so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from benchmarks.cases import Case, M, RunningTool, quantiles_of
from benchmarks.policies import tail_of
from duestroke.inference.tool import ToolRecord
from duestroke.lives import Life, WearReading

Array = NDArray[np.float64]
Path = Literal["straight", "rough", "curved", "none"]

MEDIAN: Final = 50.0
SPREAD: Final = 0.35
LIMIT: Final = 20.0
NOISE: Final = 1.5
ROUGHNESS: Final = 0.5
POWER: Final = 1.35
BETWEEN_LOOKS: Final = 8.0
RUNNING: Final = 24
STOPS_AHEAD: Final = 4
_STEP: Final = 0.25
_LOG_LIVES: Final = math.log(MEDIAN) + SPREAD * np.linspace(-6, 6, 1601)
_AHEAD: Final = np.concatenate([[0.0], np.geomspace(1e-2, 500.0, 240)])
# Millions of strokes and um in here; strokes and shares of the limit in what is handed out.


@dataclass(frozen=True)
class Seen:
    """How many tools are finished, and the ages at which others are seen, over the median."""

    finished: int
    ages: tuple[float, float]


LATE: Final = Seen(30, (0.5, 0.9))
EARLY: Final = Seen(6, (0.2, 0.5))


def draw_place(path: Path, seen: Seen, rng: np.random.Generator) -> Case:
    """A place whose tools wear along such paths."""
    lives: list[Life] = []
    running: list[RunningTool] = []
    for _ in range(seen.finished):
        lives.append(_Tool(path, rng).as_life(math.inf, f"F{len(lives)}"))
    while len(running) < RUNNING:
        tool, age = _Tool(path, rng), rng.uniform(*seen.ages) * MEDIAN
        life = tool.as_life(age, f"S{len(lives)}")
        lives.append(life)
        if life.end == "running":
            running.append(tool.as_running(life, age))
    return Case(MEDIAN * M, tuple(lives), tuple(running))


class _Tool:
    """One tool: its slope, its true life, and what the gauge says at each look."""

    def __init__(self, path: Path, rng: np.random.Generator) -> None:
        self.path, self.rng = path, rng
        self.phase = rng.uniform(0, BETWEEN_LOOKS)
        self.line_life = MEDIAN * math.exp(SPREAD * rng.standard_normal())
        self.looks = self.phase + BETWEEN_LOOKS * np.arange(60)
        self.life, wear = self._worn()
        self.read = wear + NOISE * rng.standard_normal(wear.size)

    def _worn(self) -> tuple[float, Array]:
        """True life, and the true wear at the looks."""
        if self.path == "rough":
            return self._wander()
        power = POWER if self.path == "curved" else 1.0
        return self.line_life, LIMIT * (self.looks / self.line_life) ** power

    def _wander(self) -> tuple[float, Array]:
        """Wiener noise on the line, in short steps; a crossing within one is drawn too."""
        at = np.arange(0.0, self.looks[-1] + _STEP, _STEP)
        shocks = ROUGHNESS * math.sqrt(_STEP) * self.rng.standard_normal(at.size - 1)
        wear = LIMIT / self.line_life * at + np.concatenate([[0.0], np.cumsum(shocks)])
        gap = np.maximum(LIMIT - wear, 0.0)
        touched = np.exp(-2 * gap[1:] * gap[:-1] / (ROUGHNESS**2 * _STEP))
        crossed = np.flatnonzero(self.rng.random(touched.size) < touched)
        life = at[crossed[0]] + _STEP / 2 if crossed.size else math.inf
        return life, np.interp(self.looks, at, wear)

    def as_life(self, until: float, name: str) -> Life:
        """Its record up to an age, millions."""
        found = int(np.argmax(self.read >= LIMIT))
        is_running = self.looks[found] > until
        looks = int(np.searchsorted(self.looks, until, side="right")) if is_running else found + 1
        good = self.looks[looks - 1] if is_running and looks else 0.0
        if not is_running:
            good = self.looks[found - 1] if found else 0.0
        return Life(
            id=name,
            serial=f"T-{name}",
            kind="punch",
            position="punch",
            press=None,
            batch=None,
            entry_strokes=0.0,
            entry_low=None,
            strokes=M * (until if is_running else self.looks[found]),
            strokes_low=M * good,
            end="running" if is_running else "worn",
            ended_at=None,
            mean_speed_mps=None,
            source="imported",
            readings=() if self.path == "none" else self._readings(looks),
        )

    def _readings(self, looks: int) -> tuple[WearReading, ...]:
        return tuple(WearReading(M * self.looks[k], self.read[k] / LIMIT) for k in range(looks))

    def as_running(self, life: Life, age: float) -> RunningTool:
        """What is to be forecast of it, with the truth."""
        looks = int(np.searchsorted(self.looks, age, side="right"))
        first = self.phase + BETWEEN_LOOKS * looks - age
        return RunningTool(
            record=ToolRecord(life.strokes, life.strokes_low, life.readings),
            remaining=M * max(self.life - age, 0.0),
            stops=tuple(M * (first + BETWEEN_LOOKS * k) for k in range(STOPS_AHEAD)),
            known=M * self._known(age, self.looks[:looks], self.read[:looks]),
        )

    def _known(self, age: float, looks: Array, read: Array) -> Array:
        if self.path == "rough":
            return known_rough(age, looks, read)
        shape = POWER if self.path == "curved" else 1.0
        return known_line(age, looks, read, shape, of_verdicts=self.path == "none")


def known_line(age: float, looks: Array, read: Array, power: float, *, of_verdicts: bool) -> Array:
    """Strokes left (millions) at LEVELS given readings of a path (x / life)^power of the limit.

    of_verdicts: only that each reading lay below the limit is known.
    """
    log_mass = -0.5 * ((_LOG_LIVES - math.log(MEDIAN)) / SPREAD) ** 2
    for at, value in zip(looks, read, strict=True):
        mean = LIMIT * (at / np.exp(_LOG_LIVES)) ** power
        if of_verdicts:
            log_mass = log_mass + np.log(np.maximum(ndtr((LIMIT - mean) / NOISE), 1e-300))
        else:
            log_mass = log_mass - 0.5 * ((value - mean) / NOISE) ** 2
    beyond = tail_of(log_mass, _LOG_LIVES, np.log(age + _AHEAD))
    return quantiles_of(1 - beyond[0], beyond / max(beyond[0], 1e-300), _AHEAD)


_SLOPE_Z: Final = np.linspace(-3.2, 3.2, 27)
_SLOPES: Final = LIMIT / (MEDIAN * np.exp(SPREAD * _SLOPE_Z))
_CELL: Final = 0.25
_WEAR: Final = np.arange(-8.0 + _CELL / 2, LIMIT, _CELL)
_LIGHT: Final = 1e-5


def known_rough(age: float, looks: Array, read: Array) -> Array:
    """Strokes left (millions) at LEVELS given readings of a line with Wiener noise.

    A filter on (slope, wear) over the looks, for paths that have not reached the limit yet, beside
    the same without that condition: what is missing is the chance that the end has come.
    """
    alive, log_scale = _filtered(looks, read)
    last = looks[-1] if looks.size else 0.0
    total = _log_evidence(looks, read)
    weight = np.exp(log_scale - total) * alive
    slope, wear = np.nonzero(weight > _LIGHT * weight.max())
    lasting = weight[slope, wear] @ _stays_below(
        LIMIT - _wear_nodes(looks)[wear], _SLOPES[slope], age - last + _AHEAD
    )
    lasting = np.minimum(lasting, 1.0)
    return quantiles_of(1 - lasting[0], lasting / max(lasting[0], 1e-300), _AHEAD)


def _wear_nodes(looks: Array) -> Array:
    return _WEAR if looks.size else np.zeros(1)


def _filtered(looks: Array, read: Array) -> tuple[Array, float]:
    """Mass of slope and wear at the last look, (slopes, cells), with the log of its scale."""
    prior = np.exp(-0.5 * _SLOPE_Z**2)
    prior /= prior.sum()
    if not looks.size:
        return prior[:, None], 0.0
    mass = prior[:, None] * np.array([_killed(np.zeros(1), s, looks[0])[0] for s in _SLOPES])
    log_scale = 0.0
    for k, value in enumerate(read):
        if k:
            mass = np.einsum("sy,syz->sz", mass, _kernels())
        mass = mass * np.exp(-0.5 * ((value - _WEAR) / NOISE) ** 2)
        log_scale += math.log(mass.sum())
        mass /= mass.sum()
    return mass, log_scale


@cache
def _kernels() -> Array:
    return np.array([_killed(_WEAR, slope, BETWEEN_LOOKS) for slope in _SLOPES])


def _killed(start: Array, slope: float, strokes: float) -> Array:
    """Mass from each start to each cell in so many strokes, of paths that stay below the limit.

    The normal density times the chance that the bridge between does not touch the limit.
    """
    variance = ROUGHNESS**2 * strokes
    moved = _WEAR - start[:, None] - slope * strokes
    density = np.exp(-0.5 * moved**2 / variance) / math.sqrt(2 * math.pi * variance)
    gaps = (LIMIT - start[:, None]) * (LIMIT - _WEAR)
    return np.asarray(_CELL * density * -np.expm1(-2 * gaps / variance))


def _log_evidence(looks: Array, read: Array) -> float:
    """Log density of the readings whether or not the limit was reached, on the filter's scale."""
    if not looks.size:
        return 0.0
    prior = np.exp(-0.5 * _SLOPE_Z**2)
    covariance = ROUGHNESS**2 * np.minimum.outer(looks, looks) + NOISE**2 * np.eye(looks.size)
    factor = np.linalg.cholesky(covariance)
    rest = np.linalg.solve(factor, read[:, None] - looks[:, None] * _SLOPES)
    # The filter leaves the gauge's constant out.
    constant = np.log(np.diag(factor)).sum() - looks.size * math.log(NOISE)
    logs = -0.5 * (rest**2).sum(axis=0) - constant
    return float(logs.max() + np.log(np.exp(logs - logs.max()) @ (prior / prior.sum())))


def _stays_below(gap: Array, slope: Array, strokes: Array) -> Array:
    """Chance that a path `gap` below the limit has not reached it in so many strokes: (n, k).

    The first passage of a Wiener process with drift is inverse Gaussian.
    """
    root = ROUGHNESS * np.sqrt(np.maximum(strokes, 1e-9))
    first = ndtr((gap[:, None] - slope[:, None] * strokes) / root)
    growth = np.exp(np.minimum(2 * slope * gap / ROUGHNESS**2, 700.0))
    second = growth[:, None] * ndtr(-(gap[:, None] + slope[:, None] * strokes) / root)
    return np.asarray(np.maximum(first - second, 0.0))

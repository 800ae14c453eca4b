"""Strokes left of many tools: against closed forms, one-by-one integration, and each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from duestroke.forecast.dates import LEVELS
from duestroke.inference import fit
from duestroke.inference.ahead import Desk, futures, misfits, remaining_quantiles, survival
from duestroke.inference.families import LOG_LOG_2, WEIBULL, WEIBULL_SHAPE_TIMES_SPREAD
from duestroke.inference.nodes import Nodes, log_survival
from duestroke.inference.remaining import RemainingLife
from duestroke.inference.tool import Alternative, ToolRecord
from duestroke.inference.wear import WearPaths
from duestroke.lives import Life, WearReading

Array = NDArray[np.float64]

UNIT = 50e6


@dataclass(frozen=True)
class Place:
    """A place whose laws are given: the same for all tools, but for a shift by their speed."""

    seen: tuple[Alternative, ...]
    paths: WearPaths | None = None
    exponent: float = 0.0
    sudden_factor: float = 1.0
    handbook_life: float = UNIT

    def alternatives(self, tool: ToolRecord) -> tuple[Alternative, ...]:
        speed = tool.speed_so_far if tool.age > 0 else tool.speed_now
        if speed is None:
            return self.seen
        by = -self.exponent * np.log(speed / 4.0)
        moved = (tuple(replace(n, m=n.m + by) for n in each.life) for each in self.seen)
        return tuple(replace(each, life=life) for each, life in zip(self.seen, moved, strict=True))

    def ahead_factor(self, tool: ToolRecord) -> float:
        past, now = tool.speed_so_far, tool.speed_now
        return 1.0 if not past or not now else (past / now) ** self.exponent

    def sudden_ahead_factor(self, tool: ToolRecord) -> float:
        return self.sudden_factor


def weibull(shape: float, scale: float) -> tuple[Nodes, ...]:
    """A Weibull law known exactly; scale in strokes."""
    spread = WEIBULL_SHAPE_TIMES_SPREAD / shape
    median = np.log(scale / UNIT) + LOG_LOG_2 / shape
    return (Nodes(WEIBULL, np.array([median]), np.array([spread]), np.ones(1)),)


def lives(count: int, seed: int = 1, shape: float = 2.5) -> list[Life]:
    rng = np.random.default_rng(seed)
    made = []
    for k in range(count):
        worn, pulled = UNIT * rng.weibull(shape), 1.2 * UNIT * rng.uniform(0.3, 1.4)
        end = "broken" if worn < pulled else "planned"
        life = Life(
            *(f"{k}", f"S-{k}", "punch", "punch", None, None),
            *(0.0, None, min(worn, pulled), None, end, None, None, "ledger"),  # type: ignore[arg-type]
        )
        made.append(life)
    return made


def some_tools(count: int, seed: int = 2) -> list[ToolRecord]:
    rng = np.random.default_rng(seed)
    made = [ToolRecord(0.0), ToolRecord(1.0), ToolRecord(4 * UNIT), ToolRecord(3 * UNIT, 0.0)]
    for _ in range(count):
        age = float(UNIT * rng.uniform(0, 1.6))
        made.append(ToolRecord(age, None if rng.random() < 0.3 else float(age * rng.random())))
    return made


@pytest.mark.parametrize(("count", "shape"), [(0, 2.5), (5, 2.5), (40, 2.5), (60, 0.8), (60, 9.0)])
def test_without_readings_it_is_what_remaining_life_has(count, shape):
    """Chances by RemainingLife, one tool at a time, at the strokes told for each level."""
    posterior = fit(lives(count, shape=shape), handbook_life=UNIT)
    place = Place((Alternative(1.0, posterior.nodes, None, posterior.q),))
    tools = some_tools(24)
    told = remaining_quantiles(place, tools, LEVELS)
    for tool, strokes in zip(tools, told, strict=True):
        law = RemainingLife(
            *(posterior.nodes,),
            handbook_life=UNIT,
            age=tool.age,
            good_at=tool.good_at,
            q=posterior.q,
        )
        chance, later = law.chance_within(strokes), strokes > 1
        # Far beyond all lives the points of the tables stand apart.
        most = 0.005 if tool.age < 3 * UNIT else 0.015
        assert np.abs(chance - LEVELS)[later].max(initial=0) < most
        assert np.all(LEVELS[~later] < law.due_now + most)
        assert np.all(np.diff(strokes) >= 0)


def test_two_modes_end_at_the_earlier():
    """Weibull and Weibull of one shape: the least of both is Weibull (closed form)."""
    both = (30e6**-2 + 60e6**-2) ** -0.5
    place = Place((Alternative(1.0, weibull(2, 30e6), weibull(2, 60e6), 0.5),))
    told = futures(place, [ToolRecord(20e6)], LEVELS)
    exact = both * np.sqrt((20e6 / both) ** 2 - np.log1p(-LEVELS)) - 20e6
    assert told.strokes[0] == pytest.approx(exact, rel=0.01, abs=2e4)
    # The hazards stand in a constant ratio: of the ends, 60^2 / (30^2 + 60^2) come by wear.
    assert told.wear[0] == pytest.approx(0.8, abs=0.003)


def test_rougher_running_ages_the_sudden_mode_alone():
    """Sudden failures without memory (shape 1): twice the hazard is half the scale."""
    plain = Alternative(1.0, weibull(3, 900e6), weibull(1, 40e6), 0.0)
    half = replace(plain, sudden=weibull(1, 20e6))
    asked = [ToolRecord(10e6)]
    rough = remaining_quantiles(Place((plain,), sudden_factor=0.5), asked, LEVELS)
    twice = remaining_quantiles(Place((half,)), asked, LEVELS)
    assert rough == pytest.approx(twice, rel=0.01, abs=1e4)


def test_ways_to_see_a_place_are_averaged():
    first = Alternative(0.3, weibull(2, 30e6), None, 0.5)
    second = Alternative(0.7, weibull(3, 60e6), weibull(1.2, 90e6), 0.0)
    strokes = remaining_quantiles(Place((first, second)), [ToolRecord(15e6)], LEVELS)[0]
    later = 15e6 + strokes

    def lasting(at, shape, scale):
        return np.exp((15e6 / scale) ** shape - (at / scale) ** shape)

    chance = 0.3 * lasting(later, 2, 30e6)
    chance = chance + 0.7 * lasting(later, 3, 60e6) * lasting(later, 1.2, 90e6)
    assert 1 - chance == pytest.approx(LEVELS, abs=0.003)


def test_a_tool_alone_equals_the_same_among_others():
    posterior = fit(lives(30), handbook_life=UNIT)
    paths = learned()
    sudden = weibull(1.1, 200e6)
    place = Place((Alternative(1.0, posterior.nodes, sudden, 0.5),), paths, exponent=1.5)
    tools = [*some_tools(20), *measured(20)]
    tools = [replace(tool, speed_so_far=3 + k / 20, speed_now=4.0) for k, tool in enumerate(tools)]
    together = remaining_quantiles(place, tools, LEVELS)
    alone = [remaining_quantiles(place, [tool], LEVELS)[0] for tool in tools]
    turned = remaining_quantiles(place, tools[::-1], LEVELS)[::-1]
    assert together.tobytes() == np.array(alone).tobytes() == turned.tobytes()


def test_speed_moves_life_and_what_is_ahead():
    """Life goes as speed to -2: at 5 m/s it is (4/5)^2 of that at 4; ahead at 4 it is longer."""
    place = Place((Alternative(1.0, weibull(2.5, 50e6), None, 0.0),), exponent=2.0)
    law = weibull_left(2.5, 50e6 * 0.64, 10e6)
    fast = ToolRecord(10e6, speed_so_far=5.0, speed_now=5.0)
    assert remaining_quantiles(place, [fast], LEVELS)[0] == pytest.approx(law, rel=0.02, abs=2e4)
    slower = replace(fast, speed_now=4.0)
    assert remaining_quantiles(place, [slower], LEVELS)[0] == pytest.approx(
        law / 0.64, rel=0.02, abs=3e4
    )


def weibull_left(shape: float, scale: float, age: float) -> Array:
    hazard = (age / scale) ** shape - np.log1p(-LEVELS)
    return np.asarray(scale * hazard ** (1 / shape) - age)


def test_lives_of_new_tools():
    place = Place((Alternative(1.0, weibull(2, 30e6), weibull(1, 90e6), 0.5),))
    at = np.array([0.0, 10e6, 50e6])
    exact = np.exp(-((at / 30e6) ** 2) - at / 90e6)
    assert survival(place, at) == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize("age", [0.0, 5 * UNIT, 100 * UNIT, 1e15])
def test_ages_beyond_all_data_stay_finite(age):
    posterior = fit(lives(60, shape=9.0), handbook_life=UNIT)
    place = Place((Alternative(1.0, posterior.nodes, weibull(1.1, 200e6), 0.5),), learned())
    read = (WearReading(0.9 * age, 0.2, 0.03),)
    tools = [ToolRecord(age), ToolRecord(age, age / 2), ToolRecord(age, None, read)]
    strokes = remaining_quantiles(place, tools, LEVELS)
    assert np.all(np.isfinite(strokes))
    assert np.all(strokes >= 0)
    assert np.all(np.diff(strokes, axis=1) >= 0)


# With readings


def learned() -> WearPaths:
    """Shape of wear from forty tools that wear straight, gauge noise 4 % of the limit."""
    rng = np.random.default_rng(3)
    made = []
    for life in lives(40, seed=4):
        worn = 1.2 * life.strokes
        read = path(rng, worn, life.strokes, 8, 0.04)
        made.append(replace(life, end="planned", readings=read))
    return WearPaths.learn(made, typical_life=UNIT, typical_spread=0.4)


def path(
    rng: np.random.Generator, worn: float, age: float, count: int, sd: float
) -> tuple[WearReading, ...]:
    at = age * np.linspace(0.2, 1.0, count)
    share = at / worn + sd * rng.standard_normal(count)
    return tuple(
        WearReading(x, y, sd, k)
        for k, (x, y) in enumerate(zip(at.tolist(), share.tolist(), strict=True))
    )


def measured(count: int, sd: float = 0.03) -> list[ToolRecord]:
    rng = np.random.default_rng(5)
    made = []
    for k in range(count):
        worn = float(45e6 * np.exp(0.3 * rng.standard_normal()))
        age = worn * rng.uniform(0.2, 0.97)
        read = path(rng, worn, age, int(rng.integers(1, 9)), sd)
        made.append(ToolRecord(1.05 * age, 1.02 * age if k % 3 == 0 else None, read))
    return made


def by_summing(place: Place, tool: ToolRecord, strokes: Sequence[float] | Array) -> Array:
    """Chance of the end within `strokes`, summed node by node over 6,000 lives."""
    (seen,) = place.seen
    assert place.paths is not None
    logs = np.linspace(np.log(2e6), np.log(2e9), 6_001)
    like = place.paths.log_likelihood([tool.readings], logs)[0]
    like = np.exp(like - like.max())
    if tool.good_at is not None and tool.good_at > tool.readings[-1].strokes:
        like = np.where(np.exp(logs) > tool.good_at, like, 0.0)
    share = logs - np.log(UNIT)
    density = np.zeros(logs.size)
    for n in seen.life:
        laws = np.exp(n.family.log_density(share[:, None] - n.m, n.s)) * like[:, None]
        density += laws @ (n.weight / np.maximum(laws.sum(axis=0), 1e-250))
    reached = (np.cumsum(density) - density / 2) / density.sum()
    ahead = np.asarray(strokes, dtype=float)
    worn = np.interp(np.log(tool.age + ahead), logs, reached)
    lasting = 1 - worn
    for n in seen.sudden or ():
        now = log_survival(n, np.array([tool.age / UNIT]))
        later = log_survival(n, (tool.age + ahead) / UNIT)
        lasting = lasting * (np.exp(later - now) @ n.weight)
    return 1 - lasting


@pytest.mark.parametrize("count", [0, 30])
@pytest.mark.parametrize("sd", [0.01, 0.05])
def test_with_readings_it_is_the_sum_over_lives(count, sd):
    posterior = fit(lives(count), handbook_life=UNIT)
    place = Place((Alternative(1.0, posterior.nodes, weibull(1.1, 200e6), 0.5),), learned())
    tools = measured(12, sd)
    told = remaining_quantiles(place, tools, LEVELS)
    for tool, strokes in zip(tools, told, strict=True):
        later = strokes > 0
        chance = by_summing(place, tool, strokes)
        assert np.abs(chance - LEVELS)[later].max(initial=0) < 0.01
        assert np.all(LEVELS[~later] < by_summing(place, tool, [0.0])[0] + 0.01)


def test_a_sharply_measured_tool_is_told_to_half_a_percent():
    """Eight readings of one in a thousand and no roughness in the wear: the line says it."""
    rng = np.random.default_rng(8)
    made = []
    for life in lives(30, seed=9):
        worn = 1.02 * life.strokes
        at = life.strokes * np.linspace(0.1, 1, 10)
        noise = 0.002 * rng.standard_normal(10)
        pairs = zip(at.tolist(), (at / worn + noise).tolist(), strict=True)
        read = tuple(WearReading(x, y, 0.002, k) for k, (x, y) in enumerate(pairs))
        made.append(replace(life, end="planned", readings=read))
    paths = WearPaths.learn(made, typical_life=UNIT, typical_spread=0.4)
    posterior = fit(lives(30), handbook_life=UNIT)
    place = Place((Alternative(1.0, posterior.nodes, None, 0.5),), paths)
    tool = ToolRecord(30e6, None, path(rng, 40e6, 30e6, 12, 0.001))
    median = remaining_quantiles(place, [tool], np.array([0.5]))[0]
    chance = by_summing(place, tool, median)
    slope = by_summing(place, tool, 1.005 * median) - by_summing(place, tool, 0.995 * median)
    assert abs(float(chance[0]) - 0.5) < max(float(slope[0]) / 2, 0.003)


def test_a_reading_that_does_not_fit_is_seen():
    posterior = fit(lives(30), handbook_life=UNIT)
    desk = Desk(Place((Alternative(1.0, posterior.nodes, None, 0.5),), learned()))
    straight = ToolRecord(40e6, None, path(np.random.default_rng(1), 60e6, 36e6, 8, 0.005))
    odd = replace(
        straight,
        readings=(*straight.readings[:-1], replace(straight.readings[-1], share=0.05)),
    )
    fits, does_not, unread = misfits(desk, [straight, odd, ToolRecord(40e6)])
    assert fits > 0.01 > does_not
    assert unread == 1

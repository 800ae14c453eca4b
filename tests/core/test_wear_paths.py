"""The likelihood of a wear life from readings: its mathematics, its edges, its speed."""

from __future__ import annotations

import math
import time
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from duestroke.errors import BadField
from duestroke.inference.wear import WearPaths
from duestroke.inference.wear.batch import batch_of
from duestroke.inference.wear.nodes import PathNodes
from duestroke.inference.wear.path import fit_paths, latest_deviations
from duestroke.lives import WearReading
from tests.support.lives import life

Floats = NDArray[np.float64]
H = 60e6
LOG_LIVES = math.log(H) + np.linspace(-2.5, 2.5, 101)
LAW = -0.5 * ((LOG_LIVES - math.log(H)) / 0.4) ** 2


def shape(power: float, roughness: float, noise: float = 1.0, shared: float = 0.5) -> PathNodes:
    return PathNodes(*(np.array([value]) for value in (power, roughness, noise, shared, 1.0)))


def paths_of(nodes: PathNodes) -> WearPaths:
    return WearPaths(H, 0.07, 1e-3, nodes, 0, False)


def line(*ages: float, life_: float = H, sd: float | None = 0.05) -> tuple[WearReading, ...]:
    """Readings on a straight path to a life, without noise."""
    return tuple(WearReading(age, age / life_, sd) for age in ages)


def scattered(tools: int, readings: int = 8, seed: int = 3) -> list[tuple[WearReading, ...]]:
    rng = np.random.default_rng(seed)
    made = []
    for _ in range(tools):
        ages = np.arange(1, readings + 1) * H / readings * rng.uniform(0.4, 1.1)
        slope = np.exp(0.3 * rng.standard_normal()) / H
        shares = ages * slope + 0.07 * rng.standard_normal(readings)
        rows = zip(ages, shares, strict=True)
        made.append(tuple(WearReading(float(x), float(y), 0.07) for x, y in rows))
    return made


def written_out(
    readings: tuple[WearReading, ...], nodes: PathNodes, end: float
) -> tuple[Floats, Floats]:
    """Full covariance, entry by entry, and distance from the path."""
    k, w, c, b = (float(v[0]) for v in (nodes.power, nodes.roughness, nodes.noise, nodes.shared))
    x = np.array([one.strokes for one in readings]) / H
    y = np.array([one.share for one in readings])
    full = np.zeros((x.size, x.size))
    for i, one in enumerate(readings):
        for j, other in enumerate(readings):
            if x[i] <= end and x[j] <= end:
                full[i, j] += w**2 * (min(x[i], x[j]) - x[i] * x[j] / end)
            elif x[i] > end and x[j] > end:
                full[i, j] += w**2 * (min(x[i], x[j]) - end)
            alike = one.session == other.session and (x[i] <= end) == (x[j] <= end)
            gauge = c**2 * (one.sd or 0) * (other.sd or 0)
            full[i, j] += gauge if i == j else b * gauge * alike
    return full, y - (x / end) ** k


def direct(
    readings: tuple[WearReading, ...], nodes: PathNodes, end: float
) -> tuple[float, float, float]:
    """Squared distance, log determinant, deviation of the latest reading given the others."""
    full, rest = written_out(readings, nodes, end)
    gain = np.linalg.solve(full[:-1, :-1], full[:-1, -1])
    sd = np.sqrt(full[-1, -1] - gain @ full[:-1, -1])
    latest = (rest[-1] - gain @ rest[:-1]) / sd
    return (
        float(rest @ np.linalg.solve(full, rest)),
        float(np.linalg.slogdet(full)[1]),
        float(latest),
    )


@pytest.mark.parametrize(("power", "roughness"), [(1.0, 0.2), (1.35, 0.1), (0.8, 0.4)])
def test_sums_agree_with_the_covariance_written_out(power: float, roughness: float) -> None:
    """Bridge before the life, free wear beyond it, a bias for each session."""
    nodes = shape(power, roughness, noise=0.9)
    rng = np.random.default_rng(5)
    ages = np.sort(rng.uniform(0, 1.2 * H, 7))
    readings = tuple(
        WearReading(float(x), float(x / H + 0.05 * rng.standard_normal()), 0.06, session)
        for x, session in zip(ages, (1, 1, 2, 3, 3, 3, 4), strict=True)
    )
    batch = batch_of([readings], typical_life=H, usual_sd=0.07)
    log_lives = np.linspace(-3, 3, 61)
    found = fit_paths(batch, nodes, log_lives)
    wanted = np.array([direct(readings, nodes, end) for end in np.exp(log_lives)])
    np.testing.assert_allclose(found.square[0, 0], wanted[:, 0], rtol=1e-9)
    latest = latest_deviations(batch, nodes, log_lives)[0, 0]
    np.testing.assert_allclose(latest, wanted[:, 2], rtol=1e-7)
    first = found.log_weight[0, 0] + wanted[:, 1]
    before_all = np.exp(log_lives) < ages[0] / H
    np.testing.assert_allclose(first[before_all], 0.0, atol=1e-9)


def test_smooth_wear_is_plain_least_squares() -> None:
    readings = line(10e6, 20e6, 30e6, life_=50e6)
    found = paths_of(shape(1.0, 0.0)).log_likelihood([readings], LOG_LIVES)[0]
    ages, lives = np.array([10e6, 20e6, 30e6]), np.exp(LOG_LIVES)[:, None]
    z = (ages / 50e6 - ages / lives) / 0.05
    wanted = (-0.5 * z**2 - math.log(0.05 * math.sqrt(2 * math.pi))).sum(axis=1)
    np.testing.assert_allclose(found, wanted, rtol=1e-9)


def first_passage_density(share: float, age: float, ends: Floats, roughness: float) -> Floats:
    """Of a Wiener process without drift from `share` at `age`, closed form, ages in lives."""
    left, ahead = 1 - share, ends - age
    bell = np.exp(-(left**2) / (2 * roughness**2 * ahead))
    return np.asarray(left / (math.sqrt(2 * math.pi) * roughness * ahead**1.5) * bell)


def test_after_an_exact_reading_the_life_follows_the_first_passage_of_rough_wear() -> None:
    """Times the law of lives that the path itself supposes: passage from 0, drift apart."""
    ends = np.linspace(0.7, 3.0, 40)
    nodes, readings = shape(1.0, 0.3), (WearReading(0.6 * H, 0.55, 1e-3),)
    found = paths_of(nodes).log_likelihood([readings], np.log(ends * H))[0]
    there = -0.5 * ((0.55 - 0) / 0.3) ** 2 / 0.6
    wanted = np.log(first_passage_density(0.55, 0.6, ends, 0.3))
    wanted -= np.log(first_passage_density(0.0, 0.0, ends, 0.3))
    # A path that may drift: the bridge is the same for every drift.
    shift = (found - wanted - there).mean()
    np.testing.assert_allclose(found - wanted - there, shift, atol=1e-3)


def test_later_readings_move_and_narrow_the_life() -> None:
    paths = paths_of(shape(1.0, 0.0))
    few, many = line(10e6, 20e6, life_=45e6), line(10e6, 20e6, 30e6, 40e6, life_=45e6)
    rows = LAW + paths.log_likelihood([few, many], LOG_LIVES)
    mass = np.exp(rows - rows.max(axis=1, keepdims=True))
    mass /= mass.sum(axis=1, keepdims=True)
    mean = mass @ LOG_LIVES
    sd = np.sqrt(mass @ LOG_LIVES**2 - mean**2)
    assert sd[1] < 0.6 * sd[0] < 0.4
    assert abs(mean[1] - math.log(45e6)) < abs(mean[0] - math.log(45e6)) < 0.1


def test_after_a_reading_past_the_limit_the_life_lies_before_it() -> None:
    readings = (*line(10e6, 20e6, 30e6, life_=40e6), WearReading(44e6, 1.1, 0.02))
    found = paths_of(shape(1.0, 0.1)).log_likelihood([readings], LOG_LIVES)[0]
    mass = np.exp(found - found.max())
    assert mass[np.exp(LOG_LIVES) > 44e6].sum() < 0.02 * mass.sum()


def test_a_bias_of_the_session_counts_once() -> None:
    """Five readings of one session say little more than one; of five sessions, much more."""
    paths = paths_of(shape(1.0, 0.0, shared=0.9))
    one = [WearReading(30e6, 0.6, 0.1, 7)]
    alike = [WearReading(30e6, 0.6, 0.1, 7)] * 5
    apart = [WearReading(30e6, 0.6, 0.1, day) for day in range(5)]
    rows = paths.log_likelihood([one, alike, apart], LOG_LIVES)
    drop = rows.max(axis=1) - rows[:, 0]
    assert drop[1] < 1.1 * drop[0]
    assert drop[2] > 4.5 * drop[0]


ODD = {
    "none": (),
    "one": line(20e6),
    "one at age 0": (WearReading(0.0, 0.02, 0.05),),
    "age 0 and later": (WearReading(0.0, 0.02), WearReading(20e6, 0.3)),
    "negative": (WearReading(1e6, -0.1), WearReading(2e6, -0.05)),
    "far past the limit": (*line(10e6, 20e6), WearReading(21e6, 1e9)),
    "equal ages": (WearReading(2e7, 0.3), WearReading(2e7, 0.4), WearReading(2e7, 0.2)),
    "equal ages, one session": tuple(WearReading(2e7, 0.3, 0.05, 9) for _ in range(4)),
    "tiny sd": line(10e6, 20e6, 30e6, sd=1e-12),
    "huge sd": line(10e6, 20e6, 30e6, sd=1e300),
    "backwards": (WearReading(1e7, 0.6), WearReading(2e7, 0.1)),
    "out of order": tuple(reversed(line(1e7, 2e7, 3e7))),
    "ages beyond all": (WearReading(1e12, 0.5),),
    "many": line(*np.linspace(1e6, 5e7, 60)),
}


@pytest.mark.parametrize("case", ODD)
@pytest.mark.parametrize("span", [2.5, 60.0], ids=["usual lives", "any lives"])
def test_odd_readings_give_finite_figures(case: str, span: float) -> None:
    paths = WearPaths.learn([], typical_life=H, typical_spread=0.48)
    log_lives = math.log(H) + np.linspace(-span, span, 81)
    rows = paths.log_likelihood([ODD[case], line(20e6)], log_lives)
    assert np.isfinite(rows).all()
    tails = paths.misfits([ODD[case], line(20e6)], log_lives, np.zeros(81))
    assert ((tails >= 0) & (tails <= 1)).all()
    alone = paths.log_likelihood([ODD[case]], log_lives)
    np.testing.assert_allclose(rows[0], alone[0], rtol=1e-12)


def test_a_tool_without_readings_says_nothing() -> None:
    paths = WearPaths.learn([], typical_life=H, typical_spread=0.48)
    assert not paths.log_likelihood([(), ()], LOG_LIVES).any()
    assert paths.misfit((), LOG_LIVES, LAW) == 1.0


@pytest.mark.parametrize("unit", [1e-6, 7.3, 1e9])
def test_another_unit_of_strokes_changes_nothing(unit: float) -> None:
    tools = scattered(8, 6)

    def told(scale: float) -> tuple[Floats, Floats, list[object]]:
        moved = [tuple(replace(r, strokes=r.strokes * scale) for r in tool) for tool in tools]
        lives = [replace(life(2 * H * scale), readings=tool) for tool in moved]
        paths = WearPaths.learn(lives, typical_life=H * scale, typical_spread=0.4)
        log_lives = LOG_LIVES + math.log(scale)
        rows = paths.log_likelihood(moved, log_lives)
        return rows, paths.misfits(moved, log_lives, LAW), [paths.to_dict()["weight"]]

    for one, other in zip(told(1.0), told(unit), strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-8, atol=1e-9)


def test_cells_average_what_a_coarse_lattice_would_miss() -> None:
    """A precise gauge leaves less open than the steps of a lattice."""
    paths = paths_of(shape(1.0, 0.0))
    readings = [line(20e6, 40e6, 55e6, life_=57e6, sd=0.004)]
    coarse, fine = (math.log(H) + np.linspace(-2, 2, n) for n in (41, 4001))
    exact = np.exp(paths.log_likelihood(readings, fine)).sum() / 100
    cells = np.exp(paths.log_likelihood(readings, coarse, within=32)).sum()
    assert cells == pytest.approx(exact, rel=0.02)
    assert np.exp(paths.log_likelihood(readings, coarse)).sum() != pytest.approx(exact, rel=0.2)


@pytest.mark.parametrize("within", [1, 4])
def test_each_tool_may_be_asked_at_lives_of_its_own(within: int) -> None:
    paths = WearPaths.learn([], typical_life=H, typical_spread=0.48)
    tools = [*scattered(3, 5), (), line(20e6)]
    own = LOG_LIVES[::4] + 0.1 * np.arange(5)[:, None]
    together = paths.log_likelihood(tools, own, within=within)
    tails = paths.misfits(tools, own, -own)
    for at, tool in enumerate(tools):
        one = paths.log_likelihood([tool], own[at], within=within)
        np.testing.assert_allclose(together[at], one[0], rtol=1e-10)
        assert tails[at] == pytest.approx(paths.misfit(tool, own[at], -own[at]))


def test_what_is_taught_must_have_a_unit() -> None:
    with pytest.raises(BadField):
        WearPaths.learn([], typical_life=0.0, typical_spread=0.4)
    with pytest.raises(BadField):
        WearPaths.learn([], typical_life=H, typical_spread=math.nan)


def test_fast_enough_for_a_fleet() -> None:
    """1,000 tools of eight readings: the bar is ten times what one idle core needs."""
    tools = scattered(1000)
    lives = [replace(life(2 * H), readings=tool) for tool in tools]
    began = time.process_time()
    paths = WearPaths.learn(lives, typical_life=H, typical_spread=0.4)
    rows = paths.log_likelihood(tools, LOG_LIVES)
    taken = time.process_time() - began
    assert rows.shape == (1000, LOG_LIVES.size)
    assert taken < 2.5

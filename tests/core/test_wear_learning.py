"""What a place's lives teach of the shape of its wear."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from duestroke.inference.wear import WearPaths
from duestroke.inference.wear.resolution import resolution
from duestroke.lives import EndReason, Life, WearReading
from tests.support.lives import life
from tests.support.wear_truths import MEDIAN, finished


def learned(lives: list[Life], typical_life: float = MEDIAN) -> WearPaths:
    return WearPaths.learn(lives, typical_life=typical_life, typical_spread=0.4)


def mean(paths: WearPaths, name: str) -> float:
    nodes = paths.nodes
    return float((nodes.weight * getattr(nodes, name)).sum())


def smooth(paths: WearPaths) -> float:
    """Chance that wear has no roughness."""
    return float(paths.nodes.weight[paths.nodes.roughness == 0].sum())


@cache
def learned_of(kind: str) -> WearPaths:
    return learned(lives_of(kind))


def lives_of(kind: str, tools: int = 30, seed: int = 1) -> list[Life]:
    return finished(kind, tools, np.random.default_rng(seed))


def test_straight_wear_is_told_straight_and_smooth() -> None:
    paths = learned_of("straight")
    assert paths.learned
    assert mean(paths, "power") == pytest.approx(1.0, abs=0.06)
    assert smooth(paths) > 0.5
    assert mean(paths, "noise") == pytest.approx(1.0, abs=0.12)


def test_curved_wear_is_told_curved() -> None:
    assert mean(learned_of("curved"), "power") == pytest.approx(1.35, abs=0.09)


def test_rough_wear_is_told_rough() -> None:
    """Truth 0.5 um a root of a million strokes: 0.19 of the limit a root of a typical life."""
    paths = learned_of("rough")
    assert smooth(paths) < 0.05
    assert 0.12 < mean(paths, "roughness") < 0.28


@pytest.mark.parametrize("factor", [0.2, 5.0], ids=["far too short", "far too long"])
def test_a_wrong_handbook_life_does_not_bend_the_path(factor: float) -> None:
    paths = learned(lives_of("straight"), typical_life=factor * MEDIAN)
    assert mean(paths, "power") == pytest.approx(1.0, abs=0.08)


def test_running_lives_teach_too_without_bending_the_path() -> None:
    lives = [
        replace(life(one.readings[-1].strokes), readings=one.readings[:4])
        for one in lives_of("straight", 40)
        if len(one.readings) >= 4
    ]
    assert mean(learned(lives, typical_life=MEDIAN / 2), "power") == pytest.approx(1.0, abs=0.2)


def ring(limit_share: float, number: int, rng: np.random.Generator) -> tuple[float, Life]:
    """A ring as the demo plant gauges it, read until at `limit_share`; its true wear life too."""
    end = 6 / (0.17 * np.exp(0.22 * rng.standard_normal())) * 1e6
    readings: list[WearReading] = []
    while not readings or readings[-1].share < limit_share:
        age = len(readings) * 3.5e6 + 3.5e6 * rng.uniform(0.9, 1.1)
        error = 0.4 * rng.standard_normal() + 0.3 * rng.standard_normal()
        um = round(6 * age / end + error + 0.34 * rng.uniform(-1.5, 1.5), 1)
        readings.append(WearReading(age, um / 6, 0.1, number * 1000 + len(readings)))
    reason: EndReason = "worn" if limit_share >= 1 else "planned"
    ended = life(readings[-1].strokes, reason, low=readings[-2].strokes)
    return end, replace(ended, readings=tuple(readings))


@pytest.mark.parametrize("limit_share", [1.0, 0.85], ids=["to the limit", "pulled at 85 %"])
def test_pulls_on_a_reading_do_not_bend_the_lives(limit_share: float) -> None:
    """The median of the wear lives, by maximum likelihood from readings alone."""
    rng = np.random.default_rng(2)
    ends, lives = zip(*(ring(limit_share, at, rng) for at in range(60)), strict=True)
    paths = learned(list(lives), typical_life=34e6)
    assert mean(paths, "power") == pytest.approx(1.0, abs=0.08)
    log_lives = np.log(34e6) + np.linspace(-1.6, 1.6, 129)
    rows = paths.log_likelihood([one.readings for one in lives], log_lives)
    likelihood = np.exp(rows - rows.max(axis=1, keepdims=True))
    medians = np.log(34e6) + np.linspace(-0.4, 0.4, 81)
    laws = np.exp(-0.5 * ((log_lives - medians[:, None]) / 0.22) ** 2)
    best = medians[np.log(likelihood @ laws.T).sum(axis=0).argmax()]
    assert np.exp(best) == pytest.approx(np.median(ends), rel=0.07)


def test_fewer_than_five_read_lives_leave_the_wide_prior() -> None:
    none, four = learned([]), learned(lives_of("curved", 4))
    assert not four.learned
    assert four.lives == 4
    assert mean(four, "power") == pytest.approx(mean(none, "power"))
    assert {0.0} < set(none.nodes.roughness)
    assert none.nodes.power.min() < 0.7
    assert none.nodes.power.max() > 1.4


def test_what_gauges_are_good_for_is_learned_where_nothing_is_stated() -> None:
    rng = np.random.default_rng(4)
    lives = []
    for _ in range(15):
        ages = np.arange(1, 9) * MEDIAN / 8
        shares = ages / MEDIAN + 0.02 * rng.standard_normal(8)
        rows = zip(ages, shares, strict=True)
        readings = tuple(WearReading(float(x), float(y)) for x, y in rows)
        lives.append(replace(life(MEDIAN, "worn"), readings=readings))
    paths = learned(lives)
    assert paths.usual_sd * mean(paths, "noise") == pytest.approx(0.02, rel=0.25)


def sessions(shared: float) -> list[Life]:
    """Two readings a session whose errors have a part of their variance in common."""
    rng = np.random.default_rng(8)
    lives = []
    for tool in range(15):
        readings = []
        for day in range(1, 7):
            bias = rng.standard_normal() * np.sqrt(shared)
            for _ in range(2):
                error = 0.06 * (bias + rng.standard_normal() * np.sqrt(1 - shared))
                readings.append(WearReading(day * 8e6, day * 8e6 / MEDIAN + error, 0.06, day))
        lives.append(replace(life(MEDIAN + tool, "worn"), readings=tuple(readings)))
    return lives


@pytest.mark.parametrize("shared", [0.2, 0.8])
def test_the_part_of_the_error_that_a_session_shares_is_learned(shared: float) -> None:
    assert mean(learned(sessions(shared)), "shared") == pytest.approx(shared, abs=0.1)


def test_one_tool_read_in_place_of_another_does_not_make_the_others_rough() -> None:
    lives = lives_of("straight")
    swapped = tuple(
        replace(one, share=one.share + (0.8 if at % 2 else 0.0))
        for at, one in enumerate(lives[3].readings)
    )
    paths = learned([*lives[:3], replace(lives[3], readings=swapped), *lives[4:]])
    assert smooth(paths) > 0.3
    assert mean(paths, "noise") < 1.3


def test_the_order_of_lives_does_not_matter() -> None:
    lives = lives_of("rough", 6)
    turned = lives[:]
    random.Random(2).shuffle(turned)
    once = learned(lives).to_dict()
    assert learned(turned).to_dict() == once
    assert learned(lives).to_dict() == once


def test_a_gauge_reads_no_better_than_its_step() -> None:
    rng = np.random.default_rng(9)
    shares = np.round(rng.uniform(0, 1, 40) / 0.05) * 0.05
    assert resolution(shares) == pytest.approx(0.05)
    assert resolution(rng.uniform(0, 1, 40)) == 0.0
    assert resolution(shares[:3]) == 0.0
    rows = zip(np.arange(40) * 1e6, shares, strict=True)
    readings = tuple(WearReading(float(x), float(y), 0.001) for x, y in rows)
    paths = learned([replace(life(MEDIAN), readings=readings)])
    assert paths.least_sd == pytest.approx(0.05 / np.sqrt(12))


def test_nodes_are_few_and_weighted() -> None:
    nodes = learned_of("straight").nodes
    assert 1 <= nodes.size <= 16
    assert nodes.weight.sum() == pytest.approx(1.0)
    assert (nodes.weight > 0).all()

"""The posterior of a place under the checks that any model has to hold."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest

from duestroke.inference.ahead import remaining_quantiles, survival
from duestroke.inference.place import PlacePosterior, fit_place
from duestroke.inference.tool import ToolRecord
from duestroke.lives import Life
from tests.support.lives import life
from tests.support.model_checks import (
    Array,
    check_batch_equals_stream,
    check_monotone,
    check_prediction_is_pure,
    check_repeatable,
    check_scale_is_only_a_unit,
    check_survival_and_quantiles_agree,
    tools_of,
)
from tests.support.places import (
    HANDBOOK,
    with_groups,
    with_modes,
    with_readings,
    with_roughness,
)


@dataclass(frozen=True)
class Fit:
    """A place and the strokes left of its tools, as the engine asks for them."""

    place: PlacePosterior

    def remaining_quantiles(self, tools: Sequence[ToolRecord], levels: Array) -> Array:
        return remaining_quantiles(self.place, tools, levels)

    def survival(self, strokes: Array) -> Array:
        return survival(self.place, strokes)

    def content(self) -> str:
        return json.dumps(self.place.to_dict(), sort_keys=True)


def model(lives: Sequence[Life], handbook_life: float) -> Fit:
    return Fit(fit_place(lives, handbook_life=handbook_life))


def in_groups(lives: Sequence[Life]) -> list[Life]:
    """The same lives on three presses of two speeds, from two batches."""
    return [
        replace(
            one,
            id=f"{k}",
            press=f"works/1/0{k % 3 + 1}",
            batch=f"B{k % 2}",
            mean_speed_mps=10.0 + k % 2,
            life_number=k % 3,
            mean_roughness=1.0 + 0.02 * (k % 4),
        )
        for k, one in enumerate(lives)
    ]


EDGES: dict[str, Callable[[], list[Life]]] = {
    "no life": list,
    "one failure": lambda: [life(30e6, "broken")],
    "one running tool": lambda: [life(30e6, low=22e6)],
    "all censored": lambda: [life(k * 10e6, "planned") for k in range(1, 9)],
    "ties": lambda: [life(40e6, "broken")] * 8 + [life(40e6, "worn")] * 8,
    "zero lives": lambda: [life(0.0, "broken"), life(0.0, "planned"), life(0.0), life(4e7, "worn")],
    "entries at the very end": lambda: [life(30e6, "broken", entry=30e6), life(20e6, entry=20e6)],
    "handbook wrong by 30": lambda: [life(1500e6 + k * 1e8, "broken") for k in range(12)],
    "hardly any spread": lambda: [life(40e6 + k * 1e4, "broken") for k in range(40)],
    "spread over four decades": lambda: [life(10.0**k * 1e4, "broken") for k in range(1, 6)],
}
GROUPED = ("one failure", "all censored", "ties", "zero lives", "hardly any spread")
KINDS: dict[str, Callable[[], list[Life]]] = {
    "one law": lambda: with_groups(25),
    "two modes": lambda: with_modes(60),
    "wear readings": lambda: with_readings(12),
    "one life with a reading": lambda: with_readings(1)[:1],
    "groups and effects": lambda: in_groups(with_modes(40)),
    "roughness": lambda: with_roughness(60, 10.0),
}
CASES: dict[str, Callable[[], list[Life]]] = {
    **EDGES,
    **{f"{name}, in groups": lambda name=name: in_groups(EDGES[name]()) for name in GROUPED},
    **KINDS,
}


@cache
def fit_of(name: str) -> Fit:
    return model(CASES[name](), HANDBOOK)


@pytest.fixture(params=sorted(CASES))
def case(request) -> str:
    return request.param


@pytest.fixture
def lives(case) -> list[Life]:
    return CASES[case]()


@pytest.fixture
def fitted(case) -> Fit:
    return fit_of(case)


def test_any_record_gives_a_law(fitted, lives) -> None:
    check_monotone(fitted, tools_of(lives, HANDBOOK), HANDBOOK)
    check_survival_and_quantiles_agree(fitted)


def test_asking_changes_nothing(fitted, lives) -> None:
    check_prediction_is_pure(fitted, tools_of(lives, HANDBOOK))
    check_batch_equals_stream(fitted, tools_of(lives, HANDBOOK))


def test_readouts_are_told(fitted, lives) -> None:
    place = fitted.place
    for interval in place.parameters().values():
        assert 0 < interval.low <= interval.median <= interval.high < np.inf
    assert sum(place.family_weights.values()) == pytest.approx(1.0, abs=1e-9)
    for effect in place.effects().values():
        assert effect.interval.low <= effect.interval.median <= effect.interval.high
    for each in (*place.groups("batch"), *place.groups("press")):
        assert each.ratio.low <= each.ratio.median <= each.ratio.high
    for seen in (place.alternatives(tool) for tool in tools_of(lives, HANDBOOK)):
        assert sum(way.weight for way in seen) == pytest.approx(1.0, abs=1e-12)
        for law in (law for way in seen for law in (way.life, way.sudden) if law is not None):
            assert sum(n.weight.sum() for n in law) == pytest.approx(1.0, abs=1e-9)
            assert all((n.weight >= 0).all() for n in law)


@pytest.mark.parametrize("name", sorted(KINDS))
def test_the_same_lives_give_the_same_bytes(name) -> None:
    check_repeatable(model, KINDS[name](), HANDBOOK)


@pytest.mark.parametrize("name", sorted(KINDS))
def test_strokes_are_only_a_unit(name) -> None:
    check_scale_is_only_a_unit(model, KINDS[name](), HANDBOOK, 1e-6)

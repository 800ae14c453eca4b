"""What readings ask back: those that go backwards, that can hardly be right, that are of a set."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from duestroke.ledger.readings import (
    BACKWARDS_SHARE,
    Reading,
    is_of_set,
    near_limit,
    questions,
    unlikely,
)
from tests.support.ledgers import at_hour


def reading(hour, value, limit=6.0, **more):
    more = {"quantity": "bore", "unit": "um", "stretch": "s1", "serial": "R1"} | more
    name = more.pop("id", f"r{hour}")
    return Reading(id=name, at=at_hour(hour), entry=hour, value=value, limit=limit, **more)


def asked(*readings):
    return [(one.kind, one.reading.id, one.against) for one in questions(readings)]


def test_wear_that_grows_asks_nothing():
    assert asked(*(reading(hour, hour * 0.7) for hour in range(9))) == []


def test_a_reading_that_goes_backwards_asks_once():
    values = [1.0, 3.0, 5.0, 0.3, 0.9, 1.4]
    (question,) = questions(reading(hour, value) for hour, value in enumerate(values))
    assert (question.kind, question.reading.id, question.against) == ("backwards", "r3", "r2")
    assert "0.3 um" in question.words
    assert "5 um" in question.words


def test_a_punch_shrinks_so_its_wear_goes_down():
    punch = {"limit": -4.0, "quantity": "diameter"}
    assert asked(reading(0, -1.0, **punch), reading(1, -2.5, **punch)) == []
    assert asked(reading(0, -2.5, **punch), reading(1, -0.5, **punch))[0][0] == "backwards"


def test_without_a_limit_the_sign_of_the_last_reading_is_the_direction():
    assert asked(reading(0, 4.0, None), reading(1, 3.5, None)) == []
    assert asked(reading(0, 4.0, None), reading(1, 2.0, None))[0][0] == "backwards"
    assert asked(reading(0, -4.0, None), reading(1, -6.0, None)) == []


@pytest.mark.parametrize(("doubt", "back"), [(0.5, 0.7), (0.1, 0.2), (2.0, 2.8)])
def test_readings_may_differ_by_their_uncertainties_together(doubt, back):
    """Two readings, each within its 95 % range, differ by sqrt(2) times it (JCGM 100, 5.1.2)."""
    first = reading(0, 5.0, uncertainty=doubt)
    within = reading(1, 5.0 - 0.99 * math.sqrt(2) * doubt, uncertainty=doubt)
    beyond = reading(1, 5.0 - 1.01 * math.sqrt(2) * doubt, uncertainty=doubt)
    assert math.sqrt(2) * doubt == pytest.approx(back, abs=0.08)
    assert asked(first, within) == []
    assert asked(first, beyond) == [("backwards", "r1", "r0")]


def test_without_uncertainty_a_part_of_the_limit_is_allowed():
    allowed = BACKWARDS_SHARE * 6.0
    assert asked(reading(0, 5.0), reading(1, 5.0 - allowed)) == []
    assert asked(reading(0, 5.0), reading(1, 5.0 - allowed - 0.01))[0][0] == "backwards"


def test_a_reading_in_the_wrong_unit_is_asked_with_both_figures():
    (question,) = questions([reading(0, 5.8), reading(1, 0.006)])
    assert (question.kind, question.against) == ("implausible", "r0")
    for word in ("0.006 um", "5.8 um", "6 um"):
        assert word in question.words


def test_a_reading_far_past_its_limit_is_asked_and_the_next_is_held_against_the_one_before():
    """A ring read in another step is some 135 um off."""
    values = [(0, 2.0), (1, 135.0), (2, 2.4)]
    assert asked(*(reading(*one) for one in values)) == [("implausible", "r1", "r0")]
    assert asked(reading(0, 135.0)) == [("implausible", "r0", None)]


def test_a_reading_past_its_limit_as_wear_goes_asks_nothing():
    assert asked(reading(0, 5.0), reading(1, 9.0)) == []


def test_stretches_tools_quantities_and_units_are_not_held_against_each_other():
    first = reading(0, 5.0)
    for other in (
        {"stretch": "s2"},
        {"serial": "R2"},
        {"quantity": "land"},
        {"unit": "mm"},
    ):
        assert asked(first, replace(reading(1, 0.1), **other)) == []


@pytest.mark.parametrize(
    ("name", "of_set"),
    [
        ("wall", True),
        ("Wall thickness", True),
        ("dome_depth", True),
        ("bore", False),
        ("wallpaper", False),
        (None, False),
    ],
)
def test_wall_and_dome_depth_are_of_a_set(name, of_set):
    assert is_of_set(name) is of_set


def test_a_reading_of_a_set_asks_which_tool_is_worn_and_may_go_back():
    wall = {"quantity": "wall", "limit": 78.0, "of_set": True}
    assert asked(reading(0, 77.0, **wall), reading(1, 75.0, **wall)) == []
    (question,) = questions([reading(0, 78.2, **wall)])
    assert (question.kind, question.against) == ("set-limit", None)
    assert "several tools" in question.words


def test_a_reading_near_its_limit_is_neither_in_nor_out():
    assert near_limit(reading(0, 5.5, uncertainty=0.4)) is None
    assert "neither in nor out" in near_limit(reading(0, 5.7, uncertainty=0.4))
    assert "neither in nor out" in near_limit(reading(0, 6.3, uncertainty=0.4))
    assert near_limit(reading(0, 6.5, uncertainty=0.4)) is None
    assert near_limit(reading(0, 6.0)) is None


def test_a_first_reading_that_is_a_thousandth_of_its_limit_is_warned_of():
    assert "0.006 um" in unlikely(reading(0, 0.006))
    assert "6 um" in unlikely(reading(0, 0.006))
    assert unlikely(reading(0, 0.0)) is None
    assert unlikely(reading(0, 0.4)) is None
    assert unlikely(reading(0, 0.006, None)) is None


values = st.sampled_from([0.0, 0.006, 0.5, 2.0, 4.0, 5.5, 7.0, 135.0])


@given(st.lists(values, max_size=12), st.randoms(use_true_random=False))
def test_the_order_given_does_not_matter(given_values, shuffle):
    readings = [reading(hour, value) for hour, value in enumerate(given_values)]
    shuffled = list(readings)
    shuffle.shuffle(shuffled)
    assert questions(shuffled) == questions(readings)


@given(st.lists(values, max_size=12))
def test_a_plain_model_asks_the_same(given_values):
    """Written again in the plainest way: one loop, the last one that was believed."""
    last, expected = None, []
    for hour, value in enumerate(given_values):
        if value >= 120 or (last and last >= 0.6 and 0 < value <= last / 200):
            expected.append(("implausible", f"r{hour}"))
            continue
        if last is not None and value < last - 1.5:
            expected.append(("backwards", f"r{hour}"))
        last = value
    got = asked(*(reading(hour, value) for hour, value in enumerate(given_values)))
    assert [one[:2] for one in got] == expected

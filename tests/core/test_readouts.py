"""Read-outs of a place: surprises, life left when pulled, lines, cautions and what-if."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy.stats import hypergeom

from duestroke.errors import BadField
from duestroke.forecast import LifeBasis
from duestroke.inference.ahead import survival
from duestroke.inference.left_out import chance_by_end, like
from duestroke.inference.place import PlacePosterior, fit_place
from duestroke.inference.prior import Prior
from duestroke.inference.pulls import life_left_when_pulled
from duestroke.inference.surprises import in_words, last_surprises
from duestroke.lives import Life, WearReading
from duestroke.readouts import MORE, Assumptions, Change, told_model, told_more, what_if
from duestroke.readouts.content import middle_of
from tests.support.laws import NOW, press, tool
from tests.support.lives import life

BEGIN = datetime(2025, 1, 1, tzinfo=UTC)
HANDBOOK = 40e6
ASSUMED = Assumptions(HANDBOOK, 0.48)
BASIS = LifeBasis("ironing-ring", "ring-3", None, "test")


def rings(count: int = 36, seed: int = 1, *, read: bool = False) -> list[Life]:
    """Rings of two lines: line 1 to their end, line 2 pulled at a reading above 85 %."""
    rng = np.random.default_rng(seed)
    return [_ring(n, rng, read) for n in range(count)]


def _ring(n: int, rng: np.random.Generator, read: bool) -> Life:
    line, wear = 1 + n % 2, 35e6 * float(np.exp(0.22 * rng.standard_normal()))
    known = {
        "id": f"r{n}",
        "serial": f"IR-{n}",
        "press": f"works/{line}/0{1 + n % 4}",
        "batch": f"B{n % 3}",
        "ended_at": BEGIN + timedelta(days=n),
    }
    if n % 9 == 4:
        return replace(life(0.4 * wear, "broken"), **known)
    ages = np.arange(3.5e6, 1.2 * wear, 3.5e6)
    shares = ages / wear + 0.05 * rng.standard_normal(ages.size)
    last = int(np.argmax(shares > (1.0 if line == 1 else 0.85)))
    readings = tuple(WearReading(float(x), float(y)) for x, y in zip(ages, shares, strict=True))
    low = float(ages[last - 1]) if line == 1 else None
    one = life(float(ages[last]), "worn" if line == 1 else "planned", low=low)
    return replace(one, **known, readings=readings[: last + 1] if read else ())


@pytest.fixture(scope="module")
def lives() -> list[Life]:
    return rings()


@pytest.fixture(scope="module")
def place(lives) -> PlacePosterior:
    return fit_place(lives, handbook_life=HANDBOOK)


@pytest.fixture(scope="module")
def read_lives() -> list[Life]:
    return rings(read=True)


@pytest.fixture(scope="module")
def read_place(read_lives) -> PlacePosterior:
    return fit_place(read_lives, handbook_life=HANDBOOK)


@pytest.mark.parametrize("ends", ["broken", "mixed"])
def test_a_life_left_out_by_its_weight_is_a_life_left_out_of_the_fit(ends) -> None:
    """The same chance comes from a fit without the life, for seen, found and pulled ends."""
    rng = np.random.default_rng(4)
    ages = 40e6 * rng.weibull(2.5, 9)
    lives = [
        replace(life(float(age), "broken", entry=float(age) / 4 if n % 3 == 0 else 0.0), id=str(n))
        for n, age in enumerate(ages)
    ]
    if ends == "mixed":
        lives[2] = replace(life(50e6, "planned"), id="2")
        for n in (4, 5, 7):
            lives[n] = replace(life((20 + 5 * n) * 1e6, "worn", low=(14 + 5 * n) * 1e6), id=str(n))
    place = fit_place(lives, handbook_life=HANDBOOK)
    for n, (low, high) in enumerate(chance_by_end(place, lives)):
        one = lives[n]
        rest = fit_place(
            [*lives[:n], *lives[n + 1 :]],
            handbook_life=HANDBOOK,
            unseen_share=place.alternatives(like(one))[0].q,
        )
        good = one.strokes if one.strokes_low is None else one.strokes_low
        lasting = survival(rest, np.array([one.entry_strokes, good, one.strokes]), like(one))
        expected = 1 - lasting[1:] / lasting[0]
        assert [low, high] == pytest.approx(expected.tolist(), abs=0.02), n


def test_surprises_lie_outside_their_range_the_newest_first(place, lives) -> None:
    found = last_surprises(place, lives, {})
    chances = dict(zip([one.id for one in lives], chance_by_end(place, lives), strict=True))
    told = {one.life.id: one for one in found.last}
    for each in lives:
        low, high = chances[each.id]
        is_early = high < 0.1 and each.is_failure
        assert (each.id in told) == (is_early or low > 0.9)
    when = [one.life.ended_at for one in found.last]
    assert when == sorted(when, reverse=True)
    assert found.looked_at == len(lives)
    assert last_surprises(place, lives, {}, count=1).last == found.last[:1]
    pulled = sum(not one.is_failure for one in lives)
    assert 0.2 * (len(lives) - pulled) < found.expected < 0.2 * len(lives)


def test_what_surprises_share_is_counted_against_all(place, lives) -> None:
    """Broken rings end early here: the chance is the hypergeometric one, and jams are seen."""
    jams = {one.press: [one.ended_at] for one in lives if one.end == "broken"}
    found = last_surprises(place, lives, jams)
    (broken,) = (row for row in found.shared if (row.attribute, row.value) == ("reason", "broken"))
    failed = sum(one.is_failure for one in lives)
    assert (broken.side, broken.in_all, broken.of_all) == ("early", 4, failed)
    expected = hypergeom.sf(broken.among - 1, failed, 4, broken.surprises)
    assert broken.chance == pytest.approx(expected)
    (near,) = (row for row in found.shared if row.attribute == "jam nearby")
    assert near.value == "within a day"
    assert [row.chance for row in found.shared] == sorted(row.chance for row in found.shared)
    words = in_words(found)
    assert words[-1].startswith(f"{len(found.shared)} attributes were compared")
    assert any("reason broken" in sentence for sentence in words)


def test_life_left_is_less_the_later_a_tool_is_pulled(place) -> None:
    ages = [5e6, 15e6, 25e6, 35e6, 45e6]
    pulled = [replace(life(age, "planned"), id=str(age)) for age in ages]
    found = life_left_when_pulled(place, [*pulled, life(20e6, "broken"), life(0.0, "planned")])
    assert [one.life.strokes for one in found] == ages
    shares = [one.share[1] for one in found]
    assert shares == sorted(shares, reverse=True)
    for one in found:
        low, median, high = one.strokes
        assert 0 <= low < median < high
        assert one.share[1] == pytest.approx(median / (one.life.strokes + median))


def test_end_codes_beside_readings_on_the_line_that_pulls_on_them(read_place, read_lives) -> None:
    """True median 35 M: end codes alone come out far too long, and the caution says so."""
    told = told_model(read_place, read_lives)
    first, second = told["by_line"]
    assert (first["line"], second["line"]) == ("works/1", "works/2")
    assert second["planned_pulls"]["close_to_limit"] == second["planned_pulls"]["pulls"] > 10
    median = second["median_life"]
    assert median["low"] < 35e6 < median["high"]
    assert median["median"] == pytest.approx(35e6, rel=0.1)
    assert second["end_codes_alone"]["median"] > 1.25 * median["median"]
    (caution,) = (words for words in told["cautions"] if "end codes alone would give" in words)
    assert caution.startswith("works/2: ")
    assert f"a median of {second['end_codes_alone']['median'] / 1e6:.3g} M" in caution


def test_pulls_too_early_and_too_late_are_told_apart(read_place, read_lives) -> None:
    told = told_more(read_place, read_lives, {}, "pulls")
    late = sum(bool(one.readings) and one.readings[-1].share >= 1 for one in read_lives)
    assert told["all"]["read_past_limit"] == late > 5
    first, second = told["by_line"]
    assert (first["planned_pulls"], first["read_past_limit"]) == (0, 16)
    # Pulled at 85 % to 100 % of the limit: some tenths of the life were left.
    assert 0.02 < second["median_share_left"] < 0.2
    assert told["most_left"][0]["share_left"]["0.5"] >= second["median_share_left"]


def test_surprises_come_with_what_may_explain_them(place, lives) -> None:
    jams = {"works/1/01": [BEGIN + timedelta(days=n) for n in range(40)]}
    for one in told_more(place, lives, jams, "surprises")["last"]:
        assert one["line"] == one["press"].rsplit("/", 1)[0]
        assert one["jam_nearby"] is (one["press"] == "works/1/01")
        assert one["side"] == ("early" if one["chance"] < 0.1 else "late")


def test_the_middle_of_a_place_moves_with_its_rate() -> None:
    """At the reference it is the place's own median; at a speed it moves by the exponent."""
    rng = np.random.default_rng(3)
    speeds = np.where(np.arange(40) % 2, 10.0, 12.0)
    lives = [
        replace(life(40e6 * (11 / v) ** 2 * float(np.exp(0.2 * z)), "broken"), id=str(n))
        for n, (v, z) in enumerate(zip(speeds, rng.standard_normal(40), strict=True))
    ]
    known = [replace(one, mean_speed_mps=float(v)) for one, v in zip(lives, speeds, strict=True)]
    place = fit_place(known, handbook_life=HANDBOOK)
    reference = place.reference_speed
    median = float(np.median(middle_of(place, reference).quantile(0.5)))
    assert median == pytest.approx(place.parameters()["b50"].median, rel=0.01)
    exponent = place.effects()["rate"].interval.median
    faster = float(np.median(middle_of(place, reference * 1.1).quantile(0.5)))
    assert np.log(median / faster) == pytest.approx(exponent * np.log(1.1), abs=0.02)
    assert 1.2 < exponent < 2.8


def test_curves_by_mode_add_up(read_place, read_lives) -> None:
    curves = told_model(read_place, read_lives)["curves"]
    assert [one["mode"] for one in curves["modes"]] == ["wear", "sudden"]
    model = {one["mode"]: one["model"] for one in curves["incidence"]}
    survival_ = told_model(read_place, read_lives)["model_curve"]
    for wear, sudden, both in zip(model["wear"], model["sudden"], survival_, strict=True):
        assert wear["share"] + sudden["share"] == pytest.approx(1 - both["survival"], abs=0.01)
        # A few laws with early defects may lift the mean above most.
        assert 0 <= wear["low"] <= wear["high"]


def test_read_outs_are_the_same_each_time_and_scale_with_the_unit(lives) -> None:
    def told(scale: float) -> tuple[dict, dict]:
        scaled = [
            replace(
                one,
                strokes=one.strokes * scale,
                strokes_low=None if one.strokes_low is None else one.strokes_low * scale,
            )
            for one in lives[:14]
        ]
        place = fit_place(scaled, handbook_life=HANDBOOK * scale)
        return told_model(place, scaled), told_more(place, scaled, {}, "goodness_of_fit")

    (model, fits), (double, double_fits) = told(1.0), told(2.0)
    assert told(1.0) == (model, fits)
    for name in ("median_life", "b10", "end_codes_alone"):
        for key, value in model[name].items():
            assert double[name][key] == pytest.approx(2 * value, rel=2e-3)
    for family, one in fits["by_mode"]["all"].items():
        other = double_fits["by_mode"]["all"][family]
        assert other["anderson_darling"] == pytest.approx(one["anderson_darling"], rel=1e-4)


EDGES = {
    "none": [],
    "one-running": [life(5e6)],
    "one-failed": [life(5e6, "broken")],
    "all-censored": [life(x * 1e6, "planned") for x in (10, 20, 30)],
    "ties": [life(20e6, "broken")] * 4,
    "zero-lives": [life(0.0, "broken"), life(0.0, "planned"), life(0.0), life(9e6, "broken")],
    "found-from-zero": [life(20e6, "worn", low=0.0), life(20e6, "planned")],
    "failed-at-entry": [life(30e6, "broken", entry=30e6), life(30e6, "worn", low=15e6, entry=9e6)],
    "far-beyond": [life(5e9, "planned"), life(20e6, "broken"), life(1e3, "broken")],
}


@pytest.mark.parametrize("edge", list(EDGES))
def test_odd_records_give_plain_numbers(edge: str) -> None:
    """No warning, no number that JSON does not have."""
    lives = EDGES[edge]
    place = fit_place(lives, handbook_life=HANDBOOK)
    told = told_model(place, lives)
    more = {name: told_more(place, lives, {}, name) for name in MORE}
    json.dumps([told, more], allow_nan=False)
    assert told["median_life"]["low"] < told["median_life"]["high"]
    if not any(one.is_failure for one in lives):
        assert told["cautions"][0] == "from the handbook, no failures yet"


def sitting(**more: object):
    return press(), tool(20e6, **more)


def test_no_change_is_no_difference(lives) -> None:
    told = what_if(lives, ASSUMED, BASIS, Change(rate_factor=1.0), [sitting()], NOW)
    assert told["now"] == told["changed"]
    assert told["difference"]["median_life"] == {"strokes": 0.0, "ratio": 1.0}
    (one,) = told["tools"]
    assert set(one["difference"]["remaining_strokes"].values()) == {0.0}
    assert told["words"][1] == "0 of 1 tools change their state"


def test_lives_left_out_give_the_fit_without_them(lives) -> None:
    out = frozenset(one.id for one in lives if one.batch == "B0")
    told = what_if(lives, ASSUMED, BASIS, Change(leave_out=out), [], NOW)
    kept = [one for one in lives if one.id not in out]
    alone = what_if(kept, ASSUMED, BASIS, Change(strokes_per_day=1.0), [], NOW)
    assert told["changed"]["spread"] == alone["now"]["spread"]
    assert told["changed"]["lives"] == len(kept)


def test_another_handbook_and_prior_move_a_place_with_few_lives() -> None:
    few = [life(30e6, "broken")]
    change = Change(handbook_life=80e6, prior=Prior(median_scale=0.02))
    told = what_if(few, ASSUMED, BASIS, change, [sitting()], NOW)
    assert told["changed"]["median_life"]["median"] == pytest.approx(80e6, rel=0.05)
    assert told["tools"][0]["difference"]["due_days"]["0.5"] > 0


def test_a_lower_limit_shortens_lives_and_a_higher_one_lengthens_them(read_lives) -> None:
    """Straight wear: life goes with the limit, and a tool's readings are held against it."""
    readings = (WearReading(10e6, 0.3), WearReading(19e6, 0.57))
    seats = [sitting(readings=readings)]
    ratios, left = [], []
    for factor in (0.7, 1.4):
        told = what_if(read_lives, ASSUMED, BASIS, Change(limit_factor=factor), seats, NOW)
        ratios.append(told["difference"]["median_life"]["ratio"])
        left.append(told["tools"][0]["difference"]["remaining_strokes"]["0.5"])
    assert ratios[0] == pytest.approx(0.7, abs=0.1)
    # Sudden failures take their part of what a higher limit would give.
    assert 1.15 < ratios[1] < 1.45
    assert left[0] < 0 < left[1]


def test_a_reading_past_the_lower_limit_is_past_it(read_lives) -> None:
    seats = [sitting(readings=(WearReading(19e6, 0.8),))]
    told = what_if(read_lives, ASSUMED, BASIS, Change(limit_factor=0.75), seats, NOW)
    assert told["tools"][0]["changed"]["state"] == "overdue"
    assert told["tools"][0]["now"]["state"] != "overdue"


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"rate_factor": 0.0}, "rate_factor"),
        ({"strokes_per_day": -1.0}, "strokes_per_day"),
        ({"limit_factor": float("nan")}, "limit_factor"),
        ({"rate_factor": 1.1, "strokes_per_day": 1e5}, "strokes_per_day"),
    ],
    ids=["rate", "pace", "limit", "both"],
)
def test_a_change_that_cannot_be_names_the_field(change, field) -> None:
    with pytest.raises(BadField) as refused:
        Change(**change)
    assert refused.value.field == field


def test_a_change_that_does_not_suit_the_lives_names_the_field(lives) -> None:
    for change, field in (
        (Change(limit_factor=1.2), "limit_factor"),
        (Change(leave_out=frozenset({"r1", "nobody"})), "leave_out"),
    ):
        with pytest.raises(BadField) as refused:
            change.of_lives(lives)
        assert refused.value.field == field

"""How lives ended, from stretches and looks; and whether the end came before a stop."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from duestroke.score import Ending, Look, Stretch, came_before, ending

BEGIN = datetime(2026, 1, 1, tzinfo=UTC)
NOW = BEGIN + timedelta(days=100)
PER_DAY = 1_000


def day(number: float) -> datetime:
    return BEGIN + timedelta(days=number)


def stretch(start: float, end: float | None, reason: str | None = None) -> Stretch:
    """A stretch in a press that makes 1,000 strokes a day from day 0 on."""
    until = 100.0 if end is None else end
    pulled = None if end is None else day(end)
    return Stretch(day(start), int(start * PER_DAY), int(until * PER_DAY), pulled, reason)


def look(at: float, verdict: str, number: int = 0) -> Look:
    total = int(at * PER_DAY)
    return Look(number, day(at), total, is_good=verdict == "good", is_worn=verdict == "worn")


def ended(stretches, looks=(), *, first: int = 0, as_of: float = 20) -> Ending | None:
    return ending(stretches, looks, first, day(as_of), int(as_of * PER_DAY), NOW)


def test_a_tool_that_is_in_runs_on() -> None:
    found = ended([stretch(0, None)])
    assert found == Ending("running", 80_000, None, NOW, None)


@pytest.mark.parametrize("reason", ["broken", "can-defect", "worn"])
def test_a_failure_without_a_look_was_seen_when_it_came(reason) -> None:
    found = ended([stretch(0, 50, reason)])
    assert found == Ending("exact", 30_000, 30_000, day(50), day(50))


@pytest.mark.parametrize("reason", ["planned", "collateral", "size-change", "other"])
def test_any_other_pull_leaves_the_end_open(reason) -> None:
    found = ended([stretch(0, 50, reason)])
    assert found == Ending("censored", 30_000, None, day(50), None)


def test_worn_found_lies_after_the_last_good_look() -> None:
    looks = [look(30, "good"), look(40, "good")]
    found = ended([stretch(0, 50, "worn")], looks)
    assert found == Ending("interval", 20_000, 30_000, day(40), day(50))


def test_a_good_look_before_the_forecast_leaves_all_open_up_to_the_find() -> None:
    found = ended([stretch(0, 50, "worn")], [look(10, "good")])
    assert found == Ending("interval", 0, 30_000, day(20), day(50))


def test_good_at_the_very_pull_means_that_it_was_seen() -> None:
    gone = Look(0, day(49.9), 50_000, is_good=True)
    assert ended([stretch(0, 50, "worn")], [gone]).outcome == "exact"


@pytest.mark.parametrize("reason", ["planned", "worn", "broken"])
def test_found_at_its_limit_is_the_end_whatever_the_pull_says(reason) -> None:
    looks = [look(30, "good"), look(40, "worn")]
    found = ended([stretch(0, 50, reason)], looks)
    assert found == Ending("interval", 10_000, 20_000, day(30), day(40))


def test_a_later_good_look_takes_a_find_back() -> None:
    looks = [look(30, "worn"), look(40, "good")]
    assert ended([stretch(0, 50, "planned")], looks).outcome == "censored"


def test_one_already_found_at_its_limit_is_no_forecast() -> None:
    assert ended([stretch(0, 50, "worn")], [look(15, "worn")]) is None


def test_found_on_the_bench_counts_at_the_pull() -> None:
    bench = Look(0, day(52), 50_000, is_worn=True)
    found = ended([stretch(0, 50, "planned")], [look(30, "good"), bench])
    assert (found.outcome, found.left_low, found.left_high) == ("interval", 10_000, 30_000)


def test_a_life_goes_on_in_its_next_stretch_but_its_date_does_not() -> None:
    parts = [stretch(0, 50, "planned"), stretch(60, 70, "broken")]
    found = ended(parts)
    assert (found.outcome, found.left_low, found.left_high) == ("exact", 40_000, 40_000)
    assert (found.at_low, found.at_high) == (day(50), None)
    second = ended(parts, first=1, as_of=65)
    assert second == Ending("exact", 5_000, 5_000, day(70), day(70))


def test_looks_of_an_earlier_stretch_bound_the_end_too() -> None:
    parts = [stretch(0, 50, "planned"), stretch(60, 70, "worn")]
    found = ended(parts, [look(40, "good")], first=1, as_of=65)
    assert (found.outcome, found.left_low, found.left_high) == ("interval", 0, 5_000)


STOP = {"from_stop": 10_000.0, "to_stop": 10_100.0, "stop_at": day(30)}


@pytest.mark.parametrize(
    ("low", "high", "out", "came"),
    [
        (9_000, 9_000, 29, True),
        (10_050, 10_050, 30, True),
        (10_200, 10_200, 31, False),
        (4_000, 10_100, 30, True),
        (4_000, 12_000, 32, None),
        (10_000, 12_000, 32, False),
        (10_050, None, 30, False),
        (8_000, None, 28, None),
        (80_000, None, None, False),
    ],
    ids=[
        *("before", "in the stop", "after", "found in the stop", "found later", "good then"),
        *("pulled in the stop", "pulled before", "still in"),
    ],
)
def test_whether_the_end_came_before_a_stop(low, high, out, came) -> None:
    end = Ending("exact", low, high, day(20), None)
    assert came_before(end, **STOP, out_at=None if out is None else day(out)) is came


def gauged(at: float, share: float, verdict: str = "", margin: float = 0.05) -> Look:
    total = int(at * PER_DAY)
    told = {"is_good": verdict == "good", "is_worn": verdict == "worn"}
    return Look(0, day(at), total, **told, share=share, margin=margin, age=float(total))


def test_a_gauge_leaves_a_doubt_on_either_side_of_the_limit() -> None:
    """Read at 1.02 give or take 0.05: straight wear passes the limit by age / 0.97."""
    looks = [gauged(40, 0.97, "good"), gauged(50, 1.02, "worn")]
    found = ended([stretch(0, 50, "worn")], looks)
    assert found.outcome == "interval"
    assert found.left_low == pytest.approx(40_000 / 1.02 - 20_000)
    assert found.left_high == pytest.approx(50_000 / 0.97 - 20_000)
    assert found.at_low < day(40)
    assert day(50) < found.at_high < day(53)
    assert came_before(found, 30_000, 30_000, day(50), day(50)) is True, "found in that stop"


def test_a_gauge_that_is_sure_leaves_none() -> None:
    looks = [gauged(40, 0.9, "good"), gauged(50, 1.2, "worn")]
    found = ended([stretch(0, 50, "worn")], looks)
    assert (found.left_low, found.left_high) == (20_000, 30_000)


def test_called_worn_short_of_its_limit_the_end_was_still_ahead() -> None:
    looks = [gauged(40, 0.8, "good"), gauged(50, 0.97)]
    found = ended([stretch(0, 50, "worn")], looks)
    assert found.left_high == pytest.approx(50_000 / 0.92 - 20_000)

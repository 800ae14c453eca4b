"""Forecasts of tools: ranges, due times, chances, states, silence, intervals, cautions."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from duestroke.calendar import Calendar
from duestroke.errors import BadField
from duestroke.forecast import (
    Forecast,
    LifeBasis,
    PressFacts,
    ToolFacts,
    answer,
    forecast_press,
    forecast_presses,
)
from duestroke.forecast.dates import LEVELS
from duestroke.forecast.digest import canonical
from duestroke.forecast.facts import OddBatch
from duestroke.forecast.result import due_at, level_key, remaining_at
from duestroke.inference.tool import Alternative, ToolRecord
from duestroke.inference.wear import WearPaths
from duestroke.lives import WearReading
from duestroke.times import parse_time, to_micros
from tests.support.laws import NOW, PRESS, WeibullLaw, basis, press, rate, tool, weekly

LAW = WeibullLaw()
UNSEEN = basis(WeibullLaw(unseen=0.5))
READ = tuple(WearReading(x * 1e6, x / 40, 0.02, int(x)) for x in (4.0, 9.0, 14.0, 19.0))


NOTHING_LEARNED = WearPaths.learn([], typical_life=50e6, typical_spread=0.4)


@dataclass(frozen=True)
class ReadLaw(WeibullLaw):
    """Wear by the Weibull law, with readings; a sudden mode beside it."""

    paths: WearPaths | None = NOTHING_LEARNED

    def alternatives(self, tool: ToolRecord) -> tuple[Alternative, ...]:
        (seen,) = super().alternatives(tool)
        (sudden,) = WeibullLaw(1.2, 200e6).alternatives(tool)
        return (replace(seen, sudden=sudden.life),)


WORN = basis(ReadLaw(), readings_used=True)


def made(
    facts: PressFacts | None = None, ring: ToolFacts | None = None, lives: LifeBasis | None = None
) -> Forecast:
    pair = (ring or tool(), lives or basis(LAW))
    return forecast_press(facts or press(), [pair], NOW)[0]


ages = st.floats(0, 120e6)
silences = st.one_of(st.just(0.01), st.floats(0, 40 * 24))
rates = st.one_of(st.none(), st.floats(1_000, 650_000))


@st.composite
def cases(draw: st.DrawFn) -> Forecast:
    per_day = draw(rates)
    facts = press(
        as_of=NOW - timedelta(hours=draw(silences)),
        rate=None if per_day is None else rate(per_day, variance=draw(st.floats(0.01, 2))),
        calendar=weekly(draw(st.integers(0, 5)), draw(st.floats(-0.1, 9))),
        counter_stands_since=draw(st.sampled_from([None, NOW - timedelta(hours=3)])),
    )
    age = draw(st.one_of(st.none(), ages))
    good = None if age is None else draw(st.one_of(st.none(), st.floats(0, age)))
    ring = tool(
        age,
        good_at=good,
        interval_strokes=draw(st.one_of(st.none(), st.floats(1e6, 2e8))),
        interval_days=draw(st.one_of(st.none(), st.floats(1, 400))),
    )
    return made(facts, ring, basis(WeibullLaw(2.5, 50e6, draw(st.floats(0, 1)))))


@st.composite
def cases_of_press(draw: st.DrawFn) -> tuple[PressFacts, list[tuple[ToolFacts, LifeBasis]]]:
    per_day = draw(rates)
    facts = press(
        press=f"works/1/{draw(st.integers(1, 99)):02d}",
        as_of=NOW - timedelta(hours=draw(silences)),
        rate=None if per_day is None else rate(per_day),
    )
    aged = draw(st.lists(ages, min_size=1, max_size=3))
    tools = [(tool(age, good_at=age * 0.7), UNSEEN) for age in aged]
    return facts, [*tools, (tool(20e6, readings=READ), WORN)]


@given(cases())
def test_ranges_and_chances_are_in_order_and_never_in_the_past(forecast):
    assert forecast.remaining is not None
    remaining = np.array(forecast.remaining)
    assert np.all(remaining >= 0)
    assert np.all(np.diff(remaining) >= 0)
    due = [at for at in forecast.due_us or () if at is not None]
    assert due == sorted(due)
    assert all(at >= to_micros(NOW) for at in due)
    chances = [each.chance for each in forecast.chances]
    assert chances == sorted(chances)
    assert all(0 <= chance <= 1 for chance in chances)
    assert len(chances) >= 3
    if forecast.interval is not None:
        reached = [at for at in forecast.interval.due_us if at is not None]
        assert reached == sorted(reached)
        assert all(at >= to_micros(NOW) for at in reached)


@given(cases(), st.lists(st.floats(0.0001, 0.9999), min_size=1, max_size=12))
def test_any_levels_are_answered_in_order(forecast, levels):
    told = answer(forecast, levels)
    keys = [level_key(level) for level in sorted(set(levels))]
    assert list(told["remaining_strokes"]) == list(told["due"]) == keys
    remaining = list(told["remaining_strokes"].values())
    assert remaining == sorted(remaining)
    due = [parse_time(at) for at in told["due"].values() if at is not None]
    assert due == sorted(due)
    assert all(at >= NOW for at in due)
    json.dumps(told)


@given(cases())
def test_the_same_facts_give_the_same_bytes(forecast):
    again = canonical([answer(forecast), forecast.inputs, forecast.digest])
    assert again == canonical([answer(forecast), forecast.inputs, forecast.digest])
    assert len(forecast.digest) == 64


def test_two_runs_over_the_same_facts_are_equal_and_another_fact_changes_the_digest():
    first, second = made(), made()
    assert first == second
    assert made(ring=tool(20e6 + 1)).digest != first.digest
    assert made(facts=press(max_spm=481)).digest != first.digest


def test_adding_a_tool_does_not_move_the_others():
    pair, other = (tool(), basis(LAW)), (tool(31e6, position="ring-2"), basis(LAW))
    alone = forecast_press(press(), [pair], NOW)[0]
    beside = forecast_press(press(), [other, pair], NOW)[1]
    assert alone == beside


@settings(max_examples=8)
@given(st.lists(cases_of_press(), min_size=2, max_size=4))
def test_presses_together_are_what_each_is_alone(presses):
    """Silent or not, moving or not, measured or not: the same bytes."""
    together = forecast_presses(presses, NOW)
    alone = [forecast_press(facts, tools, NOW) for facts, tools in presses]
    assert together == alone


def test_keys_are_levels_in_shortest_form():
    assert [level_key(level) for level in (0.1, 0.50, 0.025, 0.00001)] == [
        *("0.1", "0.5", "0.025", "0.00001")
    ]


@pytest.mark.parametrize("level", [0, 1, -0.1, 1.5, float("nan")])
def test_levels_outside_zero_and_one_are_refused(level):
    with pytest.raises(BadField) as fault:
        answer(made(), [0.5, level])
    assert fault.value.field == "levels"


def test_kept_levels_come_back_as_they_were():
    forecast = made()
    assert remaining_at(forecast, LEVELS.tolist()) == pytest.approx(list(forecast.remaining or ()))
    due = [to_micros(at) for at in due_at(forecast, LEVELS.tolist()) if at is not None]
    assert due == pytest.approx(list(forecast.due_us or ()))


def test_strokes_left_are_the_laws_own():
    """Weibull 2.5, 50 M at 20 M: closed form."""
    told = answer(made())["remaining_strokes"]
    for level in (0.1, 0.5, 0.9):
        hazard = (20 / 50) ** 2.5 - np.log(1 - level)
        assert told[level_key(level)] == pytest.approx(50e6 * hazard**0.4 - 20e6, rel=1e-3)


def test_due_dates_are_strokes_over_the_rate_through_the_calendar():
    """With an almost certain rate the median due is the median strokes at that rate, plus stops."""
    sure = press(rate=replace(rate(variance=1e-6), days=1e6), calendar=weekly(20))
    forecast = made(sure)
    left = answer(forecast)["remaining_strokes"]["0.5"]
    running = timedelta(days=left / 500_000)
    due = parse_time(answer(forecast)["due"]["0.5"])
    stops = sum(stop.start < due for stop in weekly(20).stops)
    plain = NOW - timedelta(minutes=1) + running + timedelta(hours=4 * stops)
    assert abs(due - plain) < timedelta(hours=6)


def test_nothing_is_due_beyond_fifty_years():
    slow = made(press(rate=rate(1_000)))
    told = answer(slow)["due"]
    assert told["0.9"] is None
    assert answer(slow)["remaining_strokes"]["0.9"] > 0


# States, by the contract's rules. Stops are at 2, 9 and 16 days.


def chances_of(forecast: Forecast) -> list[float]:
    return [each.chance for each in forecast.chances]


@pytest.mark.parametrize(
    ("age", "state"),
    [(1e6, "fine"), (34e6, "fine"), (40e6, "plan"), (55e6, "plan"), (58e6, "this-stop")],
)
def test_states_follow_the_quarter_rule(age, state):
    forecast = made(ring=tool(age))
    _, second, third = chances_of(forecast)[:3]
    by_rule = "this-stop" if second >= 0.25 else "plan" if third >= 0.25 else "fine"
    assert forecast.state == by_rule == state


def test_more_likely_past_than_not_is_overdue():
    worn_unseen = basis(WeibullLaw(2.5, 50e6, unseen=0.95))
    forecast = made(ring=tool(70e6, good_at=10e6), lives=worn_unseen)
    assert forecast.state == "overdue"
    assert parse_time(answer(forecast)["due"]["0.5"]) == NOW


def test_read_past_its_limit_is_overdue():
    forecast = made(ring=tool(1e6, read_past_limit=True))
    assert forecast.state == "overdue"
    assert any("past the limit" in words for words in forecast.basis["cautions"])
    told = answer(forecast)
    assert told["remaining_strokes"] == {"0.1": 0, "0.5": 0, "0.9": 0}
    assert {parse_time(at) for at in told["due"].values()} == {NOW}
    assert {each["chance"] for each in told["chance_before"]} == {1.0}


def test_without_a_basis_nothing_can_be_told():
    forecast = made(lives=LifeBasis("ironing-ring", "ring-3", None, "none"))
    assert forecast.state == "cant-tell"
    told = answer(forecast)
    assert told["remaining_strokes"] == {"0.1": None, "0.5": None, "0.9": None}
    assert told["chance_before"] == []
    assert any("no basis" in words for words in told["basis"]["cautions"])


def test_a_counter_that_stands_while_the_ram_moves_cannot_tell():
    """In an hour up to 1.25 x 480 x 60 + 50 strokes are plausible."""
    heard = NOW - timedelta(minutes=1)
    facts = press(as_of=heard, counter_stands_since=heard - timedelta(hours=1))
    forecast = made(facts)
    assert forecast.state == "cant-tell"
    said = [words for words in forecast.basis["cautions"] if "while the ram moves" in words]
    assert said == [
        "the press's counter has stood still since 2026-06-01T10:59:00Z while the ram moves: "
        "up to 36,050 strokes were not counted"
    ]


# Silence


def test_silence_widens_the_range_by_what_may_have_run():
    """At 480 a minute, ten hours may hold 288,000 strokes."""
    heard, silent = made(), made(press(as_of=NOW - timedelta(hours=10)))
    before, after = (answer(each, [0.1, 0.9])["remaining_strokes"] for each in (heard, silent))
    assert before["0.1"] - after["0.1"] == pytest.approx(0.9 * 288_000, abs=1)
    assert before["0.9"] - after["0.9"] == pytest.approx(0.1 * 288_000, abs=1)
    assert any("288,000" in words for words in silent.basis["cautions"])
    assert silent.basis["as_of"] == "2026-06-01T02:00:00Z"


def test_a_late_report_within_a_quarter_of_an_hour_is_no_silence():
    forecast = made(press(as_of=NOW - timedelta(minutes=14)))
    assert not any("no report" in words for words in forecast.basis["cautions"])


def test_silence_cannot_tell_only_where_the_state_hangs_on_it():
    silent = press(as_of=NOW - timedelta(days=8))
    assert made(silent, tool(1e6)).state == "fine"
    assert made(silent, tool(60e6)).state == "this-stop"
    assert made(press(), tool(30e6)).state == "fine"
    assert made(silent, tool(30e6)).state == "cant-tell"


def test_a_press_that_never_reported_cannot_tell():
    never = press(as_of=None, rate=None, registered=NOW - timedelta(days=200))
    forecast = made(never, tool(0.0, began=NOW - timedelta(days=100)))
    assert forecast.state == "cant-tell"
    assert forecast.basis["as_of"] is None
    assert any("never reported" in words for words in forecast.basis["cautions"])


def test_a_press_that_never_moved_has_no_due_date_and_no_chance_beyond_now():
    forecast = made(press(rate=None))
    assert forecast.state == "fine"
    assert answer(forecast)["due"] == {"0.1": None, "0.5": None, "0.9": None}
    assert set(chances_of(forecast)) == {0.0}
    assert any("never moved" in words for words in forecast.basis["cautions"])


# Intervals


def interval(**more: object) -> ToolFacts:
    return tool(20e6, **more)


def test_an_interval_counts_strokes_and_its_range_comes_from_the_rate_alone():
    forecast = made(ring=interval(interval_strokes=30e6))
    told = answer(forecast)["interval"]
    assert told["strokes_left"] == 10e6
    low, mid, high = (parse_time(told["due"][key]) for key in ("0.1", "0.5", "0.9"))
    assert mid - NOW == pytest.approx(timedelta(days=20, hours=12), abs=timedelta(hours=1))
    assert timedelta(days=1) < high - low < timedelta(days=8)
    wider = made(press(rate=rate(variance=0.5)), interval(interval_strokes=30e6))
    due = answer(wider)["interval"]["due"]
    assert parse_time(due["0.9"]) - parse_time(due["0.1"]) > high - low


def test_days_count_from_the_fit_and_the_earlier_of_both_holds():
    ring = interval(interval_strokes=30e6, interval_days=60)
    told = answer(made(ring=ring))["interval"]
    assert set(told["due"].values()) == {"2026-06-11T12:00:00Z"}
    days_only = answer(made(ring=interval(interval_days=60)))["interval"]
    assert days_only["strokes_left"] is None
    assert days_only["due"]["0.5"] == "2026-06-11T12:00:00Z"


@pytest.mark.parametrize(
    ("days", "state"), [(49, "overdue"), (58, "this-stop"), (65, "plan"), (90, "fine")]
)
def test_states_of_an_interval(days, state):
    """Began 50 days ago: reached 1 day ago, in 8 days (before the second stop), in 15, in 40."""
    fresh = replace(tool(1e6), interval_days=days)
    assert made(ring=fresh).state == state


def test_an_interval_alone_needs_no_basis():
    none = LifeBasis("press", "press", None, "none")
    own = tool(20e6, interval_strokes=400e6, interval_days=400, position="press", kind="press")
    assert made(ring=own, lives=none).state == "fine"
    assert made(ring=replace(own, interval_days=10), lives=none).state == "overdue"


def test_an_interval_reached_in_silence_only_perhaps_cannot_tell():
    silent = press(as_of=NOW - timedelta(days=8))
    ring = tool(20e6, interval_strokes=22e6)
    assert made(press(), ring).state == "this-stop"
    assert made(silent, ring).state == "cant-tell"
    low = answer(made(silent, ring))["interval"]["due"]["0.1"]
    assert parse_time(low) == NOW


# Cautions


def words_of(forecast: Forecast) -> str:
    return " / ".join(forecast.basis["cautions"])


def test_planned_pulls_close_under_the_limit_are_said():
    many = basis(LAW, planned_close=11, ends=30)
    few = basis(LAW, planned_close=10, ends=30)
    assert "close under it" in words_of(made(lives=many))
    assert "close under it" not in words_of(made(lives=few))


def test_where_readings_are_used_the_close_pulls_say_so():
    used = words_of(made(lives=basis(LAW, planned_close=11, ends=30, readings_used=True)))
    unused = words_of(made(lives=basis(LAW, planned_close=11, ends=30)))
    assert "here their readings are used" in used
    assert "are used" not in unused


def test_readings_and_modes_stand_in_the_basis():
    forecast = made(ring=tool(20e6, readings=READ), lives=WORN)
    wear = forecast.basis["wear"]
    assert wear["readings"] == 4
    assert wear["fits"] is True
    # The line through the readings is at its limit after 40 M.
    assert wear["alone"]["0.5"] == pytest.approx(20e6, rel=0.03)
    modes = forecast.basis["modes"]
    assert modes["wear"] + modes["sudden"] == pytest.approx(1)
    assert 0.5 < modes["wear"] < 1
    assert "rests on 4 readings of its own wear" in words_of(forecast)
    assert "modes" not in made().basis
    assert made().basis["wear"] is None


def test_a_reading_that_does_not_fit_is_said_with_what_the_line_alone_leaves():
    odd = (*READ[:-1], replace(READ[-1], share=0.02))
    forecast = made(ring=tool(20e6, readings=odd), lives=WORN)
    assert forecast.basis["wear"]["fits"] is False
    assert "the trend does not fit" in words_of(forecast)


def test_another_speed_is_said_with_what_is_known_of_it():
    ring = tool(20e6, speed_so_far=4.0, speed_now=4.4)
    known = words_of(made(ring=ring, lives=basis(LAW, rate_exponent=(1.3, 0.9, 1.7))))
    assert "4.40 m/s, over its life at 4.00" in known
    assert "-1.3 (0.9 to 1.7)" in known
    unknown = words_of(made(ring=ring, lives=basis(LAW, rate_unknown=True)))
    assert "not known from these records" in unknown
    steady = tool(20e6, speed_so_far=4.0, speed_now=4.05)
    assert "m/s" not in words_of(made(ring=steady, lives=basis(LAW, rate_unknown=True)))


def test_an_open_question_is_said():
    asked = tool(20e6, open_question="was this tool changed?")
    assert "open question: was this tool changed?" in words_of(made(ring=asked))


def test_the_handbook_is_said():
    told = words_of(made(lives=basis(LAW, failures=0, handbook_is_default=True)))
    assert "from the handbook, no failures yet" in told
    assert "default, not your plant's" in told


def test_a_young_record_and_a_shut_down_are_said():
    young = press(rate=rate(days=3))
    assert "3.0 running days only" in words_of(made(young))
    stood = press(rate=replace(rate(), stood_since=NOW - timedelta(days=20)))
    assert "stood since 2026-05-12" in words_of(made(stood))


def test_an_unknown_age_is_forecast_from_the_stationary_law():
    """Fitted just now, age unknown: mean strokes left is E[T^2] / 2 E[T] (renewal theory)."""
    forecast = made(ring=tool(None, strokes_since_fit=0.0))
    assert forecast.strokes is None
    assert "age at fit unknown" in words_of(forecast)
    rng = np.random.default_rng(1)
    lives = 50e6 * rng.weibull(2.5, 1_000_000)
    left = rng.choice(lives, 300_000, p=lives / lives.sum()) * rng.random(300_000)
    told = remaining_at(forecast, [0.1, 0.5, 0.9])
    assert told == pytest.approx(np.quantile(left, [0.1, 0.5, 0.9]), rel=0.02)


def test_without_any_stop_three_instants_stand_in():
    forecast = made(press(calendar=Calendar()))
    assert [each.stop for each in forecast.chances] == [None, None, None]
    assert [(each.at - NOW).days for each in forecast.chances] == [7, 14, 21]
    assert forecast.press == PRESS


def cautions_of(ring: ToolFacts, lives: LifeBasis) -> str:
    return " ".join(made(ring=ring, lives=lives).basis["cautions"])  # type: ignore[arg-type]


def test_an_odd_batch_and_a_rough_ram_are_said_with_their_figures():
    odd = {"PB-1": OddBatch(0.67, 0.55, 0.82, 9, 3)}
    lives = basis(LAW, odd_batches=odd, rough_matters=True)
    said = cautions_of(tool(20e6, batch="PB-1", rough_now=1.084), lives)
    assert "its batch PB-1 lasts 0.67 of what the others do (0.55 to 0.82; 3 of 9 failed)" in said
    assert "the ram runs 8 % rougher (K)" in said
    assert "not known from these records" in said
    known = replace(lives, rough_known=True)
    assert "not known" not in cautions_of(tool(20e6, rough_now=1.084), known)
    even = cautions_of(tool(20e6, batch="PB-2", rough_now=1.01), lives)
    assert "batch" not in even
    assert "rougher" not in even

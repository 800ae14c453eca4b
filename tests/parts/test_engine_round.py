"""Rounds of the engine on a real database: what is forecast anew, and what it says."""

from __future__ import annotations

import json
import uuid
from dataclasses import replace
from datetime import timedelta

import pytest

from duestroke.forecast import answer
from duestroke.forecast.digest import canonical
from duestroke.ledger import ToolEvent
from duestroke.lives import Life
from engine.cycle import Forecaster
from store.stops import Stop
from store.unit import Unit, connect
from tests.support.plants import NOW, fit_tool, pull_tool, register, report, steady

PRESS = "works/1/01"


@pytest.fixture
def conn(database_url):
    with connect(database_url) as conn:
        yield conn


def plant(conn, *, days: float = 60, per_minute: float = 400) -> None:
    """One press that ran for some days with a punch and a ring in it from the start."""
    with Unit(conn) as unit:
        register(unit, PRESS)
        report(unit, PRESS, steady(days, per_minute=per_minute, every_minutes=240))
        begin = NOW - timedelta(days=days)
        fit_tool(unit, "PU-1", PRESS, "punch", begin)
        fit_tool(unit, "IR-1", PRESS, "ring-3", begin)
        unit.commit()


def stands(conn) -> dict[str, dict[str, object]]:
    with Unit(conn) as unit:
        return {each.position: answer(each) for each in unit.forecasts.current(PRESS)}


def test_a_tool_without_any_past_life_is_forecast_from_the_prior(conn):
    plant(conn)
    done = Forecaster().round(conn, NOW)
    assert (done.presses, done.forecasts, done.on_record) == (1, 2, 2)
    ring = stands(conn)["ring-3"]
    assert ring["strokes"] == pytest.approx(60 * 1440 * 400)
    assert ring["basis"]["prior_only"] is True
    assert ring["basis"]["failures"] == 0
    assert ring["rate"]["strokes_per_day"] == pytest.approx(576_000, rel=1e-3)
    assert ring["basis"]["as_of"] == "2026-06-01T12:00:00Z"
    cautions = " ".join(ring["basis"]["cautions"])
    assert "from the handbook, no failures yet" in cautions
    assert "default, not your plant's" in cautions


def test_nothing_new_makes_nothing_new_until_a_forecast_is_old(conn):
    plant(conn)
    forecaster = Forecaster()
    forecaster.round(conn, NOW)
    assert forecaster.round(conn, NOW + timedelta(seconds=5)).presses == 0
    assert forecaster.round(conn, NOW + timedelta(minutes=1)).presses == 1


def test_reports_alone_can_wait_while_the_ledger_is_followed(conn):
    plant(conn)
    forecaster = Forecaster()
    forecaster.round(conn, NOW)
    soon = NOW + timedelta(minutes=1)
    with Unit(conn) as unit:
        last = steady(60, every_minutes=240)[-1]
        moved = last._replace(seq=last.seq + 1, at=last.at + 60_000_000, strokes=last.strokes + 400)
        report(unit, PRESS, [moved])
        unit.commit()
    assert forecaster.round(conn, soon, with_reports=False).presses == 0
    with Unit(conn) as unit:
        fit_tool(unit, "ST-1", PRESS, "stripper", soon)
        unit.commit()
    assert forecaster.round(conn, soon, with_reports=False).presses == 1
    assert set(stands(conn)) == {"punch", "ring-3", "stripper"}


def test_the_same_record_gives_the_same_bytes_in_another_engine(conn):
    plant(conn)
    made = []
    for _ in range(2):
        Forecaster().round(conn, NOW)
        with Unit(conn) as unit:
            current = unit.forecasts.current()
        made.append([canonical([answer(f), f.inputs, f.digest, f.remaining]) for f in current])
    assert made[0] == made[1]


def test_a_pulled_tool_loses_its_forecast_and_its_history_stays(conn):
    plant(conn)
    forecaster = Forecaster()
    forecaster.round(conn, NOW)
    with Unit(conn) as unit:
        pull_tool(unit, "IR-1", NOW, "broken")
        unit.commit()
    forecaster.round(conn, NOW + timedelta(seconds=1))
    assert set(stands(conn)) == {"punch"}
    with Unit(conn) as unit:
        assert [each.serial for _, each in unit.forecasts.history(serial="IR-1")] == ["IR-1"]
        model = unit.forecasts.model("ironing-ring", "ring-3")
    assert model.answer["failures"] == 1
    assert model.answer["step_curve"][0]["ends"] == 1


def test_new_reports_move_strokes_and_as_of(conn):
    plant(conn)
    forecaster = Forecaster()
    forecaster.round(conn, NOW)
    before = stands(conn)["punch"]
    later = NOW + timedelta(hours=4)
    with Unit(conn) as unit:
        readings = steady(60 + 1 / 6, until=later, every_minutes=240)
        report(unit, PRESS, readings[-1:])
        unit.commit()
    forecaster.round(conn, later)
    after = stands(conn)["punch"]
    assert after["strokes"] - before["strokes"] == 240 * 400
    assert after["basis"]["as_of"] == "2026-06-01T16:00:00Z"


def test_past_lives_take_over_from_the_handbook(conn):
    """Lives typed in at half the handbook's 60 M pull the forecast of a punch down."""
    plant(conn)
    forecaster = Forecaster()
    forecaster.round(conn, NOW)
    prior = stands(conn)["punch"]["remaining_strokes"]["0.5"]
    ages = [24e6, 27e6, 29e6, 30e6, 31e6, 33e6, 36e6, 30.5e6]
    lives = [imported(f"L{k}", age) for k, age in enumerate(ages)]
    with Unit(conn) as unit:
        unit.lives.add(lives, by="test", at=NOW)
        unit.commit()
    assert forecaster.round(conn, NOW + timedelta(seconds=1)).fits == 1
    punch = stands(conn)["punch"]
    assert punch["basis"]["failures"] == 8
    assert punch["basis"]["prior_only"] is False
    assert punch["remaining_strokes"]["0.5"] < 0.3 * prior


def imported(life_id: str, strokes: float) -> Life:
    return Life(
        *(life_id, f"OLD-{life_id}", "punch", "punch", None, None),
        *(0.0, None, strokes, None, "broken", NOW - timedelta(days=90), None, "imported"),
    )


def test_stops_of_the_line_are_the_ones_before_which_chances_are_given(conn):
    plant(conn)
    with Unit(conn) as unit:
        for week in range(4):
            at = NOW + timedelta(days=2 + 7 * week)
            unit.stops.add(
                Stop(f"clean-{week}", "works/1", at, at + timedelta(hours=4), 8, NOW, "test")
            )
        unit.stops.add(
            Stop("other", "works/2", NOW + timedelta(days=1), NOW + timedelta(days=2), 8, NOW, "t")
        )
        unit.commit()
    Forecaster().round(conn, NOW)
    chances = stands(conn)["ring-3"]["chance_before"]
    assert [each["stop"] for each in chances] == [f"clean-{week}" for week in range(4)]
    values = [each["chance"] for each in chances]
    assert values == sorted(values)
    assert 0 < values[0] < values[-1] < 1


def test_a_press_that_never_moved_has_no_due_date_and_says_why(conn):
    plant(conn, days=2, per_minute=0)
    Forecaster().round(conn, NOW)
    ring = stands(conn)["ring-3"]
    assert ring["due"] == {"0.1": None, "0.5": None, "0.9": None}
    assert ring["rate"] is None
    assert any("never moved" in words for words in ring["basis"]["cautions"])
    assert ring["remaining_strokes"]["0.5"] > 0


def test_a_press_that_stood_for_weeks_has_a_rate_on_its_first_day(conn):
    """Whole days tell nothing yet; the day under way counts then."""
    still = steady(20, per_minute=0, until=NOW - timedelta(hours=8), every_minutes=480)
    with Unit(conn) as unit:
        register(unit, PRESS)
        report(unit, PRESS, still)
        fit_tool(unit, "IR-1", PRESS, "ring-3", NOW - timedelta(days=19))
        unit.commit()
    forecaster = Forecaster()
    forecaster.round(conn, NOW - timedelta(hours=8))
    assert stands(conn)["ring-3"]["rate"] is None
    with Unit(conn) as unit:
        runs = [
            still[-1]._replace(
                seq=1000 + k, at=still[-1].at + k * 3_600_000_000, strokes=k * 24_000
            )
            for k in range(1, 9)
        ]
        report(unit, PRESS, runs)
        unit.commit()
    forecaster.round(conn, NOW)
    ring = stands(conn)["ring-3"]
    assert ring["rate"]["strokes_per_day"] == pytest.approx(8 * 24_000 / 0.5, rel=0.01)
    assert ring["due"]["0.5"] is not None
    assert not any("has stood" in words for words in ring["basis"]["cautions"])


def test_a_counter_that_stands_while_the_ram_moves_cannot_tell(conn):
    plant(conn, days=10)
    with Unit(conn) as unit:
        readings = steady(10, every_minutes=240)
        stuck = [
            readings[-1]._replace(seq=1000 + k, at=readings[-1].at + 60_000_000 * (k + 1))
            for k in range(3)
        ]
        report(unit, PRESS, stuck)
        unit.commit()
    forecaster = Forecaster()
    forecaster.round(conn, NOW + timedelta(minutes=4))
    for tool in stands(conn).values():
        assert tool["state"] == "cant-tell"
        assert any("stood still since" in words for words in tool["basis"]["cautions"])
    with Unit(conn) as unit:
        again = stuck[-1]._replace(
            seq=2000, at=stuck[-1].at + 60_000_000, strokes=stuck[-1].strokes + 400
        )
        report(unit, PRESS, [again])
        unit.commit()
    forecaster.round(conn, NOW + timedelta(minutes=5))
    for tool in stands(conn).values():
        assert tool["state"] == "fine"
        assert not any("stood still" in words for words in tool["basis"]["cautions"])


def test_a_fixed_interval_of_the_press_itself_needs_no_life(conn):
    plant(conn, days=60)
    with Unit(conn) as unit:
        press = unit.positions.by_name()["press"]
        unit.positions.put(replace(press, interval_strokes=100_000_000, interval_days=62))
        service(unit, NOW - timedelta(days=60))
        unit.commit()
    Forecaster().round(conn, NOW)
    own = stands(conn)["press"]
    assert own["serial"] == PRESS
    assert own["interval"]["due"]["0.5"] == "2026-06-03T12:00:00Z"
    assert own["state"] == "this-stop"
    assert own["remaining_strokes"] == {"0.1": None, "0.5": None, "0.9": None}


def service(unit, at) -> None:
    event = ToolEvent(id=uuid.uuid4(), type="service", serial=PRESS, at=at, press=PRESS)
    unit.ledger.record([event], by="test", now=NOW)


def test_models_are_kept_with_what_they_were_fitted_to(conn):
    plant(conn)
    Forecaster().round(conn, NOW)
    with Unit(conn) as unit:
        models = unit.forecasts.models()
        forecast = unit.forecasts.current(PRESS, "ring-3")[0]
        model = unit.forecasts.model("ironing-ring", "ring-3")
    assert len(models) == 8
    assert forecast.basis["fit"] == f"ironing-ring/ring-3/{model.digest[:12]}"
    assert json.dumps(model.content)
    assert model.answer["parameters"]["b50"]["low"] < model.answer["parameters"]["b50"]["high"]

"""Backtests on a real database: what was known when, and scores that are kept."""

from __future__ import annotations

import argparse
import json
import uuid
from datetime import timedelta

import pytest

from duestroke.errors import BadField
from duestroke.ledger import ToolEvent
from duestroke.lives import Life
from engine.backtest import Wanted, backtest, origins_of
from engine.facts import is_past_limit
from engine.past import Past
from launch import backtesting, cli
from store.entered import Entered, events_entered
from store.inspections import Inspection
from store.stops import Stop
from store.unit import Unit, connect
from tests.support.plants import NOW, fit_event, fit_tool, register, report, steady

PRESS = "works/1/01"
PER_DAY = 1440 * 400
BEGIN = NOW - timedelta(days=100)
RINGS = ("ironing-ring", "ring-3")


@pytest.fixture
def conn(database_url):
    """A press that ran for a hundred days, with a punch and a ring in it from the start."""
    with connect(database_url) as conn:
        with Unit(conn) as unit:
            register(unit, PRESS)
            report(unit, PRESS, steady(100, every_minutes=480))
            fit_tool(unit, "PU-1", PRESS, "punch", BEGIN)
            fit_tool(unit, "IR-1", PRESS, "ring-3", BEGIN)
            unit.tools.add("IR-2", "ironing-ring", by="test", at=BEGIN)
            entered(unit, BEGIN)
            unit.commit()
        yield conn


def day(number: float):
    return BEGIN + timedelta(days=number)


def entered(unit: Unit, at) -> None:
    """All events so far that were entered by the tests' clock were really entered at `at`."""
    rows = unit.conn.execute("SELECT id FROM tool_event WHERE entered_at > %s", [NOW]).fetchall()
    events_entered(unit.conn, [Entered(str(row["id"]), at, "crew") for row in rows])


def enter(conn, event: ToolEvent, known: float) -> ToolEvent:
    """Record an event; it was entered on day `known`."""
    with Unit(conn) as unit:
        unit.ledger.record([event], by="crew", now=NOW + timedelta(days=1))
        entered(unit, day(known))
        unit.commit()
    return event


def pull(serial: str, at: float, reason: str, **more) -> ToolEvent:
    return ToolEvent(id=uuid.uuid4(), type="pull", serial=serial, at=day(at), reason=reason, **more)


def look(conn, serial: str, at: float, known: float, **more) -> None:
    with Unit(conn) as unit:
        seen = Inspection(id=str(uuid.uuid4()), serial=serial, at=day(at), **more)
        unit.inspections.record(seen, by="crew", now=NOW)
        unit.conn.execute(
            "UPDATE inspection SET entered_at = %s WHERE id = %s", [day(known), seen.id]
        )
        unit.commit()


def then(conn, at: float, lives: list[Life] | None = None):
    """Forecasts by serial on a day; `lives` takes those of the ring that they rest on."""
    from engine.past import fitted

    def fitting(known, position):
        if lives is not None and position.position == "ring-3":
            lives.extend(known)
        return fitted(known, position)

    with Unit(conn) as unit:
        return {each.serial: each for each in Past(unit, None, fitting).forecasts(day(at))}


def test_a_forecast_of_the_past_knows_its_strokes_and_rate(conn):
    made = then(conn, 50)
    assert set(made) == {"PU-1", "IR-1"}
    ring = made["IR-1"]
    assert ring.strokes == pytest.approx(50 * PER_DAY, rel=1e-3)
    assert ring.rate[0] == pytest.approx(PER_DAY, rel=1e-3)
    assert (ring.made_at, ring.as_of) == (day(50), day(50))
    assert ring.inputs["speed_so_far"] == pytest.approx(11.0, abs=0.01)


def test_an_event_counts_from_its_entry_on_not_from_its_time(conn):
    enter(conn, pull("IR-1", 40, "broken"), known=45)
    lives: list[Life] = []
    assert then(conn, 44, lives)["IR-1"].strokes == pytest.approx(44 * PER_DAY, rel=1e-3)
    assert [life.end for life in lives] == ["running"]
    lives.clear()
    assert "IR-1" not in then(conn, 46, lives)
    (life,) = lives
    assert (life.end, life.serial) == ("broken", "IR-1")
    assert life.strokes == pytest.approx(40 * PER_DAY, rel=1e-3)


def test_a_correction_counts_from_its_entry_on(conn):
    wrong = enter(conn, pull("IR-1", 40, "broken"), known=40)
    enter(conn, pull("IR-1", 38, "planned", corrects=wrong.id), known=60)
    lives: list[Life] = []
    then(conn, 50, lives)
    assert [(life.end, round(life.strokes / PER_DAY)) for life in lives] == [("broken", 40)]
    lives.clear()
    then(conn, 61, lives)
    assert [(life.end, round(life.strokes / PER_DAY)) for life in lives] == [("planned", 38)]


def test_one_taken_back_was_there_until_then(conn):
    wrong = enter(conn, pull("IR-1", 40, "broken"), known=40)
    enter(conn, pull("IR-1", 40, "broken", corrects=wrong.id, void=True), known=60)
    assert "IR-1" not in then(conn, 50)
    assert then(conn, 61)["IR-1"].strokes == pytest.approx(61 * PER_DAY, rel=1e-3)


def test_a_replacing_fit_ends_the_other_life(conn):
    event = fit_event("IR-2", PRESS, "ring-3", day(30), replaces=True, reason="worn")
    enter(conn, event, known=30)
    lives: list[Life] = []
    made = then(conn, 50, lives)
    assert made["IR-2"].strokes == pytest.approx(20 * PER_DAY, rel=1e-3)
    assert [(life.serial, life.end) for life in sorted(lives, key=lambda x: x.serial)] == [
        ("IR-1", "worn"),
        ("IR-2", "running"),
    ]


def test_looks_count_from_their_entry_on(conn):
    look(conn, "IR-1", 30, known=35, verdict="good")
    look(conn, "IR-1", 60, known=62, verdict="worn")
    assert then(conn, 34)["IR-1"].inputs["good_at"] is None
    assert then(conn, 36)["IR-1"].inputs["good_at"] == pytest.approx(30 * PER_DAY, rel=1e-3)
    assert "IR-1" in then(conn, 61)
    assert "IR-1" not in then(conn, 63), "known to be at its limit"


def test_lives_of_today_are_those_that_the_engine_fits(conn):
    """At the end of the record the past is the present."""
    look(conn, "IR-1", 30, known=30, verdict="good")
    enter(conn, pull("IR-1", 60, "worn"), known=60)
    enter(conn, fit_event("IR-2", PRESS, "ring-3", day(61)), known=61)
    lives: list[Life] = []
    then(conn, 100, lives)
    with Unit(conn) as unit:
        wanted = unit.lives.for_inference(*RINGS)
        seats = {seat.serial: seat for seat in unit.ledger.fitted()}
    told = ("id", "end", "entry_strokes", "strokes_low", "life_number", "batch", "readings")
    by_id = sorted(lives, key=lambda life: life.id)
    assert [[getattr(life, name) for name in told] for life in by_id] == [
        [getattr(life, name) for name in told] for life in wanted
    ]
    assert [life.strokes for life in by_id] == [life.strokes for life in wanted]
    assert not is_past_limit(seats["IR-2"])


def test_typed_in_lives_count_from_their_entry_until_taken_back(conn):
    past = Life(
        *("OLD-1", "OLD-1", "ironing-ring", "ring-3", None, None),
        *(0.0, None, 30e6, None, "broken", None, None, "imported"),
    )
    with Unit(conn) as unit:
        unit.lives.add([past], by="crew", at=day(20))
        unit.lives.take_back("OLD-1", by="crew", at=day(70))
        unit.commit()
    for at, known in ((19, False), (21, True), (71, False)):
        lives: list[Life] = []
        then(conn, at, lives)
        assert ("OLD-1" in {life.serial for life in lives}) is known


def test_stops_are_known_from_their_entry_on_or_were_taken_over(conn):
    def stop(name: str, at: float, known: float) -> Stop:
        start = day(at)
        end = start + timedelta(hours=8)
        return Stop(name, "works/1", start, end, None, day(known), "crew")

    with Unit(conn) as unit:
        for one in (stop("old", 52, 90), stop("early", 53, 10), stop("late", 54, 51)):
            unit.stops.add(one)
        unit.commit()
    known = [chance.stop for chance in then(conn, 50)["IR-1"].chances]
    assert [name for name in known if name is not None] == ["old", "early"]


def test_scores_of_a_backtest_are_kept_and_replaced_by_place(conn):
    enter(conn, pull("IR-1", 75, "broken"), known=75)
    done = backtest(conn, Wanted(every_days=20), NOW, keep=True)
    assert done.origins == tuple(day(20 * k) for k in (1, 2, 3, 4))
    assert done.answer["outcomes"] == {"exact": 3, "interval": 0, "censored": 0, "running": 4}
    with Unit(conn) as unit:
        kept = unit.scores.all("backtest", *RINGS)
        assert unit.scores.all("live") == []
    assert [round(row.score.left_low / PER_DAY) for row in kept] == [55, 35, 15]
    backtest(conn, Wanted(every_days=40, place=RINGS), NOW, keep=True)
    backtest(conn, Wanted(every_days=10), NOW, keep=False)
    with Unit(conn) as unit:
        assert len(unit.scores.all("backtest", *RINGS)) == 1
        assert len(unit.scores.all("backtest", "punch")) == 4


def test_a_tool_that_was_another_one_has_no_score(conn):
    """Forecast under the wrong serial; put right later, the ledger knows no such tool there."""
    wrong = enter(conn, pull("IR-1", 30, "worn"), known=30)
    assert wrong.reason == "worn"
    first = enter(conn, fit_event("IR-2", PRESS, "ring-3", day(30)), known=30)
    with Unit(conn) as unit:
        unit.tools.add("IR-3", "ironing-ring", by="test", at=BEGIN)
        unit.commit()
    enter(conn, fit_event("IR-3", PRESS, "ring-3", day(30), corrects=first.id), known=60)
    done = backtest(conn, Wanted(every_days=40, place=RINGS), NOW, keep=False)
    assert (len(done.kept), done.left_out) == (1, 1)
    assert done.kept[0].serial == "IR-3"


@pytest.mark.parametrize(
    ("wanted", "field"),
    [
        (Wanted(every_days=0), "every"),
        (Wanted(start=NOW + timedelta(days=1)), "from"),
        (Wanted(every_days=500), "from"),
    ],
    ids=["no step", "later than now", "longer than the record"],
)
def test_no_origin_is_refused(wanted, field):
    with pytest.raises(BadField) as caught:
        origins_of(wanted, BEGIN, NOW)
    assert caught.value.field == field


def test_the_command_prints_keeps_and_writes(conn, database_url, tmp_path, monkeypatch, capsys):
    enter(conn, pull("IR-1", 75, "broken"), known=75)
    monkeypatch.setenv("DUESTROKE_DATABASE_URL", database_url)
    file = tmp_path / "scores.json"
    assert cli.main(["backtest", "--every", "20", "--from", "2026-03-13", "--json", str(file)]) == 0
    printed = capsys.readouterr().out
    assert "ironing-ring/ring-3" in printed
    assert "kept as source=backtest" in printed
    told = json.loads(file.read_text())
    assert told["n"] == sum(told["outcomes"].values()) > 0
    with Unit(conn) as unit:
        assert len(unit.scores.all("backtest")) == told["n"]
    assert cli.main(["backtest", "--place", "ring/nowhere", "--dry"]) == 2
    assert "place" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["ring-3", "/ring-3", "ironing-ring/", "tomorrow"])
def test_a_wrong_option_is_said(text):
    for read in (backtesting._place, backtesting._time):
        with pytest.raises(argparse.ArgumentTypeError, match="allowed is"):
            read(text)

"""Forecasts on record are scored when their tools' lives end, and again when that is put right."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest

from duestroke.ledger import ToolEvent
from engine.cycle import Forecaster
from engine.scoring import Scorer, score_lives
from store.inspections import Inspection
from store.unit import Unit, connect
from tests.support.plants import NOW, fit_event, fit_tool, register, report, steady

PRESS = "works/1/01"
PER_DAY = 1440 * 400
BEGIN = NOW - timedelta(days=60)


@pytest.fixture
def conn(database_url):
    """A press that ran for sixty days, with a punch and a ring from its start.

    Both are forecast on the 20th day, on the 21st (the same week) and on the 27th.
    """
    with connect(database_url) as conn:
        with Unit(conn) as unit:
            register(unit, PRESS)
            fit_tool(unit, "PU-1", PRESS, "punch", BEGIN)
            fit_tool(unit, "IR-1", PRESS, "ring-3", BEGIN)
            unit.commit()
        readings = steady(60, every_minutes=240)
        sent = 0
        for day in (20, 21, 27, 60):
            with Unit(conn) as unit:
                report(unit, PRESS, readings[sent : day * 6 + 1])
                unit.commit()
            sent = day * 6 + 1
            Forecaster().round(conn, BEGIN + timedelta(days=day))
        yield conn


def enter(conn, event) -> None:
    with Unit(conn) as unit:
        unit.ledger.record([event], by="test", now=NOW + timedelta(hours=1))
        unit.commit()


def pull(serial: str, day: float, reason: str, **more) -> ToolEvent:
    at = BEGIN + timedelta(days=day)
    return ToolEvent(id=uuid.uuid4(), type="pull", serial=serial, at=at, reason=reason, **more)


def look(conn, serial: str, day: float, verdict: str) -> None:
    with Unit(conn) as unit:
        at = BEGIN + timedelta(days=day)
        seen = Inspection(id=str(uuid.uuid4()), serial=serial, at=at, verdict=verdict)
        unit.inspections.record(seen, by="test", now=NOW)
        unit.commit()


def scored(conn, now=NOW, kind: str | None = None):
    with Unit(conn) as unit:
        while score_lives(unit, now, 10):
            pass
        unit.commit()
        return unit.scores.all("live", kind)


def test_running_tools_count_as_not_ended_with_one_forecast_a_week(conn):
    rows = scored(conn)
    assert {row.score.outcome for row in rows} == {"running"}
    days = {(row.as_of - BEGIN).days for row in rows}
    # 2 April 2026, the first day, was a Thursday: days 20 and 21 lie in one week of ISO 8601.
    assert days == {20, 27, 60}
    first = rows[0].score
    assert first.left_low == pytest.approx(40 * PER_DAY, rel=1e-3)
    assert (first.left_high, first.pit_high) == (None, 1.0)
    assert first.came is False, "the first stand-in stop came and went"


def test_an_end_seen_is_exact_and_a_late_entry_is_scored_anew(conn):
    scored(conn)
    broke = pull("PU-1", 50, "broken")
    enter(conn, broke)
    rows = scored(conn, kind="punch")
    assert {row.score.outcome for row in rows} == {"exact"}
    assert [round(row.score.left_low / PER_DAY) for row in rows] == [30, 23]
    assert all(row.score.left_low == row.score.left_high for row in rows)
    enter(conn, pull("PU-1", 45, "planned", corrects=broke.id))
    rows = scored(conn, kind="punch")
    assert [row.score.outcome for row in rows] == ["censored", "censored"]
    assert [round(row.score.left_low / PER_DAY) for row in rows] == [25, 18]


def test_worn_found_lies_between_the_last_good_look_and_the_pull(conn):
    look(conn, "IR-1", 40, "good")
    enter(conn, pull("IR-1", 48, "worn"))
    (first, second) = (row.score for row in scored(conn, kind="ironing-ring"))
    assert first.outcome == second.outcome == "interval"
    assert first.left_low == pytest.approx(20 * PER_DAY, rel=1e-3)
    assert first.left_high == pytest.approx(28 * PER_DAY, rel=1e-3)
    assert 0 < first.pit_low < first.pit_high < 1
    assert first.date_low < first.date_high


def test_found_worn_and_left_in_has_reached_its_end(conn):
    look(conn, "IR-1", 50, "worn")
    rows = scored(conn, kind="ironing-ring")
    assert [(row.as_of - BEGIN).days for row in rows] == [20, 27], "day 60 knew it already"
    assert {row.score.outcome for row in rows} == {"interval"}
    assert rows[0].score.left_low == 0
    assert rows[0].score.left_high == pytest.approx(30 * PER_DAY, rel=1e-3)


def test_a_tool_put_back_goes_on_with_its_life(conn):
    enter(conn, pull("PU-1", 40, "planned"))
    assert {row.score.outcome for row in scored(conn, kind="punch")} == {"censored"}
    enter(conn, fit_event("PU-1", PRESS, "punch", BEGIN + timedelta(days=45)))
    enter(conn, pull("PU-1", 50, "broken"))
    first = scored(conn, kind="punch")[0].score
    assert first.outcome == "exact"
    assert first.left_low == pytest.approx(25 * PER_DAY, rel=1e-3), "20 days and 5 days"
    assert first.date_is_open, "the date was that of the first fitting"


def test_nothing_new_scores_nothing_and_a_new_week_looks_at_running_tools(conn):
    scored(conn)
    with Unit(conn) as unit:
        assert score_lives(unit, NOW, 10) == 0
        assert score_lives(unit, NOW + timedelta(days=7), 10) == 2


def test_looking_rests_once_there_is_nothing_to_do(conn):
    clock = iter([0.0, 1.0, 30.0, 70.0, 71.0])
    scorer = Scorer(lambda: next(clock))
    assert scorer.round(conn, NOW) == 2
    enter(conn, pull("PU-1", 50, "broken"))
    assert scorer.round(conn, NOW) == 0, "it rests"
    assert scorer.round(conn, NOW) == 1

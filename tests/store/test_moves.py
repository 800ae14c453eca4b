"""Figures that a settlement, another rule, a correction or late reports move say what and why."""

from __future__ import annotations

import uuid
from dataclasses import replace

import pytest

from store import moves
from store.inspections import Inspection
from store.presses import Settings
from tests.support.ledgers import PRESSES, at_hour
from tests.support.plant import NOW, made, plant_at

PRESS, OTHER = PRESSES
SEAT = {"press": PRESS, "position": "ring-3"}
LATER = at_hour(1_001)


@pytest.fixture
def plant(database_url):
    with plant_at(database_url) as found:
        found.press(PRESS)
        found.press(OTHER)
        found.tools()
        yield found


def told(plant, serial):
    return [
        (one.subject, one.figure, one.was, one.became, one.cause)
        for one in moves.of_tool(plant.conn, serial)
    ]


def restart(plant, hidden=True):
    """Two readings 100,000 and 110,000, then one that fell: a flag between hours 1 and 2."""
    plant.report(PRESS, at_hour(0), 100_000)
    plant.report(PRESS, at_hour(1), 110_000)
    if hidden:
        plant.report(PRESS, at_hour(2), 4_000)
        plant.report(PRESS, at_hour(3), 14_000)


def settle(plant, strokes, reason="seen in the log"):
    (flag,) = plant.rows("SELECT flag_id FROM span WHERE flag_id IS NOT NULL")
    plant.unit.flags.settle(flag["flag_id"], strokes=strokes, reason=reason, by="e", at=LATER)
    plant.conn.commit()
    return str(flag["flag_id"])


def test_a_settled_flag_moves_the_strokes_of_every_tool_then_in_and_says_why(plant):
    restart(plant)
    plant.enter(
        made("fit", "R1", 0.5, **SEAT),
        made("pull", "R1", 2.5),
        made("fit", "R1", 2.5, press=OTHER, position="ring-3"),
        made("fit", "P1", 0.5, press=PRESS, position="punch"),
        made("fit", "R2", 2.75, **SEAT),
        made("fit", "P2", 0.5, press=OTHER, position="punch"),
    )
    flag = settle(plant, 12)
    assert ("fit", "strokes", 14_000, 14_012, "settlement") in told(plant, "R1")
    assert ("fit", "strokes_before", 14_000, 14_012, "settlement") in told(plant, "R1")
    assert ("event", "press_strokes", 19_000, 19_012, "settlement") in told(plant, "R1")
    assert ("fit", "strokes", 19_000, 19_012, "settlement") in told(plant, "P1")
    assert [one[:2] for one in told(plant, "R2")] == [("event", "press_strokes")]
    assert told(plant, "P2") == []
    move = moves.of_tool(plant.conn, "P1")[0]
    assert (move.reason, move.by, move.at) == ("flag settled: seen in the log", "e", LATER)
    assert move.cause_id == flag
    settle(plant, 12, "said once more")
    assert len(told(plant, "P1")) == 1
    settle(plant, 0, "it was nothing")
    assert told(plant, "P1")[1] == ("fit", "strokes", 19_012, 19_000, "settlement")


def test_another_modulus_moves_figures_and_says_who(plant):
    plant.press("works/1/03", Settings(modulus=65_536))
    plant.report("works/1/03", at_hour(0), 60_000)
    plant.report("works/1/03", at_hour(1), 4_000)
    plant.enter(made("fit", "P1", 0, press="works/1/03", position="punch"))
    plant.unit.presses.register("works/1/03", Settings(modulus=65_000), by="engineer")
    assert told(plant, "P1") == [("fit", "strokes", 9_536, 9_000, "rule")]
    assert moves.of_tool(plant.conn, "P1")[0].by == "engineer"


def test_a_change_entered_late_shows_both_values_of_both_tools(plant):
    plant.steady(PRESS, 90)
    first = made("fit", "R1", 10, **SEAT)
    plant.enter(first, now=at_hour(10.2))
    late = made("fit", "R2", 18, replaces=True, reason="worn", note="keyed on Thursday", **SEAT)
    plant.enter(late, now=at_hour(90))
    assert told(plant, "R1") == [("fit", "strokes", 800_000, 80_000, "event")]
    (move,) = moves.of_tool(plant.conn, "R1")
    assert move.cause_id == str(late.id)
    assert "keyed on Thursday" in move.reason
    assert told(plant, "R2") == []


def test_a_pull_keyed_at_once_moves_nothing(plant):
    plant.steady(PRESS, 90)
    plant.enter(made("fit", "R1", 10, **SEAT), now=at_hour(10.2))
    plant.enter(made("pull", "R1", 89.8), now=at_hour(90))
    assert told(plant, "R1") == []


def test_a_correction_and_a_taking_back_show_what_they_moved(plant):
    plant.steady(PRESS, 20)
    fit, pull = made("fit", "R1", 2, **SEAT), made("pull", "R1", 8)
    again = made("fit", "R1", 9, press=PRESS, position="ring-2")
    plant.enter(fit, pull, again, now=at_hour(20))
    fixed = replace(fit, id=uuid.uuid4(), at=at_hour(4), corrects=fit.id, note="wrong shift")
    plant.enter(fixed, now=at_hour(21))
    assert set(told(plant, "R1")) == {
        ("fit", "strokes", 60_000, 40_000, "correction"),
        ("fit", "strokes_before", 60_000, 40_000, "correction"),
    }
    assert {one.cause_id for one in moves.of_tool(plant.conn, "R1")} == {str(fixed.id)}
    assert all("wrong shift" in one.reason for one in moves.of_tool(plant.conn, "R1"))
    back = replace(again, id=uuid.uuid4(), corrects=again.id, void=True)
    plant.enter(back, now=at_hour(22))
    assert ("fit", "strokes", 110_000, None, "correction") in told(plant, "R1")


def test_an_inspection_of_a_corrected_stretch_keeps_both_totals(plant):
    plant.steady(PRESS, 20)
    fit, pull = made("fit", "R1", 2, **SEAT), made("pull", "R1", 8)
    plant.enter(fit, pull, now=at_hour(20))
    look = Inspection(id="i1", serial="R1", at=at_hour(9), verdict="good")
    plant.unit.inspections.record(look, by="keeper", now=at_hour(20))
    plant.conn.commit()
    plant.enter(replace(pull, id=uuid.uuid4(), at=at_hour(6), corrects=pull.id), now=at_hour(21))
    assert ("inspection", "press_strokes", 80_000, 60_000, "correction") in told(plant, "R1")


def test_reports_that_catch_up_leave_one_line_for_each_figure(plant):
    plant.report(PRESS, at_hour(0), 0, seq=0)
    plant.enter(made("fit", "R1", 5, **SEAT))
    for hour in (1, 2, 3, 6):
        plant.report(PRESS, at_hour(hour), hour * 10_000, seq=hour)
    assert told(plant, "R1") == [("event", "press_strokes", 0, 50_000, "report")]
    plant.report(PRESS, at_hour(7), 70_000, seq=7)
    assert len(told(plant, "R1")) == 1


def test_nothing_is_kept_of_what_is_rolled_back(plant):
    restart(plant)
    plant.enter(made("fit", "P1", 0.5, press=PRESS, position="punch"))
    (flag,) = plant.rows("SELECT flag_id FROM span WHERE flag_id IS NOT NULL")
    plant.unit.flags.settle(flag["flag_id"], strokes=5, reason="r", by="e", at=NOW)
    assert len(told(plant, "P1")) == 1
    plant.conn.rollback()
    assert told(plant, "P1") == []

"""Ledger and intake at the same time: no stored total goes stale, and nothing deadlocks."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from store.inspections import Inspection
from store.strokes import totals_at
from tests.support.ledgers import at_hour
from tests.support.plant import NOW, made, plant_at

PRESSES = [f"works/1/{n:02}" for n in range(1, 5)]
ROUNDS = 6


def test_totals_stay_right_while_reports_and_events_come_together(database_url):
    """Every report moves the total at the events after the last one; every event asks for one."""
    with plant_at(database_url) as plant:
        for press in PRESSES:
            plant.press(press)
            plant.unit.tools.add(press.replace("/", "-"), "punch", by="t", at=NOW)
            plant.report(press, at_hour(0), 0)
        plant.conn.commit()
    start = threading.Barrier(4)
    with ThreadPoolExecutor(4) as pool:
        jobs = [
            pool.submit(_report, database_url, PRESSES, start),
            pool.submit(_report, database_url, PRESSES[::-1], start),
            pool.submit(_change_tools, database_url, PRESSES, start),
            pool.submit(_change_tools, database_url, PRESSES[::-1], start),
        ]
        for job in jobs:
            job.result(timeout=60)
    with plant_at(database_url) as plant:
        _check(plant)


def _report(database_url, presses, start):
    """Odd hours from one sender, even ones from the other: most of them come late."""
    first = 1 + (presses[0] != PRESSES[0])
    with plant_at(database_url) as plant:
        start.wait()
        for hour in range(first, first + 2 * ROUNDS, 2):
            for press in presses:
                plant.report(press, at_hour(hour), hour * 9_000 + hour % 7 * 100, seq=hour)


def _change_tools(database_url, presses, start):
    shift = 0.25 if presses[0] == PRESSES[0] else 0.75
    mine = presses[:2]
    with plant_at(database_url) as plant:
        start.wait()
        for hour in range(1, 2 * ROUNDS):
            for press in mine:
                serial = press.replace("/", "-")
                if hour % 2:
                    place = {"press": press, "position": "punch"}
                    plant.enter(made("fit", serial, hour + shift, **place))
                    look = Inspection(
                        id=f"{serial}-{hour}",
                        serial=serial,
                        at=at_hour(hour + shift + 0.5),
                        verdict="good",
                    )
                    plant.unit.inspections.record(look, by="t", now=NOW)
                    plant.conn.commit()
                else:
                    plant.enter(made("pull", serial, hour + shift))


def _check(plant):
    rows = plant.rows("SELECT press_id, at, press_strokes FROM tool_event")
    rows += plant.rows("SELECT press_id, strokes_at AS at, press_strokes FROM inspection")
    assert len(rows) > 4 * ROUNDS
    now = totals_at(plant.conn, [(row["press_id"], row["at"]) for row in rows])
    assert [row["press_strokes"] for row in rows] == now
    assert len(set(now)) > ROUNDS
    fits = plant.rows(
        "SELECT f.fit_strokes, f.pull_strokes, b.press_strokes AS begun, e.press_strokes AS ended "
        "FROM fit f JOIN tool_event b ON b.id = f.id LEFT JOIN tool_event e ON e.id = f.pull_id"
    )
    assert len(fits) == 4 * ROUNDS
    assert all((f["fit_strokes"], f["pull_strokes"]) == (f["begun"], f["ended"]) for f in fits)


def test_a_report_waits_for_an_event_that_is_not_committed_yet(database_url):
    """Otherwise it would move the total past an event that it cannot see."""
    press = PRESSES[0]
    with plant_at(database_url) as plant, plant_at(database_url) as sender:
        plant.press(press)
        plant.unit.tools.add("P1", "punch", by="t", at=NOW)
        plant.report(press, at_hour(0), 0)
        fit = made("fit", "P1", 1, press=press, position="punch")
        plant.unit.ledger.record([fit], by="t", now=NOW)
        with ThreadPoolExecutor(1) as pool:
            job = pool.submit(sender.report, press, at_hour(2), 20_000, seq=1)
            with pytest.raises(TimeoutError):
                job.result(timeout=0.3)
            plant.conn.commit()
            job.result(timeout=30)
        assert plant.unit.ledger.by_ids([fit.id])[fit.id].press_strokes == 10_000
        assert plant.unit.ledger.fitted()[0].strokes_since_fit == 10_000

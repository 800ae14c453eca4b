"""Loading the demo plant into a real database: figures, ledger, flags, and starting again."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from duestroke.times import from_micros, to_micros
from simulators import demo, paperwork
from simulators.plant import BY_NAME, DAY, LINES, POSITIONS
from simulators.records import all_records
from simulators.reports import history
from simulators.works import Works, begin, loaded_to
from store.unit import Unit, connect

PRESSES = [BY_NAME["harlow-mere/1/02"], BY_NAME["harlow-mere/3/02"]]
FIRST_DAY = datetime(2026, 3, 9, 14, 25, tzinfo=UTC)


@pytest.fixture
def loaded(database_url, tmp_path):
    said = []
    demo.load(database_url, tmp_path, FIRST_DAY, said.append, PRESSES)
    return database_url, tmp_path, said


def test_a_loaded_plant_is_the_truth_and_a_second_start_loads_nothing(loaded):
    database_url, folder, said = loaded
    found = begin(folder, FIRST_DAY + timedelta(days=3))
    assert found.first_day == FIRST_DAY
    truths = Works(found, PRESSES).truths(found.d0 + DAY)
    with connect(database_url) as conn, Unit(conn) as unit:
        for truth in truths:
            _check_press(unit, truth)
        _check_plan(unit)
    lives = sum(len(truth.played.lives) for truth in truths)
    assert said[0] == f"history: 730 days of 2 presses, {lives} tool lives"
    assert [line.split(":")[1].split("%")[0].strip() for line in said[1:]] == [
        "reports  50",
        "reports 100",
        "tool events  50",
        "tool events 100",
    ]
    again = []
    before = _figures(database_url)
    demo.load(database_url, folder, FIRST_DAY + timedelta(days=30), again.append, PRESSES)
    assert again == ["history: there since 2026-03-09 14:25 UTC, nothing to load"]
    after = _figures(database_url)
    assert after["stop"] > before["stop"]
    assert {**after, "stop": 0} == {**before, "stop": 0}


def _check_press(unit, truth):
    name = truth.press.name
    press = unit.presses.get(name)
    reports, last = history(truth, loaded_to(truth.demo))
    assert (press.last_report.boot, press.last_report.seq) == (last.boot, last.seq)
    assert press.modulus == truth.press.modulus
    assert press.timezone == "Europe/London"
    made = truth.strokes([reports.made_at[0], reports.made_at[-1]])
    hidden = {"harlow-mere/1/02": 65_536, "harlow-mere/3/02": 12}[name]
    assert press.strokes == int(made[1] - made[0]) - hidden
    flags = unit.flags.page(press=name)
    still_open = [flag for flag in flags if flag.settled is None]
    assert [flag.kinds for flag in still_open] == [["wrap" if "1/02" in name else "restart"]]
    assert still_open[0].hidden_at_most >= hidden
    _check_tools(unit, truth)


def _check_tools(unit, truth):
    """Strokes that the product counts for each life, against the strokes really made."""
    lives = {}
    for life in truth.played.lives:
        lives.setdefault(life.tool.serial, []).append(life)
    compared = 0
    for serial, true_lives in lives.items():
        stretches = unit.ledger.stretches(serial)
        assert [one.position for one in stretches] == [one.position.name for one in true_lives]
        for stretch, life in zip(stretches, true_lives, strict=True):
            assert stretch.reason == (None if life.end == "running" else life.end)
            base = None if not life.age_known else round(life.age * 1e6)
            assert stretch.base == base
            if life.pulled_strokes is not None:
                ran = life.pulled_strokes - life.fitted_strokes
                # A pull falls between two reports; between these the total is interpolated.
                assert abs(stretch.run - ran) <= 3_000 + _flagged(truth, life)
                compared += 1
    assert compared > 50
    seated = unit.ledger.fitted([truth.press.name])
    assert {row.position for row in seated} >= {position.name for position in POSITIONS}
    assert {row.last_verdict for row in seated if row.position == "stripper"} == {"good"}


def test_records_were_entered_when_the_truth_says(loaded):
    database_url, folder, _ = loaded
    works = Works(begin(folder, FIRST_DAY), PRESSES)
    told = all_records(works.demo, works.played)
    with connect(database_url) as conn, Unit(conn) as unit:
        for press, given in told.items():
            rows = {str(row.event.id): row for row in unit.ledger.page(5_000, press=press)}
            fits = [one for one in given if getattr(one.what, "type", "") == "fit"]
            assert len(fits) > 40
            for one in fits:
                row = rows[one.id]
                assert (to_micros(row.entered_at), row.entered_by) == (
                    one.entered_at,
                    one.entered_by,
                )
                assert (row.corrected_by is not None) == (one.fate == "corrected")
            seen = unit.inspections.page(5_000, press=press)
            entered = {one.id: one for one in given}
            assert len(seen) > 400
            for look in seen:
                assert to_micros(look.entered_at) == entered[look.inspection.id].entered_at
            asked = unit.questions.page(None, press=press)
            for question in asked:
                look = next(one for one in seen if one.inspection.id == question.inspection_id)
                assert question.raised_at == look.entered_at
                is_old = question.raised_at < FIRST_DAY - timedelta(days=14)
                assert (question.closed_at is not None) == is_old


def test_another_plant_loads_like_the_demo(database_url, tmp_path):
    """A plant from a settings file goes the same way; its three policies are its own."""
    said = {
        "seed": 3,
        "days": 45,
        "line": [
            {"name": "a", "presses": 1, "policy": "at-85-percent", "modulus": 65_536},
            {"name": "b", "presses": 2, "policy": "fixed-age", "rod_length_mm": 2_000},
        ],
    }
    begun = begin(tmp_path, FIRST_DAY, said=said)
    lines = []
    demo.load(database_url, tmp_path, FIRST_DAY, lines.append)
    assert lines[0].startswith("history: 45 days of 3 presses")
    with connect(database_url) as conn, Unit(conn) as unit:
        for truth in Works(begun).truths(begun.d0):
            press = unit.presses.get(truth.press.name)
            reports, _ = history(truth, loaded_to(begun))
            made = truth.strokes([reports.made_at[0], reports.made_at[-1]])
            assert press.strokes == int(made[1] - made[0])
            assert press.modulus == truth.press.modulus
            assert len(unit.ledger.fitted([truth.press.name])) >= len(POSITIONS)
        scopes = {stop.scope for stop in unit.stops.upcoming(FIRST_DAY)}
        assert scopes == {"brackwater/a", "brackwater/b"}
        assert unit.flags.page(open_only=True) == []


def _flagged(truth, life):
    """Strokes that an open flag hides within a life."""
    if truth.press.name.endswith("3/02"):
        return 12
    gap = truth.silences[0]
    return 65_536 if life.fitted_at < gap[1] and life.pulled_at > gap[0] else 0


def _check_plan(unit):
    stops = unit.stops.upcoming(FIRST_DAY)
    for line in LINES:
        mine = [stop for stop in stops if stop.scope == f"harlow-mere/{line.name}"]
        assert len(mine) in (8, 9)
        assert mine[-1].starts_at > FIRST_DAY + timedelta(weeks=7)
    positions = unit.positions.by_name()
    assert positions["hold-ring"].kind == "hold-ring"
    assert positions["press"].interval_strokes == 100_000_000
    assert positions["press"].interval_days == 182


def _figures(database_url):
    tables = ("reading", "tool", "tool_event", "inspection", "fit", "stop", "settlement")
    with connect(database_url) as conn:
        return {
            table: conn.execute(f"SELECT count(*) AS n FROM {table}").fetchone()["n"]
            for table in tables
        }


def test_a_load_cut_short_goes_on_with_what_lacks(database_url, tmp_path):
    """Reports of one press are there, its paperwork is not: the next start brings both level."""
    begun = begin(tmp_path, FIRST_DAY)
    truth = Works(begun, PRESSES[:1]).truths(begun.d0 + DAY)[0]
    count = demo.load_reports(database_url, truth)
    said = []
    demo.load(database_url, tmp_path, FIRST_DAY + timedelta(hours=1), said.append, PRESSES[:1])
    assert [line.split("%")[0] for line in said[1:]] == ["history: tool events 100 "]
    with connect(database_url) as conn, Unit(conn) as unit:
        press = unit.presses.get(PRESSES[0].name)
        assert press.last_report is not None
        assert len(unit.ledger.page(1_000, press=press.name)) > 50
    assert _figures(database_url)["reading"] == count


def test_repeats_of_the_deaf_day_go_through_the_intake_and_change_nothing(database_url):
    """Story 4: 300 repeats in all (the demo's own figure)."""
    begun = demo.Demo(5, FIRST_DAY)
    line_2 = [press for press in BY_NAME.values() if press.line.name == "2"]
    truths = Works(begun, line_2).truths(begun.d0)
    sent = [demo.repeats(truth, history(truth, loaded_to(begun))[0]) for truth in truths]
    assert sum(len(deliveries) for deliveries in sent) == 300
    assert all(one.received_at > begun.first_day - timedelta(days=62) for one in sent[0])
    count = demo.load_reports(database_url, truths[0])
    reports, _ = history(truths[0], loaded_to(begun))
    made = truths[0].strokes([reports.made_at[0], reports.made_at[-1]])
    with connect(database_url) as conn, Unit(conn) as unit:
        assert unit.presses.get(line_2[0].name).strokes == int(made[1] - made[0])
        assert unit.quarantine.page() == []
    assert _figures(database_url)["reading"] == count == len(reports)


def test_events_are_written_as_the_crew_on_shift(database_url):
    begun = demo.Demo(5, FIRST_DAY)
    played = Works(begun, PRESSES[:1]).played[0]
    events = paperwork.events(begun, played)
    assert len({event.id for event in events}) == len(events)
    assert {event.by for event in events} == {"Alder", "Birch", "Cedar", "Damson"}
    assert [event.at for event in events] == sorted(event.at for event in events)
    assert all(event.at < from_micros(loaded_to(begun)) for event in events)
    unknown = [event for event in events if event.before_unknown]
    assert unknown
    assert all(event.strokes_before is None for event in unknown)
    assert to_micros(events[0].at) == begun.begin

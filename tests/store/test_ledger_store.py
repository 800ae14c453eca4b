"""The ledger on a real database: judged in place, figures that move with the record."""

from __future__ import annotations

import random
import uuid
from dataclasses import replace

import pytest

from duestroke.errors import Contradiction
from duestroke.ledger import BadEvent, Entry, ToolEvent, ages, replay
from duestroke.names import DEFAULT_POSITIONS, DEFAULT_SPREAD
from store.consequences import implied_id
from store.moves import of_tool
from store.presses import Settings
from tests.support.ledgers import KINDS, PRESSES, TOOLS, at_hour, random_event
from tests.support.plant import NOW, made, plant_at

PRESS, OTHER = PRESSES
SEAT = {"press": PRESS, "position": "ring-3"}


@pytest.fixture
def plant(database_url):
    with plant_at(database_url) as found:
        found.press(PRESS)
        found.press(OTHER)
        found.tools()
        yield found


def test_default_positions_are_the_ones_the_core_names(plant):
    found = [(p.position, p.kind, p.handbook_life) for p in plant.unit.positions.all()]
    assert found == [tuple(position) for position in DEFAULT_POSITIONS]
    assert {p.handbook_spread for p in plant.unit.positions.all()} == {DEFAULT_SPREAD}


def stored(plant):
    """Stretches and tool states as the tables have them."""
    fits = plant.rows(
        "SELECT f.id, f.serial, p.name AS press, f.position, f.fitted_at, f.ordinal, f.life, "
        "f.chain, f.base, f.pulled_at, f.reason FROM fit f JOIN press p ON p.id = f.press_id"
    )
    tools = plant.rows("SELECT serial, state, life, current_mm FROM tool")
    return {tuple(row.values()) for row in fits}, {tuple(row.values()) for row in tools}


def expected(ledger):
    """The same from a replay of everything that was entered."""
    fits = {
        (
            *(fit.event.id, fit.event.serial, *fit.seat, fit.event.at, fit.ordinal, fit.life),
            *(fit.chain, fit.base, None if fit.pull is None else fit.pull.at, fit.reason),
        )
        for fit in ledger.fits
    }
    tools = set()
    for serial, tool in TOOLS.items():
        now = ledger.tools.get(serial)
        state = ("new", 0, tool.size_mm) if now is None else (now.state, now.life, now.size_mm)
        tools.add((serial, *state))
    return fits, tools


@pytest.mark.parametrize("seed", range(6))
def test_entering_one_by_one_in_any_order_equals_one_replay_of_all(plant, seed):
    """What an event can touch is loaded, no more; it must come out as if all had been."""
    rng = random.Random(seed)
    kept, refused = [], 0
    for _ in range(60):
        event = random_event(rng)
        tried = [*kept, event]
        try:
            replay([Entry(one, n) for n, one in enumerate(tried)], TOOLS, KINDS)
        except Contradiction:
            refused += 1
            with pytest.raises((Contradiction, BadEvent)):
                plant.enter(event)
            continue
        plant.enter(event)
        kept = tried
        ledger = replay([Entry(one, n) for n, one in enumerate(kept)], TOOLS, KINDS)
        assert stored(plant) == expected(ledger)
    assert len(kept) > 6
    assert refused > 3


@pytest.mark.parametrize("seed", range(5))
def test_corrections_leave_what_entering_the_right_thing_would_have(plant, seed):
    rng = random.Random(1_000 + seed)
    kept: list[ToolEvent] = []
    corrected = 0
    for _ in range(60):
        event = random_event(rng)
        old = rng.choice(kept) if kept and rng.random() < 0.35 else None
        void = old is not None and rng.random() < 0.4
        if old is not None:
            event = replace(event, corrects=old.id, void=void)
            event = replace(event, serial=old.serial) if void else event
        tried = (
            [one for one in kept if one != old]
            if void
            else [event if one == old else one for one in kept]
        )
        tried = [*tried, event] if old is None else tried
        try:
            replay([Entry(one, n) for n, one in enumerate(tried)], TOOLS, KINDS)
        except Contradiction:
            with pytest.raises((Contradiction, BadEvent)):
                plant.enter(event)
            continue
        plant.enter(event)
        corrected += old is not None
        kept = tried
        ledger = replay([Entry(one, n) for n, one in enumerate(kept)], TOOLS, KINDS)
        assert stored(plant) == expected(ledger)
    assert corrected > 3


def test_a_fit_and_a_pull_keep_the_total_at_their_time(plant):
    plant.steady(PRESS, 10)
    fit, pull = made("fit", "R1", 2.5, **SEAT), made("pull", "R1", 7.25)
    rows = plant.enter(fit, pull).rows
    assert [row.press_strokes for row in rows] == [25_000, 72_500]
    assert rows[1].event.press == PRESS
    assert rows[1].event.position == "ring-3"
    (stretch,) = plant.unit.ledger.stretches("R1")
    assert (stretch.run, stretch.strokes) == (47_500, 47_500)


def test_a_late_reading_moves_the_figures_in_its_own_transaction(plant):
    """The total at a time lies between the readings around it; one that comes late is nearer."""
    plant.report(PRESS, at_hour(0), 0, seq=0)
    plant.report(PRESS, at_hour(2), 20_000, seq=2)
    fit = made("fit", "R1", 1, **SEAT)
    assert plant.enter(fit).rows[0].press_strokes == 10_000
    plant.report(PRESS, at_hour(1), 15_000, seq=1)
    assert plant.unit.ledger.by_ids([fit.id])[fit.id].press_strokes == 15_000
    (now,) = plant.unit.ledger.fitted()
    assert (now.press_strokes, now.strokes_since_fit) == (15_000, 5_000)


def test_an_event_after_the_last_report_moves_with_the_next_one(plant):
    plant.report(PRESS, at_hour(0), 0)
    fit = made("fit", "R1", 1, **SEAT)
    assert plant.enter(fit).rows[0].press_strokes == 0
    plant.report(PRESS, at_hour(2), 20_000)
    assert plant.unit.ledger.by_ids([fit.id])[fit.id].press_strokes == 10_000
    plant.report(PRESS, at_hour(3), 30_000)
    assert plant.unit.ledger.fitted()[0].strokes_since_fit == 20_000


def test_a_settled_flag_moves_the_figures_in_the_same_transaction(plant):
    plant.report(PRESS, at_hour(0), 100_000)
    plant.report(PRESS, at_hour(1), 110_000)
    plant.report(PRESS, at_hour(2), 4_000)
    plant.enter(made("fit", "R1", 0.5, **SEAT), made("pull", "R1", 2))
    assert plant.unit.ledger.stretches("R1")[0].run == 9_000
    (flag,) = plant.rows("SELECT flag_id FROM span WHERE flag_id IS NOT NULL")
    plant.unit.flags.settle(flag["flag_id"], strokes=1_000, reason="seen", by="e", at=NOW)
    assert plant.unit.ledger.stretches("R1")[0].run == 10_000
    plant.conn.rollback()
    assert plant.unit.ledger.stretches("R1")[0].run == 9_000


def test_a_changed_modulus_moves_the_figures(plant):
    plant.press("works/1/03", Settings(modulus=65_536))
    plant.report("works/1/03", at_hour(0), 60_000)
    plant.report("works/1/03", at_hour(1), 4_000)
    plant.enter(made("fit", "P1", 1, press="works/1/03", position="punch"))
    assert plant.unit.ledger.fitted()[0].press_strokes == 9_536
    plant.unit.presses.register("works/1/03", Settings(modulus=65_000))
    assert plant.unit.ledger.fitted()[0].press_strokes == 9_000


def test_sent_again_changes_nothing_and_other_content_is_refused(plant):
    fit = made("fit", "R1", 1, strokes_before=0, **SEAT)
    first = plant.enter(fit)
    again = plant.enter(fit)
    assert first.made
    assert not again.made
    assert again.rows == first.rows
    # Zero is said; left out is "what the ledger knows".
    with pytest.raises(Contradiction, match="another event has the id"):
        plant.enter(replace(fit, strokes_before=None))


def test_an_array_is_all_or_nothing(plant):
    good, bad = made("fit", "R1", 1, **SEAT), made("fit", "R2", 2, **SEAT)
    with pytest.raises(Contradiction):
        plant.enter(good, bad)
    assert plant.unit.ledger.page(10) == []
    assert plant.unit.tools.get("R1").state == "shelf"
    with pytest.raises(Contradiction, match="another event has the id"):
        plant.enter(good, replace(good, note="twice in one array"))
    assert [row.event.id for row in plant.enter(good, good).rows] == [good.id, good.id]


def test_a_replacement_shows_as_a_pull_of_its_own(plant):
    plant.steady(PRESS, 10)
    first = made("fit", "R1", 1, **SEAT)
    second = made("fit", "R2", 4, replaces=True, reason="worn", by="a fitter", **SEAT)
    plant.enter(first)
    plant.enter(second)
    fit, pull, follow = plant.unit.ledger.page(10)
    assert [fit.event.id, follow.event.id] == [first.id, second.id]
    assert pull.event.id == implied_id(second, "R1")
    assert (pull.event.type, pull.event.serial, pull.event.reason) == ("pull", "R1", "worn")
    assert (pull.event.implied_by, pull.press_strokes) == (second.id, 40_000)
    assert plant.unit.tools.get("R1").state == "bench"
    late = made("fit", "R3", 2, replaces=True, reason="broken", **SEAT)
    plant.enter(late)
    pulls = {row.event.serial: row for row in plant.unit.ledger.page(10) if row.event.implied_by}
    assert pulls["R1"].event.at == at_hour(2)
    assert pulls["R3"].event.reason == "worn"


def test_pages_follow_on_without_gap_or_repeat(plant):
    plant.enter(
        *(
            made("fit", serial, 1, press=press, position="ring-3")
            for serial, press in (("R1", PRESS), ("R2", OTHER))
        )
    )
    plant.enter(made("fit", "R3", 5, replaces=True, reason="planned", **SEAT))
    whole = plant.unit.ledger.page(100)
    assert len(whole) == 4
    seen, after = [], None
    while rows := plant.unit.ledger.page(1, after=after):
        seen += rows
        after = rows[-1].key
    assert seen == whole
    assert {row.event.serial for row in plant.unit.ledger.page(9, press=OTHER)} == {"R2"}
    assert len(plant.unit.ledger.page(9, serial="R1")) == 2
    assert plant.unit.ledger.page(9, frm=at_hour(1), to=at_hour(5)) == whole[:2]


def test_a_pull_that_names_no_press_follows_the_tool(plant):
    """Entered late: the tool had moved to the other press before it was pulled."""
    plant.steady(PRESS, 9)
    plant.steady(OTHER, 9, per_hour=5_000)
    last = made("pull", "R1", 8)
    plant.enter(made("fit", "R1", 1, **SEAT), last)
    away = made("pull", "R1", 3)
    again = made("fit", "R1", 4, press=OTHER, position="ring-2")
    plant.enter(away, again)
    row = plant.unit.ledger.by_ids([last.id])[last.id]
    assert (row.event.press, row.event.position, row.press_strokes) == (OTHER, "ring-2", 40_000)
    assert [s.run for s in plant.unit.ledger.stretches("R1")] == [20_000, 20_000]


@pytest.mark.parametrize(
    ("correction", "words"),
    [
        ({"corrects": "first"}, "corrected already"),
        ({"corrects": "implied"}, "follows from the fit"),
        ({"corrects": "void", "void": True}, "takes another back"),
        ({"corrects": "second", "void": True, "serial": "R3"}, "is of R2, not of R3"),
    ],
)
def test_what_cannot_be_corrected(plant, correction, words):
    first = made("fit", "R1", 1, **SEAT)
    fixed = replace(first, id=uuid.uuid4(), note="at the right hour", corrects=first.id)
    second = made("fit", "R2", 2, replaces=True, reason="worn", **SEAT)
    out = made("pull", "R2", 3)
    back = replace(out, id=uuid.uuid4(), corrects=out.id, void=True)
    for event in (first, fixed, second, out, back):
        plant.enter(event)
    names = {
        "first": first.id,
        "implied": implied_id(second, "R1"),
        "second": second.id,
        "void": back.id,
    }
    serial = correction.get("serial", {"void": "R2", "second": "R2"}.get(correction["corrects"]))
    event = made(
        "shelve",
        serial or "R1",
        5,
        corrects=names[correction["corrects"]],
        void=correction.get("void", False),
    )
    with pytest.raises(Contradiction, match=words):
        plant.enter(event)


def test_unknown_press_tool_position_and_target_are_wrong_fields(plant):
    for event, field in (
        (made("fit", "R1", 1, press="works/9/01", position="ring-3"), "press"),
        (made("fit", "R9", 1, **SEAT), "serial"),
        (made("fit", "R1", 1, press=PRESS, position="ring-9"), "position"),
        (made("fit", "R1", 1, corrects=uuid.uuid4(), **SEAT), "corrects"),
        (made("fit", "R1", 2_000, **SEAT), "at"),
    ):
        with pytest.raises(BadEvent) as fault:
            plant.enter(event)
        assert fault.value.field == field


def test_ages_over_two_lives_and_two_presses(plant):
    plant.steady(PRESS, 10)
    plant.steady(OTHER, 10, per_hour=1_000)
    plant.enter(
        made("fit", "R3", 1, **SEAT),
        made("pull", "R3", 3),
        made("shelve", "R3", 3),
        made("fit", "R3", 4, press=OTHER, position="ring-2"),
        made("pull", "R3", 6, reason="worn"),
        made("send", "R3", 6, back_at=at_hour(2_000)),
    )
    assert plant.unit.tools.get("R3").back_at == at_hour(2_000)
    plant.enter(made("rework", "R3", 7, size_mm=66.3), made("fit", "R3", 8, **SEAT))
    tool = plant.unit.tools.get("R3")
    assert (tool.state, tool.press, tool.current_mm, tool.life) == ("fitted", PRESS, 66.3, 1)
    runs = [stretch.as_run() for stretch in plant.unit.ledger.stretches("R3")]
    got = ages(runs, tool.life)
    assert (got.since_fit, got.since_rework, got.since_new) == (20_000, 20_000, 42_000)
    (now,) = plant.unit.ledger.fitted([PRESS])
    assert (now.strokes_before, now.strokes_since_rework) == (0, 20_000)


def test_strokes_of_earlier_stretches_count_on(plant):
    plant.steady(PRESS, 10)
    plant.enter(
        made("fit", "R1", 1, strokes_before=500, **SEAT),
        made("pull", "R1", 3),
        made("fit", "R1", 5, press=PRESS, position="ring-2"),
    )
    (now,) = plant.unit.ledger.fitted()
    assert (now.strokes_before, now.strokes_since_fit) == (20_500, 50_000)
    assert now.strokes_since_rework == 70_500


def test_a_stated_age_that_the_ledger_knows_otherwise_is_warned_of(plant):
    plant.steady(PRESS, 10)
    plant.enter(made("fit", "R1", 1, strokes_before=500, **SEAT), made("pull", "R1", 3))
    again = made("fit", "R1", 5, strokes_before=21_000, **SEAT)
    assert "20500 strokes" in plant.enter(again).warnings[again.id][0]
    assert plant.unit.ledger.fitted()[0].strokes_before == 21_000


def test_a_service_starts_the_press_anew(plant):
    plant.steady(PRESS, 10)
    plant.enter(made("service", PRESS, 2, press=PRESS, strokes_before=7))
    (now,) = plant.unit.ledger.fitted()
    assert (now.serial, now.position, now.kind) == (PRESS, "press", "press")
    assert now.strokes_since_rework == 80_007
    plant.enter(made("service", PRESS, 6, press=PRESS))
    (now,) = plant.unit.ledger.fitted()
    assert (now.life, now.strokes_since_rework) == (1, 40_000)


def test_a_size_that_does_not_suit_is_taken_with_a_warning(plant):
    ring = plant.unit.positions.by_name()["ring-3"]
    plant.unit.positions.put(replace(ring, size_mm=66.0, size_tolerance_mm=0.05))
    assert plant.unit.tools.get("R1").state == "bench"
    fit = made("fit", "R3", 1, size_mm=66.0, **SEAT)
    kept, words = plant.enter(fit).warnings[fit.id]
    assert "size_mm counts only with rework" in kept
    assert "66.1 mm" in words
    without = made("fit", "R1", 1, press=OTHER, position="ring-3")
    assert "not on record" in plant.enter(without).warnings[without.id][0]
    back = made("rework", "R2", 1)
    assert "without a size" in plant.enter(back).warnings[back.id][0]
    assert plant.unit.tools.get("R2").state == "bench"


def test_a_position_keeps_its_kind_once_a_tool_was_fitted(plant):
    ring = plant.unit.positions.by_name()["ring-3"]
    plant.unit.positions.put(replace(ring, kind="carbide-ring"))
    plant.unit.positions.put(ring)
    plant.enter(made("fit", "R1", 1, **SEAT))
    with pytest.raises(Contradiction, match="R1 was fitted"):
        plant.unit.positions.put(replace(ring, kind="carbide-ring"))


def test_the_ledger_wakes_those_who_listen(plant, database_url):
    with plant_at(database_url) as other:
        other.conn.autocommit = True
        other.conn.execute("LISTEN duestroke")
        plant.enter(made("fit", "R1", 1, **SEAT))
        (notice,) = list(other.conn.notifies(timeout=5, stop_after=1))
    assert notice.payload == '{"ledger": ["R1"]}'


def test_two_fits_exchanged_on_entry_are_put_right_as_a_pair(plant):
    """Neither correction stands alone; together they do, and both tools show what moved."""
    plant.steady(PRESS, 10)
    plant.steady(OTHER, 10, per_hour=5_000)
    here, there = made("fit", "R1", 2, **SEAT), made("fit", "R2", 2, press=OTHER, position="ring-3")
    plant.enter(here, there, now=at_hour(10))
    pair = [
        replace(here, id=uuid.uuid4(), press=OTHER, corrects=here.id),
        replace(there, id=uuid.uuid4(), press=PRESS, corrects=there.id),
    ]
    for one in pair:
        with pytest.raises(Contradiction):
            plant.enter(one, now=at_hour(11))
    plant.enter(*pair, now=at_hour(11))
    found = {one.serial: (one.press, one.strokes_since_fit) for one in plant.unit.ledger.fitted()}
    assert found == {"R1": (OTHER, 40_000), "R2": (PRESS, 80_000)}
    told = {
        serial: [(one.was, one.became, one.cause_id) for one in of_tool(plant.conn, serial)]
        for serial in found
    }
    assert told == {
        "R1": [(80_000, 40_000, str(pair[0].id))],
        "R2": [(40_000, 80_000, str(pair[1].id))],
    }
    assert len(plant.unit.ledger.page(None)) == 4

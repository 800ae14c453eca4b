"""Questions kept, answered, and asked again as the record moves; any order of entry, one end."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from duestroke.errors import BadField, Contradiction
from duestroke.ledger import BadEvent, Entry, replay
from store.inspections import Inspection
from tests.support.ledgers import KINDS, PRESSES, TOOLS, at_hour, random_event
from tests.support.plant import NOW, made, plant_at

PRESS, OTHER = PRESSES
SEAT = {"press": PRESS, "position": "ring-3"}


@pytest.fixture
def plant(database_url):
    with plant_at(database_url) as found:
        furnish(found)
        yield found


def furnish(found):
    for press, per_hour in ((PRESS, 10_000), (OTHER, 7_000)):
        found.press(press)
        found.steady(press, 31, per_hour)
    found.tools()
    ring = found.unit.positions.by_name()["ring-3"]
    found.unit.positions.put(replace(ring, quantity="bore", unit="um", wear_limit=6.0))
    found.conn.commit()


def look(serial, hour, value, **more):
    more = {"quantity": "bore", "unit": "um"} | more
    name = more.pop("id", f"{serial}-{hour}")
    return Inspection(id=name, serial=serial, at=at_hour(hour), value=value, **more)


def read(plant, *inspections):
    for inspection in inspections:
        try:
            plant.unit.inspections.record(inspection, by="keeper", now=NOW)
        except BaseException:
            plant.conn.rollback()
            raise
        plant.conn.commit()


def open_ones(plant):
    found = plant.unit.questions.page(None, is_open=True)
    return [(one.kind, one.inspection_id, one.against_id) for one in found]


def test_a_reading_that_goes_backwards_is_asked_and_no_event_is_made(plant):
    plant.enter(made("fit", "R1", 1, **SEAT))
    read(plant, look("R1", 5, 5.0), look("R1", 9, 0.4))
    assert open_ones(plant) == [("backwards", "R1-9", "R1-5")]
    (question,) = plant.unit.questions.page(None, press=PRESS, serial="R1")
    assert (question.press, question.position, question.raised_at) == (PRESS, "ring-3", NOW)
    assert len(plant.unit.ledger.page(None)) == 1
    assert plant.unit.questions.page(None, press=OTHER) == []


def test_the_change_that_was_missing_closes_the_question(plant):
    plant.enter(made("fit", "R1", 1, **SEAT))
    read(plant, look("R1", 5, 5.0), look("R1", 9, 0.4))
    plant.enter(made("pull", "R1", 7), made("fit", "R1", 8, **SEAT))
    assert open_ones(plant) == []
    (question,) = plant.unit.questions.page(None)
    assert (question.closed_by, question.reason) == (None, "the record was put right")
    (last,) = [row for row in plant.unit.ledger.page(None) if row.event.at == at_hour(8)]
    back = replace(last.event, id=made("fit", "R1", 8).id, corrects=last.event.id, void=True)
    plant.enter(back)
    # Read on the bench now, so it tells of the first stretch again.
    assert open_ones(plant) == [("backwards", "R1-9", "R1-5")]


def test_an_answer_stands_and_cannot_be_given_twice(plant):
    plant.enter(made("fit", "R1", 1, **SEAT))
    read(plant, look("R1", 5, 5.0), look("R1", 9, 0.4))
    (asked,) = plant.unit.questions.page(None)
    answer = {"reason": "another gauge", "by": "crew", "at": NOW}
    assert plant.unit.questions.close(asked.id, **answer).closed_by == "crew"
    assert plant.unit.questions.close(asked.id, **answer).reason == "another gauge"
    with pytest.raises(Contradiction, match="another gauge"):
        plant.unit.questions.close(asked.id, **answer | {"reason": "no idea"})
    assert plant.unit.questions.close("0" * 32, **answer) is None
    read(plant, look("R1", 11, 0.8))
    assert open_ones(plant) == []


def test_a_reading_in_question_counts_for_nothing_until_it_is_answered(plant):
    plant.enter(made("fit", "R1", 1, **SEAT))
    read(plant, look("R1", 5, 3.0), look("R1", 9, 135.0))
    (now,) = plant.unit.ledger.fitted()
    assert (now.reading_value, now.reading_share, now.past_limit_at) == (3.0, 0.5, None)
    (asked,) = plant.unit.questions.page(None)
    plant.unit.questions.close(asked.id, reason="it is so", by="crew", at=NOW)
    (now,) = plant.unit.ledger.fitted()
    assert (now.reading_value, now.past_limit_at) == (135.0, at_hour(9))


def test_a_corrected_serial_moves_the_question_with_it(plant):
    plant.enter(made("fit", "R1", 1, **SEAT), made("fit", "R2", 1, press=OTHER, position="ring-3"))
    read(plant, look("R1", 5, 5.0), look("R1", 9, 0.4))
    fixed = look("R2", 9, 0.4, id="fixed", corrects="R1-9")
    read(plant, fixed)
    assert open_ones(plant) == []
    read(plant, look("R2", 7, 4.0))
    assert open_ones(plant) == [("backwards", "fixed", "R2-7")]
    with pytest.raises(Contradiction, match="is of R2, not of R1"):
        read(plant, look("R1", 9, 0.4, id="back", corrects="fixed", void=True))
    read(plant, look("R2", 9, 0.4, id="back", corrects="fixed", void=True))
    assert open_ones(plant) == []


def test_another_limit_asks_anew(plant):
    plant.enter(made("fit", "R1", 1, **SEAT))
    read(plant, look("R1", 5, 5.0), look("R1", 9, 2.0))
    assert len(open_ones(plant)) == 1
    ring = plant.unit.positions.by_name()["ring-3"]
    plant.unit.positions.put(replace(ring, wear_limit=60.0))
    assert open_ones(plant) == []


def test_a_reading_of_a_set_has_no_share_in_one_tool(plant):
    plant.enter(made("fit", "R1", 1, **SEAT))
    read(plant, look("R1", 5, 5.0), look("R1", 9, 78.5, quantity="wall", reading_limit=78.0))
    assert open_ones(plant) == [("set-limit", "R1-9", None)]
    (now,) = plant.unit.ledger.fitted()
    assert (now.reading_quantity, now.past_limit_at) == ("bore", None)
    row = plant.unit.inspections.get("R1-9")
    assert (row.of_set, row.share) == (True, None)
    (life,) = plant.unit.lives.for_inference()
    assert life.strokes_low == 40_000


def test_a_good_finish_does_not_make_up_for_a_bore_past_its_limit(plant):
    plant.enter(made("fit", "R1", 1, **SEAT))
    finish = {"quantity": "Ra", "reading_limit": 0.4}
    read(plant, look("R1", 5, 6.2), look("R1", 6, 0.1, **finish))
    (now,) = plant.unit.ledger.fitted()
    assert (now.reading_quantity, now.past_limit_at) == ("Ra", at_hour(5))


def test_a_reading_is_good_only_outside_its_uncertainty(plant):
    """ISO 14253-1:2017, 5.2: conformance is proven where the limit lies outside the uncertainty."""
    plant.enter(made("fit", "R1", 1, **SEAT))
    read(plant, look("R1", 5, 4.0, uncertainty=0.5), look("R1", 9, 5.7, uncertainty=0.5))
    (now,) = plant.unit.ledger.fitted()
    assert (now.last_good_strokes, now.reading_share) == (40_000, pytest.approx(0.95))


@pytest.mark.parametrize(
    ("more", "field"),
    [({"uncertainty": -0.1}, "uncertainty"), ({"uncertainty": 2e9}, "uncertainty")],
)
def test_an_uncertainty_that_cannot_be(plant, more, field):
    with pytest.raises(BadField) as fault:
        read(plant, look("R1", 5, 4.0, **more))
    assert fault.value.field == field


def random_records(seed):
    """Events that stand, all at different times, and readings of every tool among them."""
    rng = random.Random(seed)
    kept, hours = [], rng.sample(range(1, 300), 120)
    for hour in hours:
        event = replace(random_event(rng), at=at_hour(hour / 10))
        tried = sorted([*kept, event], key=lambda one: one.at)
        try:
            replay([Entry(one, n) for n, one in enumerate(tried)], TOOLS, KINDS)
        except Contradiction:
            continue
        kept = tried
    rings = [serial for serial, tool in TOOLS.items() if tool.kind == "ironing-ring"]
    readings = [
        look(rng.choice(rings), hour / 10 + 0.05, rng.choice([0.5, 2.0, 4.0, 5.5, 7.0, 135.0]))
        for hour in rng.sample(range(10, 300), 25)
    ]
    readings += [
        replace(one, id=f"again-{one.id}", value=3.0, corrects=one.id, void=rng.random() < 0.3)
        for one in rng.sample(readings, 6)
    ]
    return kept, readings


def enter_all(plant, events, readings, rng):
    """All of it in any order: what cannot stand yet waits, what never can alone goes together."""
    waiting = [*events, *readings]
    rng.shuffle(waiting)
    while waiting:
        left = [record for record in waiting if not _went_in(plant, record)]
        if len(left) == len(waiting):
            plant.enter(*sorted(left, key=lambda one: one.at))
            return
        waiting = left


def _went_in(plant, record):
    try:
        if isinstance(record, Inspection):
            read(plant, record)
        else:
            plant.enter(record)
    except (Contradiction, BadEvent, BadField):
        return False
    return True


def whole_record(plant):
    """Everything that follows from the record."""
    unit = plant.unit
    tables = {
        "fit": "SELECT * FROM fit ORDER BY id",
        "tool": "SELECT serial, state, press_id, position, current_mm, life, back_at FROM tool",
        "events": "SELECT id, press_id, position, press_strokes, implied_by FROM tool_event",
        "looks": "SELECT id, fit_id, press_id, position, strokes_at, press_strokes FROM inspection",
        "standing": "SELECT id, share, is_good, is_doubtful FROM standing_inspection",
    }
    found = {name: sorted(map(str, plant.rows(query))) for name, query in tables.items()}
    found["questions"] = sorted(open_ones(plant), key=str)
    found["fitted"] = unit.ledger.fitted()
    found["lives"] = unit.lives.for_inference()
    return found


@pytest.mark.parametrize("seed", range(4))
def test_records_in_any_order_of_entry_end_in_the_same_ledger(database_url, plant, seed):
    events, readings = random_records(seed)
    assert len(events) > 12
    assert {one.type for one in events} >= {"fit", "pull"}
    plant.enter(*events)
    read(plant, *readings)
    straight = whole_record(plant)
    assert straight["questions"] != []
    plant.conn.execute("TRUNCATE tool_event, fit, inspection, question, figure_move CASCADE")
    plant.conn.execute(
        "UPDATE tool SET state = 'new', press_id = NULL, position = NULL, current_mm = size_mm, "
        "life = 0, back_at = NULL"
    )
    plant.conn.commit()
    enter_all(plant, events, readings, random.Random(seed))
    assert whole_record(plant) == straight


def test_random_records_hold_every_type_of_event():
    seen = {event.type for seed in range(12) for event in random_records(seed)[0]}
    assert seen == {"fit", "pull", "send", "rework", "shelve", "scrap", "service"}

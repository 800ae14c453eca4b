"""Lives as the inference gets them: from the ledger, from the past, and what stays out."""

from __future__ import annotations

from dataclasses import replace

import pytest

from duestroke.errors import BadField, Contradiction
from duestroke.lives import Life
from store.inspections import Inspection
from store.lives import content_id
from tests.support.ledgers import PRESSES, at_hour
from tests.support.plant import NOW, made, plant_at

PRESS, OTHER = PRESSES
SEAT = {"press": PRESS, "position": "ring-3"}


@pytest.fixture
def plant(database_url):
    with plant_at(database_url) as found:
        found.press(PRESS)
        found.press(OTHER)
        found.tools()
        found.steady(PRESS, 10)
        yield found


def inspect(plant, serial, hour, verdict="good", **more):
    name = more.pop("id", f"{serial}-{hour}")
    inspection = Inspection(id=name, serial=serial, at=at_hour(hour), verdict=verdict, **more)
    return plant.unit.inspections.record(inspection, by="keeper", now=NOW)


def lives(plant):
    return {(life.serial, life.position): life for life in plant.unit.lives.for_inference()}


def past(**more):
    values = {
        "serial": "OLD-1",
        "kind": "ironing-ring",
        "position": "ring-3",
        "press": None,
        "batch": None,
        "entry_strokes": 0.0,
        "entry_low": None,
        "strokes": 30e6,
        "strokes_low": None,
        "end": "worn",
        "ended_at": None,
        "mean_speed_mps": None,
    }
    values |= more
    return Life(id=values.pop("id", None) or content_id(values), source="imported", **values)


def test_a_life_for_each_stretch_since_rework(plant):
    plant.enter(
        made("fit", "R1", 1, strokes_before=5_000, **SEAT),
        made("pull", "R1", 3),
        made("fit", "R1", 4, press=PRESS, position="ring-2"),
        made("fit", "R2", 4, **SEAT),
        made("pull", "R2", 6, reason="broken"),
    )
    found = lives(plant)
    first, second = found["R1", "ring-3"], found["R1", "ring-2"]
    assert (first.entry_strokes, first.strokes, first.end) == (5_000, 25_000, "planned")
    assert (second.entry_strokes, second.strokes, second.end) == (25_000, 85_000, "running")
    assert (first.press, first.source, first.ended_at) == (PRESS, "ledger", at_hour(3))
    assert found["R2", "ring-3"].is_failure
    assert plant.unit.lives.for_inference("ironing-ring", "ring-2") == [second]
    assert plant.unit.lives.for_inference("punch", "ring-2") == []


def test_a_tool_of_unknown_age_stays_out_until_its_rework(plant):
    plant.enter(
        made("fit", "R1", 1, before_unknown=True, **SEAT),
        made("pull", "R1", 3, reason="worn"),
    )
    assert lives(plant) == {}
    assert plant.unit.lives.unknown_ages() == {("ironing-ring", "ring-3"): 1}
    plant.enter(made("rework", "R1", 4, size_mm=66.2), made("fit", "R1", 5, **SEAT))
    assert lives(plant)["R1", "ring-3"].entry_strokes == 0


def test_the_last_good_inspection_bounds_a_worn_end(plant):
    plant.enter(made("fit", "R1", 1, **SEAT), made("pull", "R1", 9, reason="worn"))
    for hour, verdict in ((3, "good"), (5.5, "good"), (7, "worn"), (9, "good")):
        inspect(plant, "R1", hour, verdict)
    life = lives(plant)["R1", "ring-3"]
    assert (life.strokes_low, life.strokes) == (45_000, 80_000)


def test_a_reading_short_of_its_limit_counts_as_good(plant):
    plant.enter(made("fit", "R1", 1, **SEAT))
    reading = {"verdict": None, "quantity": "bore", "unit": "um", "reading_limit": 6.0}
    inspect(plant, "R1", 3, value=3.0, **reading)
    inspect(plant, "R1", 5, value=6.5, **reading)
    assert lives(plant)["R1", "ring-3"].strokes_low == 20_000
    (now,) = plant.unit.ledger.fitted()
    assert (now.last_good_strokes, now.reading_strokes) == (20_000, 40_000)
    assert (now.reading_value, round(now.reading_share, 6)) == (6.5, 1.083333)


def test_the_limit_of_a_position_serves_a_reading_that_names_none(plant):
    """A punch shrinks: limit and readings are negative, the share is not."""
    punch = plant.unit.positions.by_name()["punch"]
    limited = replace(punch, quantity="diameter", unit="um", wear_limit=-4.0)
    plant.unit.positions.put(limited)
    plant.enter(made("fit", "P1", 1, press=PRESS, position="punch"))
    inspect(plant, "P1", 3, None, quantity="diameter", value=-3.0, unit="um")
    inspect(plant, "P1", 4, None, quantity="runout", value=-9.0, unit="um")
    assert lives(plant)["P1", "punch"].strokes_low == 20_000
    (now,) = plant.unit.ledger.fitted()
    assert now.reading_quantity == "runout"
    assert now.reading_share is None


def test_readings_of_any_size_leave_a_share_that_is_a_number(plant):
    plant.enter(made("fit", "R1", 1, **SEAT))
    for hour, value in ((2, 5e-324), (3, 0.0), (4, -1e9), (5, 1e9)):
        reading = {"quantity": "bore", "unit": "um", "reading_limit": 1e-6}
        inspect(plant, "R1", hour, None, value=value, **reading)
    assert plant.unit.ledger.fitted()[0].reading_share == 0
    for question in plant.unit.questions.page(None):
        plant.unit.questions.close(question.id, reason="read again", by="e", at=NOW)
    assert plant.unit.ledger.fitted()[0].reading_share == pytest.approx(1e15)


def test_a_reading_on_the_bench_tells_of_the_stretch_before_but_not_after_a_rework(plant):
    plant.enter(made("fit", "R1", 1, **SEAT), made("pull", "R1", 3, reason="worn"))
    row, new = inspect(plant, "R1", 4, "worn", quantity="bore", value=7.0, unit="um")
    assert new
    assert (row.press, row.position, row.press_strokes) == (PRESS, "ring-3", 30_000)
    plant.enter(made("rework", "R1", 3.5, size_mm=66.2))
    stored = plant.unit.inspections.get("R1-4")
    assert (stored.press, stored.press_strokes) == (None, None)


def test_inspections_move_with_the_ledger_and_with_the_readings(plant):
    fit = made("fit", "R1", 1, **SEAT)
    plant.enter(fit)
    inspect(plant, "R1", 3.5)
    plant.report(PRESS, at_hour(3.5), 39_000, boot="a", seq=None)
    late = plant.unit.inspections.get("R1-3.5")
    assert late.press_strokes == 35_000  # sent with a later seq: its clock went back
    plant.enter(made("fit", "R1", 1, press=OTHER, position="ring-3", corrects=fit.id))
    assert plant.unit.inspections.get("R1-3.5").press == OTHER
    assert plant.unit.inspections.get("R1-3.5").press_strokes == 0


def test_a_late_reading_moves_an_inspection(database_url):
    with plant_at(database_url) as plant:
        plant.press(PRESS)
        plant.tools()
        plant.report(PRESS, at_hour(0), 0, seq=0)
        plant.report(PRESS, at_hour(4), 40_000, seq=2)
        plant.enter(made("fit", "R1", 1, **SEAT))
        inspect(plant, "R1", 2)
        plant.conn.commit()
        assert lives(plant)["R1", "ring-3"].strokes_low == 10_000
        plant.report(PRESS, at_hour(2), 24_000, seq=1)
        assert plant.unit.inspections.get("R1-2").press_strokes == 24_000
        assert lives(plant)["R1", "ring-3"].strokes_low == 12_000


def test_an_inspection_is_corrected_or_taken_back_and_stays_on_record(plant):
    plant.enter(made("fit", "R1", 1, **SEAT))
    inspect(plant, "R1", 3)
    inspect(plant, "R1", 5, id="second")
    inspect(plant, "R1", 6, "worn", id="no", corrects="second")
    assert lives(plant)["R1", "ring-3"].strokes_low == 20_000
    inspect(plant, "R1", 3, None, id="gone", corrects="R1-3", void=True)
    assert lives(plant)["R1", "ring-3"].strokes_low is None
    assert [row.corrected_by for row in plant.unit.inspections.page(9)] == [
        "gone",
        None,
        "no",
        None,
    ]
    with pytest.raises(Contradiction, match="corrected already"):
        inspect(plant, "R1", 3, id="again", corrects="R1-3")
    with pytest.raises(Contradiction, match="takes another back"):
        inspect(plant, "R1", 3, id="again", corrects="gone")


WRONG = [
    ({"serial": "R9"}, "serial"),
    ({"at": at_hour(2_000)}, "at"),
    ({"verdict": None}, "verdict"),
    ({"value": 1.0}, "quantity"),
    ({"value": 1.0, "quantity": "bore"}, "unit"),
    ({"quantity": "bore"}, "value"),
    ({"corrects": "none"}, "corrects"),
    ({"void": True}, "corrects"),
]


def test_an_inspection_with_a_wrong_field(plant):
    good = Inspection(id="i", serial="R1", at=at_hour(1), verdict="good")
    for more, field in WRONG:
        with pytest.raises(BadField) as fault:
            plant.unit.inspections.record(replace(good, **more), by="k", now=NOW)
        assert fault.value.field == field


def test_the_same_inspection_twice_counts_once(plant):
    assert inspect(plant, "R1", 3)[1]
    assert not inspect(plant, "R1", 3)[1]
    with pytest.raises(Contradiction, match="another inspection"):
        inspect(plant, "R1", 3, "worn")


def test_planned_ends_close_to_the_limit_are_counted(plant):
    reading = {"verdict": None, "quantity": "bore", "unit": "um", "reading_limit": 6.0}
    for number, (reason, value) in enumerate(
        [("planned", 5.0), ("planned", 3.0), ("worn", 6.0), ("planned", None)]
    ):
        serial, hour = f"R{1 + number % 3}", 1 + 2 * number
        plant.enter(
            made("fit", serial, hour, **SEAT), made("pull", serial, hour + 1, reason=reason)
        )
        if value is not None:
            inspect(plant, serial, hour + 1.5, value=value, **reading)
    assert plant.unit.lives.ends_near_limit("ironing-ring", "ring-3") == (1, 4)
    assert plant.unit.lives.ends_near_limit("punch", "punch") == (0, 0)


def test_past_lives_count_once_and_can_be_taken_back(plant):
    one, two = past(), past(serial="OLD-2")
    named = past(id="mine", strokes=31e6)
    ids, new = plant.unit.lives.add([one, two, one, named], by="e", at=NOW)
    assert new
    assert len(set(ids)) == 3
    assert not plant.unit.lives.add([one, named], by="e", at=NOW)[1]
    assert len(plant.unit.lives.for_inference("ironing-ring", "ring-3")) == 3
    with pytest.raises(Contradiction, match="another life"):
        plant.unit.lives.add([past(id="mine", strokes=32e6)], by="e", at=NOW)
    assert plant.unit.lives.take_back("mine", by="e", at=NOW)
    assert not plant.unit.lives.take_back("mine", by="e", at=NOW)
    assert len(plant.unit.lives.for_inference()) == 2
    assert plant.unit.lives.add([named], by="e", at=NOW)[1]
    assert len(plant.unit.lives.for_inference()) == 3


def test_a_life_of_the_ledger_is_not_taken_back(plant):
    fit = made("fit", "R1", 1, **SEAT)
    plant.enter(fit)
    with pytest.raises(Contradiction, match="follows from the ledger"):
        plant.unit.lives.take_back(str(fit.id), by="e", at=NOW)


def test_pages_of_lives_hold_each_once(plant):
    plant.enter(made("fit", "R1", 1, **SEAT))
    plant.unit.lives.add([past(strokes=float(n)) for n in range(5)], by="e", at=NOW)
    whole = plant.unit.lives.page(100)
    seen, after = [], None
    while rows := plant.unit.lives.page(2, after=after):
        seen += rows
        after = rows[-1].id
    assert seen == whole
    assert len(whole) == 6


def test_a_content_id_is_the_same_for_a_whole_number_and_its_fraction_form():
    assert past(strokes=30_000_000).id == past(strokes=30e6).id
    assert past(strokes=30e6).id != past(strokes=30e6 + 1).id


@pytest.mark.parametrize(
    ("reason", "looked", "expected"),
    [
        (None, False, (60_000, 40_000, 140_000, None)),
        ("worn", False, (60_000, 40_000, 100_000, 80_000)),
        ("worn", True, (60_000, 40_000, 100_000, 60_000)),
        ("broken", False, (60_000, 40_000, 90_000, None)),
        ("planned", True, (60_000, 40_000, 90_000, 60_000)),
    ],
)
def test_an_age_stated_with_a_margin_is_an_interval(plant, reason, looked, expected):
    plant.enter(made("fit", "R1", 1, strokes_before=50_000, before_margin=10_000, **SEAT))
    if looked:
        inspect(plant, "R1", 3)
    if reason is not None:
        plant.enter(made("pull", "R1", 5, reason=reason))
    life = lives(plant)["R1", "ring-3"]
    assert (life.entry_strokes, life.entry_low, life.strokes, life.strokes_low) == expected
    assert plant.unit.ledger.stretches("R1")[0].strokes_before == 50_000


def test_the_margin_goes_on_with_the_tool_until_its_rework(plant):
    plant.enter(
        made("fit", "R1", 1, strokes_before=50_000, before_margin=10_000, **SEAT),
        made("pull", "R1", 2),
        made("fit", "R1", 3, press=PRESS, position="ring-2"),
        made("pull", "R1", 4, reason="worn"),
        made("rework", "R1", 5),
        made("fit", "R1", 6, **SEAT),
    )
    found = sorted(plant.unit.lives.for_inference(), key=lambda life: life.ended_at or NOW)
    _, second, third = found
    assert (second.entry_low, second.entry_strokes) == (50_000, 70_000)
    assert (third.entry_low, third.entry_strokes) == (None, 0)
    with pytest.raises(BadField) as fault:
        plant.enter(made("fit", "R2", 1, before_margin=5, press=OTHER, position="ring-3"))
    assert fault.value.field == "strokes_before_margin"


def test_a_life_of_the_ledger_has_the_mean_speed_of_its_days(plant):
    """Presses of the tests report 10 m/s; a life without a whole day in it has none."""
    plant.press("works/1/03")
    for hour in range(0, 96, 12):
        plant.report("works/1/03", at_hour(hour), hour * 10_000)
    plant.enter(
        made("fit", "P1", 20, press="works/1/03", position="punch"),
        made("fit", "P2", 90, press="works/1/03", position="punch", replaces=True, reason="worn"),
    )
    speeds = {
        one.serial: one.mean_speed_mps for one in plant.unit.lives.page(None, with_speeds=True)
    }
    assert speeds == {"P1": pytest.approx(10.0), "P2": None}
    assert all(life.mean_speed_mps is None for life in plant.unit.lives.for_inference())


BORE = {"quantity": "bore", "unit": "um", "verdict": None}


@pytest.fixture
def measured(plant):
    """Ring 3 has a limit of 6 um of bore, and R1 sits there."""
    ring = plant.unit.positions.by_name()["ring-3"]
    plant.unit.positions.put(replace(ring, quantity="bore", unit="um", wear_limit=6.0))
    plant.enter(made("fit", "R1", 1, strokes_before=5_000, **SEAT))
    return plant


def wear(plant, serial="R1", position="ring-3"):
    return lives(plant)[serial, position].readings


def test_a_life_carries_its_wear_as_measured(measured):
    inspect(measured, "R1", 3, value=1.5, uncertainty=0.6, **BORE)
    inspect(measured, "R1", 5, value=3.0, **BORE)
    inspect(measured, "R1", 30, value=4.5, reading_limit=9.0, uncertainty=0.9, **BORE)
    first, second, third = wear(measured)
    assert (first.strokes, first.share, first.sd) == (25_000, 0.25, pytest.approx(0.05))
    assert (second.strokes, second.share, second.sd) == (45_000, 0.5, None)
    assert (third.share, third.sd) == (0.5, pytest.approx(0.05))
    assert first.session == second.session == at_hour(0).toordinal()
    assert third.session == first.session + 1


def test_a_session_is_a_day_of_the_press_itself(measured):
    measured.conn.execute("UPDATE press SET timezone = 'Asia/Tokyo' WHERE name = %s", [PRESS])
    for hour in (3, 14.9, 15.1):
        inspect(measured, "R1", hour, value=1.0, **BORE)
    sessions = [one.session for one in wear(measured)]
    assert sessions == [at_hour(0).toordinal()] * 2 + [at_hour(24).toordinal()]


@pytest.mark.parametrize(
    "told",
    [
        {"quantity": "ovality"},
        {"unit": "mm"},
        {"quantity": "wall"},
        {"value": 300.0},
    ],
    ids=["another quantity", "another unit", "of a set", "in doubt"],
)
def test_readings_that_say_nothing_of_this_wear_stay_out(measured, told):
    inspect(measured, "R1", 3, **(BORE | {"value": 2.0, "reading_limit": 6.0} | told))
    inspect(measured, "R1", 4, value=2.5, **BORE)
    assert [one.share for one in wear(measured)] == [pytest.approx(2.5 / 6)]


def test_readings_taken_back_or_put_right_count_as_they_stand(measured):
    inspect(measured, "R1", 3, value=1.2, **BORE)
    inspect(measured, "R1", 4, value=3.0, **BORE)
    inspect(measured, "R1", 3, value=1.8, id="right", corrects="R1-3", **BORE)
    inspect(measured, "R1", 4, None, id="gone", corrects="R1-4", void=True)
    assert [one.share for one in wear(measured)] == [pytest.approx(0.3)]


def test_from_where_a_reading_goes_backwards_none_counts_until_somebody_answers(measured):
    for hour, value in ((3, 1.0), (5, 4.0), (7, 0.5), (9, 1.5)):
        inspect(measured, "R1", hour, value=value, **BORE)
    assert [one.strokes for one in wear(measured)] == [25_000]
    (question,) = measured.unit.questions.page(None)
    measured.unit.questions.close(question.id, reason="gauge", by="e", at=NOW)
    assert [one.strokes for one in wear(measured)] == [25_000, 45_000, 65_000, 85_000]


def test_each_stretch_has_its_own_readings_and_the_number_of_its_life(measured):
    inspect(measured, "R1", 2, value=1.0, **BORE)
    measured.enter(made("pull", "R1", 3), made("fit", "R1", 4, **SEAT))
    inspect(measured, "R1", 5, value=2.0, **BORE)
    measured.enter(made("pull", "R1", 6, reason="worn"))
    inspect(measured, "R1", 7, value=3.0, **BORE)
    measured.enter(made("rework", "R1", 8), made("fit", "R1", 9, **SEAT))
    inspect(measured, "R1", 10, value=0.5, **BORE)
    found = sorted(measured.unit.lives.for_inference(), key=lambda one: one.ended_at or NOW)
    assert [life.life_number for life in found] == [0, 0, 1]
    ages = [[one.strokes for one in life.readings] for life in found]
    assert ages == [[15_000], [35_000, 45_000], [10_000]]
    of_tool = measured.unit.lives.of_serials(["R1"])
    assert sorted(of_tool, key=lambda one: one.ended_at or NOW) == found
    assert measured.unit.lives.of_serials(["R2"]) == []
    page = measured.unit.lives.page(1)
    assert page[0] in found


def test_roughness_is_shown_as_a_fit_took_it(measured):
    (life,) = measured.unit.lives.for_inference()
    assert life.mean_roughness is None
    measured.unit.lives.keep_duty([replace(life, mean_roughness=1.08), past()])
    (shown,) = measured.unit.lives.page(9)
    assert shown.mean_roughness == 1.08

"""Lives on their way into fits and forecasts: followed event by event, the same as read anew."""

from __future__ import annotations

import random
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from datetime import timedelta

import pytest

from duestroke.errors import Contradiction
from duestroke.forecast import Forecast, answer
from duestroke.forecast.digest import canonical
from duestroke.ledger import BadEvent
from engine import models
from engine.again import NotKept, recompute
from engine.chunks import Packer, digest_of_fit, unpack
from engine.cycle import Forecaster
from store.inspections import Inspection
from store.unit import Unit, connect
from tests.support.ledgers import PRESSES, TOOLS, at_hour, random_event
from tests.support.plant import NOW, made, plant_at

PRESS, OTHER = PRESSES
RING = {"press": PRESS, "position": "ring-3"}
BORE = {"quantity": "bore", "unit": "um"}
LATELY = at_hour(10.1)
AGED = timedelta(minutes=3)
"""Still before the press is silent."""


@pytest.fixture
def plant(database_url):
    """Two presses of ten hours' record; lives are short here: 100,000 strokes."""
    with plant_at(database_url) as found:
        found.press(PRESS)
        found.press(OTHER)
        found.tools()
        found.steady(PRESS, 10)
        found.steady(OTHER, 10, per_hour=9_000)
        for position in found.unit.positions.all():
            # Places that the tests use have short lives; the others have none to fit.
            life = 100_000.0 if position.position in ("ring-2", "ring-3", "punch") else None
            known = replace(position, handbook_life=life, handbook_own=True)
            if position.position.startswith("ring-"):
                known = replace(known, wear_limit=6.0, **BORE)
            found.unit.positions.put(known)
        found.conn.commit()
        yield found


def read(plant, serial, hour, value=None, **more):
    told = {"verdict": "good"} if value is None else {"value": value, **BORE}
    name = f"{serial}-{hour}-{value}"
    inspection = Inspection(id=name, serial=serial, at=at_hour(hour), **(told | more))
    plant.unit.inspections.record(inspection, by="keeper", now=NOW)
    plant.conn.commit()


def stands(conn) -> dict[tuple[str, str], Forecast]:
    with Unit(conn) as unit:
        return {(one.press, one.position): one for one in unit.forecasts.current()}


def said(conn) -> list[bytes]:
    """All that stands, but for when it was made."""
    return [
        canonical([answer(one), one.remaining, one.due_us, one.inputs | {"now": None}])
        for one in stands(conn).values()
    ]


def test_a_forecast_is_made_from_readings_batch_number_and_speeds(plant):
    plant.unit.tools.add("R9", "ironing-ring", batch="B-7", by="t", at=at_hour(0))
    plant.enter(made("fit", "R9", 1, **RING))
    read(plant, "R9", 3, 2.0, uncertainty=0.6)
    read(plant, "R9", 5, 4.0)
    plant.enter(made("pull", "R9", 6), made("fit", "R9", 7, press=OTHER, position="ring-3"))
    read(plant, "R9", 9, 5.0)
    Forecaster().round(plant.conn, LATELY)
    inputs = stands(plant.conn)[OTHER, "ring-3"].inputs
    ages = [reading[0] for reading in inputs["readings"]]
    assert ages == [20_000, 40_000, 50_000 + 18_000]
    assert inputs["readings"][0][1:3] == [pytest.approx(1 / 3), pytest.approx(0.05)]
    assert (inputs["batch"], inputs["life_number"]) == ("B-7", 0)
    with Unit(plant.conn) as unit:
        content = unit.forecasts.model("ironing-ring", "ring-3")
        lives = unpack(unit.forecasts.lives_of(content))
    assert sorted(len(life.readings) for life in lives) == [1, 2]


def test_wear_as_measured_moves_the_date(plant):
    plant.enter(made("fit", "R1", 1, **RING), made("fit", "R2", 1, press=OTHER, position="ring-3"))
    for hour, slow, fast in ((4, 0.5, 1.5), (7, 1.0, 3.0), (9, 1.4, 4.0)):
        read(plant, "R1", hour, fast)
        read(plant, "R2", hour, slow)
    Forecaster().round(plant.conn, LATELY)
    made_now = stands(plant.conn)
    fast, slow = (answer(made_now[press, "ring-3"])["remaining_strokes"] for press in PRESSES)
    assert fast["0.5"] < slow["0.5"] / 2
    assert fast["0.9"] < slow["0.9"]


def test_speed_and_roughness_come_off_the_record(database_url):
    """A press that ran at one speed for weeks and at another since; K steady all along."""
    with plant_at(database_url) as plant:
        plant.press(PRESS)
        plant.tools("P1")
        plant.steady(PRESS, 24 * 3)
        plant.enter(made("fit", "P1", 0, press=PRESS, position="punch"))
        Forecaster().round(plant.conn, LATELY)
        inputs = stands(plant.conn)[PRESS, "punch"].inputs
        assert inputs["speed_so_far"] == inputs["speed_now"] == 10.0
        assert inputs["rough_so_far"] == inputs["rough_now"] == 1.0
        with Unit(plant.conn) as unit:
            (shown,) = unit.lives.page(9, with_speeds=True)
        assert shown.mean_roughness == 1.0


def test_an_event_is_followed_in_its_own_press_first(plant):
    plant.enter(made("fit", "R1", 1, **RING), made("fit", "R2", 1, press=OTHER, position="ring-3"))
    forecaster = Forecaster()
    forecaster.round(plant.conn, LATELY)
    plant.enter(made("pull", "R1", 5, reason="broken"), made("fit", "R3", 6, **RING))
    soon = LATELY + timedelta(seconds=1)
    done = forecaster.round(plant.conn, soon, with_reports=False)
    assert (done.presses, done.fits, done.is_behind) == (1, 1, True)
    made_now = stands(plant.conn)
    assert made_now[PRESS, "ring-3"].serial == "R3"
    assert made_now[PRESS, "ring-3"].basis["failures"] == 1
    assert made_now[OTHER, "ring-3"].basis["failures"] == 0
    done = forecaster.round(plant.conn, soon, with_reports=False)
    assert (done.presses, done.fits, done.is_behind) == (1, 0, False)
    assert stands(plant.conn)[OTHER, "ring-3"].basis["failures"] == 1
    assert forecaster.round(plant.conn, soon, with_reports=False).presses == 0


def test_work_is_left_where_something_more_urgent_came(plant):
    plant.enter(made("fit", "R1", 1, **RING), made("fit", "P1", 1, press=PRESS, position="punch"))
    forecaster = Forecaster()
    done = forecaster.round(plant.conn, LATELY, go_on=lambda: False)
    assert done.is_behind
    for _ in range(20):
        if not done.is_behind:
            break
        done = forecaster.round(plant.conn, LATELY, with_reports=False, go_on=lambda: False)
    assert not done.is_behind
    assert {one.basis["fit"] for one in stands(plant.conn).values()} != {"none"}
    assert said_anew(plant) == said(plant.conn)


def said_anew(plant) -> list[bytes]:
    """What another engine makes of the same record."""
    before = said(plant.conn)
    plant.conn.execute("DELETE FROM forecast_now")
    plant.conn.commit()
    Forecaster().round(plant.conn, LATELY + AGED)
    after = said(plant.conn)
    assert len(after) == len(before)
    return after


@pytest.mark.parametrize("seed", range(6))
def test_an_engine_that_followed_comes_to_the_same_as_one_that_reads_anew(plant, seed):
    """Random events, corrections, readings, answers and late reports, a round after each few."""
    rng = random.Random(seed)
    forecaster, events = Forecaster(), []
    for step in range(40):
        with suppress(Contradiction, BadEvent):
            deed(rng)(plant, rng, events)
        if step % 3 == 0:
            forecaster.round(plant.conn, LATELY, with_reports=rng.random() < 0.5)
    while forecaster.round(plant.conn, LATELY + AGED).is_behind:
        pass
    assert said_anew(plant) == said(plant.conn)


def deed(rng: random.Random) -> Callable[..., None]:
    return rng.choice([enter, enter, enter, correct, look, look, answer_one, late_report])


def enter(plant, rng, events):
    event = random_event(rng, hours=10)
    plant.enter(event)
    events.append(event)


def correct(plant, rng, events):
    old = events[rng.randrange(len(events))] if events else random_event(rng, hours=10)
    plant.enter(replace(random_event(rng, hours=10), corrects=old.id, void=rng.random() < 0.5))


def look(plant, rng, events):
    serial, hour = rng.choice(sorted(TOOLS)), rng.randrange(1, 10)
    value = None if rng.random() < 0.3 else rng.randrange(0, 60) / 10
    read(plant, serial, hour + rng.random() / 2, value)


def answer_one(plant, rng, events):
    for question in plant.unit.questions.page(1, is_open=True):
        plant.unit.questions.close(question.id, reason="gauge", by="e", at=NOW)
    plant.conn.commit()


def late_report(plant, rng, events):
    hour = rng.randrange(1, 9)
    plant.report(PRESS, at_hour(hour + 0.5), hour * 10_000 + 7_000, boot="b", seq=hour)


def test_a_question_about_a_reading_is_said_and_its_readings_wait(plant):
    plant.enter(made("fit", "R1", 1, **RING))
    for hour, value in ((3, 1.0), (5, 4.0), (7, 0.5)):
        read(plant, "R1", hour, value)
    forecaster = Forecaster()
    forecaster.round(plant.conn, LATELY)
    ring = stands(plant.conn)[PRESS, "ring-3"]
    assert [one[0] for one in ring.inputs["readings"]] == [20_000]
    assert "wear does not go back" in ring.inputs["open_question"]
    (question,) = plant.unit.questions.page(None, is_open=True)
    plant.unit.questions.close(question.id, reason="another gauge", by="e", at=NOW)
    plant.conn.commit()
    assert forecaster.round(plant.conn, LATELY, with_reports=False).presses == 1
    ring = stands(plant.conn)[PRESS, "ring-3"]
    assert len(ring.inputs["readings"]) == 3
    assert ring.inputs["open_question"] is None


def test_strokes_that_a_flag_may_hide_widen_the_range_until_it_is_settled(plant):
    plant.enter(made("fit", "R1", 1, **RING), made("fit", "R2", 1, press=OTHER, position="ring-3"))
    plant.report(PRESS, at_hour(10.5), 1_000, boot="b", seq=0)
    forecaster = Forecaster()
    forecaster.round(plant.conn, at_hour(10.6))
    ring = stands(plant.conn)[PRESS, "ring-3"]
    (flag,) = plant.unit.flags.page(press=PRESS, open_only=True)
    assert ring.inputs["strokes_hidden"] == flag.hidden_at_most > 10_000
    assert any("open flags of the press may hide" in one for one in ring.basis["cautions"])
    assert stands(plant.conn)[OTHER, "ring-3"].inputs["strokes_hidden"] == 0
    plant.unit.flags.settle(flag.id, strokes=0, reason="stood", by="e", at=NOW)
    plant.conn.commit()
    forecaster.round(plant.conn, at_hour(10.6))
    settled = stands(plant.conn)[PRESS, "ring-3"]
    assert settled.inputs["strokes_hidden"] == 0
    assert width(settled) < width(ring)


def width(forecast: Forecast) -> float:
    left = answer(forecast)["remaining_strokes"]
    return left["0.9"] - left["0.1"]


def test_an_age_stated_with_a_margin_widens_the_range_and_is_said(plant):
    about = {"strokes_before": 30_000, "before_margin": 20_000}
    plant.enter(made("fit", "R1", 1, **RING, **about))
    plant.enter(made("fit", "R2", 1, press=OTHER, position="ring-3", strokes_before=30_000))
    Forecaster().round(plant.conn, LATELY)
    rough, told = (stands(plant.conn)[press, "ring-3"] for press in PRESSES)
    assert rough.inputs["age_margin"] == 20_000
    assert any("stated by hand, within 20,000" in one for one in rough.basis["cautions"])
    assert width(rough) > width(told) + 10_000


def test_a_place_that_cannot_be_fitted_keeps_its_fit(plant, monkeypatch, caplog):
    plant.enter(made("fit", "R1", 1, **RING), made("fit", "P1", 1, press=PRESS, position="punch"))
    forecaster = Forecaster()
    forecaster.round(plant.conn, LATELY)
    before = stands(plant.conn)[PRESS, "ring-3"]
    fitted = models.fitted

    def odd(settings, *more):
        if settings["position"] == "ring-3":
            raise OverflowError("odd lives")
        return fitted(settings, *more)

    monkeypatch.setattr(models, "fitted", odd)
    plant.enter(made("pull", "R1", 8, reason="worn"), made("fit", "R2", 9, **RING))
    plant.enter(
        made("pull", "P1", 8, reason="worn"), made("fit", "P2", 9, press=PRESS, position="punch")
    )
    assert forecaster.round(plant.conn, LATELY).fits == 1
    after = stands(plant.conn)
    assert after[PRESS, "ring-3"].serial == "R2"
    assert after[PRESS, "ring-3"].basis["fit"] == before.basis["fit"]
    assert after[PRESS, "punch"].basis["failures"] == 1
    assert [one.action for one in caplog.records if one.levelname == "ERROR"] == [
        "place-not-fitted"
    ]


def with_record(plant) -> list[int]:
    """A plant whose forecasts rest on readings, past lives and stops; their numbers."""
    plant.enter(made("fit", "R1", 1, **RING), made("fit", "R2", 2, press=OTHER, position="ring-3"))
    plant.enter(made("pull", "R2", 8, reason="worn"))
    plant.enter(made("fit", "P1", 2, press=PRESS, position="punch"))
    for hour, value in ((3, 1.0), (5, 1.7), (9, 3.0)):
        read(plant, "R1", hour, value, uncertainty=0.3)
    read(plant, "P1", 6)
    Forecaster().round(plant.conn, LATELY)
    numbers = plant.unit.forecasts.last_on_record(9)
    assert len(numbers) == 2
    # What comes later does not show in what was said before.
    plant.enter(made("pull", "R1", 9.5, reason="broken"))
    Forecaster().round(plant.conn, LATELY + AGED)
    return numbers


def test_a_forecast_on_record_comes_out_the_same_again(plant):
    for number in with_record(plant):
        again = recompute(plant.unit, number)
        assert again.is_same
        assert "the same to the byte" in again.words
    with pytest.raises(KeyError):
        recompute(plant.unit, 10**9)


def test_it_comes_out_the_same_in_another_process(plant, database_url):
    numbers = with_record(plant)
    command = [sys.executable, "-m", "launch", "recompute", "--position", "ring-3"]
    done = subprocess.run(
        command,
        env={"DUESTROKE_DATABASE_URL": database_url, "OMP_NUM_THREADS": "1"},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    told = done.stdout.splitlines()
    assert [int(line.partition(":")[0]) for line in told] == numbers[:1]
    assert all("the same to the byte" in line for line in told)


def test_a_forecast_that_was_tampered_with_does_not_come_out_the_same(plant):
    numbers = with_record(plant)
    plant.conn.execute(
        "UPDATE forecast SET inputs = jsonb_set(inputs, '{strokes}', '89000') WHERE id = %s",
        [numbers[0]],
    )
    again = recompute(plant.unit, numbers[0])
    assert not again.is_same
    assert "not the same" in again.words
    plant.conn.execute("DELETE FROM life_chunk")
    with pytest.raises(NotKept):
        recompute(plant.unit, numbers[0])
    plant.conn.execute("DELETE FROM stop_calendar")
    with pytest.raises(NotKept):
        recompute(plant.unit, numbers[0])


def test_lives_come_back_from_their_chunks(plant):
    with_record(plant)
    lives = plant.unit.lives.for_inference()
    many = [replace(life, id=f"{life.id}-{k}") for life in lives for k in range(120)]
    chunks = Packer().pack(many)
    assert len(chunks) > 2
    assert unpack(chunks.values()) == sorted(many, key=lambda life: life.id)
    packer = Packer()
    assert packer.pack(many[::-1]) == chunks == packer.pack(many)
    moved = [*many[:-1], replace(many[-1], strokes=many[-1].strokes + 1)]
    again = packer.pack(moved)
    assert len(set(again) - set(chunks)) == 1
    assert digest_of_fit(again, {}) != digest_of_fit(chunks, {})


def test_the_store_keeps_a_chunk_once(plant, database_url):
    with_record(plant)
    with connect(database_url) as conn, Unit(conn) as unit:
        before = conn.execute("SELECT count(*) AS n FROM life_chunk").fetchone()["n"]
        models = unit.forecasts.models()
        kept = {digest for model in models for digest in model.chunks}
        unit.forecasts.keep_lives(dict.fromkeys(kept, b"other"))
        after = conn.execute("SELECT count(*) AS n FROM life_chunk").fetchone()["n"]
    assert before == after >= len(kept) > 0

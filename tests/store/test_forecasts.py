"""Forecasts and models on real Postgres: what stands, what stays on record, pages."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from duestroke.forecast import Forecast, answer, forecast_press
from store.forecasts import LifeModel
from store.unit import Unit, connect
from tests.support.laws import NOW, WeibullLaw, basis, press, tool
from tests.support.plants import register

PRESSES = ("works/1/01", "works/1/02", "works/2/01")


@pytest.fixture
def unit(database_url):
    with connect(database_url) as conn, Unit(conn) as unit:
        register(unit, *PRESSES)
        yield unit


def forecast(
    name: str = PRESSES[0], position: str = "ring-3", age: float = 20e6, **more: object
) -> Forecast:
    ring = tool(age, position=position, interval_strokes=90e6, serial=f"{name[-1]}-{position}")
    made = forecast_press(press(press=name), [(ring, basis(WeibullLaw()))], NOW)[0]
    return replace(made, **more)


def test_what_is_read_is_what_was_written(unit):
    kept = forecast()
    unit.forecasts.append([PRESSES[0]], [kept])
    (read,) = unit.forecasts.current()
    assert answer(read, [0.05, 0.5, 0.95]) == answer(kept, [0.05, 0.5, 0.95])
    assert replace(read, inputs={}, basis={}) == replace(kept, inputs={}, basis={})
    assert read.digest == kept.digest


def test_one_without_basis_and_rate_is_kept_too(unit):
    ring = tool(interval_days=3)
    bare = forecast_press(press(rate=None, as_of=None), [(ring, basis(None))], NOW)[0]
    unit.forecasts.append([PRESSES[0]], [bare])
    (read,) = unit.forecasts.current()
    assert answer(read) == answer(bare)


def test_the_newest_stands_and_the_record_only_grows_with_news(unit):
    forecasts = unit.forecasts
    first = forecast()
    assert forecasts.append([PRESSES[0]], [first]) == 1
    minute = replace(first, made_at=NOW + timedelta(minutes=1), strokes=20_000_400.0)
    assert forecasts.append([PRESSES[0]], [minute]) == 0
    worse = replace(minute, state="overdue", made_at=NOW + timedelta(minutes=2))
    assert forecasts.append([PRESSES[0]], [worse]) == 1
    next_day = replace(worse, made_at=NOW + timedelta(days=1, minutes=3))
    assert forecasts.append([PRESSES[0]], [next_day]) == 1
    other = replace(next_day, serial="IR-2", made_at=NOW + timedelta(days=1, minutes=4))
    assert forecasts.append([PRESSES[0]], [other]) == 1
    history = forecasts.history(PRESSES[0], "ring-3")
    assert [each.made_at for _, each in history] == [
        each.made_at for each in (first, worse, next_day, other)
    ]
    assert [each.serial for each in forecasts.current()] == ["IR-2"]
    after = history[1][0]
    assert [number for number, _ in forecasts.history(after=after)] == [
        number for number, _ in history[2:]
    ]


def test_a_place_left_empty_loses_its_forecast_others_keep_theirs(unit):
    unit.forecasts.append(PRESSES[:2], [forecast(name) for name in PRESSES[:2]])
    assert unit.forecasts.append([PRESSES[0]], []) == 0
    assert [each.press for each in unit.forecasts.current()] == [PRESSES[1]]
    assert len(unit.forecasts.history(PRESSES[0])) == 1


def test_pages_go_by_press_and_position(unit):
    every = [forecast(name, position) for name in PRESSES for position in ("punch", "ring-3")]
    unit.forecasts.append(PRESSES, every[::-1])
    seen: list[tuple[str, str]] = []
    after = None
    while page := unit.forecasts.current(limit=4, after=after):
        seen += [(each.press, each.position) for each in page]
        after = seen[-1]
    assert seen == [(each.press, each.position) for each in every]
    assert [each.press for each in unit.forecasts.current(position="punch")] == list(PRESSES)
    assert len(unit.forecasts.current(PRESSES[2])) == 2


def test_a_press_shows_its_worst_tool_and_its_next_due(unit):
    places = [
        forecast(position="punch", age=30e6, state="plan"),
        forecast(position="ring-1", age=10e6, state="cant-tell"),
        forecast(position="ring-2", age=20e6, state="cant-tell"),
        forecast(position="ring-3", age=1e6, state="this-stop"),
    ]
    unit.forecasts.append([PRESSES[0]], places)
    unit.forecasts.append([PRESSES[1]], [forecast(PRESSES[1], state="fine")])
    worst = unit.forecasts.worst_of(PRESSES)
    assert {name: each.position for name, each in worst.items()} == {
        PRESSES[0]: "ring-2",
        PRESSES[1]: "ring-3",
    }
    assert unit.forecasts.worst(PRESSES[2]) is None
    assert unit.forecasts.next_due_of(PRESSES)[PRESSES[0]].position == "punch"


def model(digest: str, weight: float) -> LifeModel:
    return LifeModel(
        *("ironing-ring", "ring-3", digest, NOW, "life-1"),
        *({"families": {"weibull": weight}}, {"lives": 3}),
    )


def test_the_newest_model_stands_and_older_ones_stay_by_digest(unit):
    unit.forecasts.save_model(model("a" * 64, 0.4))
    unit.forecasts.save_model(model("b" * 64, 0.6))
    stands = unit.forecasts.model("ironing-ring", "ring-3")
    assert stands == model("b" * 64, 0.6)
    old = unit.forecasts.model_of("a" * 64)
    assert old is not None
    assert old.content == {"families": {"weibull": 0.4}}
    # The same lives again, such as after a wrong entry was taken back.
    unit.forecasts.save_model(model("a" * 64, 0.4))
    again = unit.forecasts.model("ironing-ring", "ring-3")
    assert again is not None
    assert again.digest == "a" * 64
    assert len(unit.forecasts.models()) == 1
    assert unit.forecasts.model("punch", "punch") is None


def test_leaving_without_commit_keeps_nothing(database_url):
    with connect(database_url) as conn:
        with Unit(conn) as unit:
            register(unit, PRESSES[0])
            unit.commit()
        with Unit(conn) as unit:
            unit.forecasts.append([PRESSES[0]], [forecast()])
        with Unit(conn) as unit:
            assert unit.forecasts.current() == []
            assert unit.forecasts.oldest_made() is None

"""The demo plant's lives without a database are those that the store tells from its ledger."""

from __future__ import annotations

import pytest

from benchmarks.demo_lives import FIRST_DAY, DemoPlant
from simulators import demo
from simulators.plant import BY_NAME
from simulators.works import SEED
from store.unit import Unit, connect

PRESS = "harlow-mere/2/06"


@pytest.fixture
def told(database_url, tmp_path):
    """Lives of one press by the store, loaded for this."""
    demo.load(database_url, tmp_path, FIRST_DAY, lambda line: None, [BY_NAME[PRESS]])
    with connect(database_url) as conn, Unit(conn) as unit:
        return unit.lives.page(None, with_speeds=True)


def test_they_are_the_store_s(told) -> None:
    """Age for age and reading for reading, but for what a late or wrong entry moved a little."""
    plant = DemoPlant(SEED)
    for position in ("ring-3", "punch"):
        ours = {
            (life.serial, life.life_number): life
            for life in plant.lives(position)
            if life.press == PRESS
        }
        theirs = [life for life in told if life.position == position]
        assert len(theirs) == len(ours)
        for life in theirs:
            own = ours[life.serial, life.life_number]
            assert (own.end, own.batch) == (life.end, life.batch)
            assert own.entry_strokes == life.entry_strokes
            assert own.strokes == pytest.approx(life.strokes, abs=30_000)
            assert own.strokes_low == pytest.approx(life.strokes_low, abs=30_000)
            assert len(own.readings) == len(life.readings)
            for mine, its in zip(own.readings, life.readings, strict=True):
                assert mine.strokes == pytest.approx(its.strokes, abs=30_000)
                assert (mine.share, mine.session) == (pytest.approx(its.share), its.session)
                assert mine.sd == pytest.approx(its.sd)
            if life.mean_speed_mps is not None:
                assert own.mean_speed_mps == pytest.approx(life.mean_speed_mps, rel=2e-3)

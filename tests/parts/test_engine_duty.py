"""The duty of lives: speed and roughness off the days of a press, on every kind of record."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from duestroke.stroke import Drive, drive_ram_ratio, ram_ratio
from engine.duty import STEP_DAYS, PressDuty, duty_of, relative_roughness, steps_down
from store.duty import DutyDay, PgDuty
from store.unit import Unit, connect
from tests.support.plants import NOW, register, report, steady

FIRST = datetime(2026, 1, 1, tzinfo=UTC)
DAY = timedelta(days=1)


def noisy(levels, seed=4):
    """Daily K with the noise that a year of ten-minute reports leaves, 0.2 %."""
    rng = np.random.default_rng(seed)
    return np.asarray(levels) * np.exp(rng.normal(0, 0.002, len(levels)))


def test_a_steady_ram_is_as_rough_as_itself():
    relative = relative_roughness(noisy(np.full(400, 1.116)))
    assert np.all(np.abs(relative - 1) < 0.01)


def test_a_creeping_ram_is_told_in_full():
    """The ram of the demo's press 2/05: K 1.116, from day 340 up to 1.21 within 29 days."""
    ramp = np.concatenate((np.full(340, 1.116), np.linspace(1.116, 1.21, 29), np.full(9, 1.21)))
    relative = relative_roughness(noisy(ramp))
    assert relative[-9:].mean() == pytest.approx(1.21 / 1.116, abs=0.003)
    assert relative[:340].mean() == pytest.approx(1.0, abs=0.001)


@pytest.mark.parametrize("after", [3, 5, 6, 9, 11, 15, 100, 300])
def test_an_accelerometer_scaled_anew_never_reads_as_an_improvement(after):
    """The demo's press 2/02: scaled by 0.93 at a repair; before and after the ram is the same."""
    relative = relative_roughness(noisy(np.repeat([1.116, 0.93 * 1.116], [200, after])))
    assert np.all(np.abs(relative - 1) < 0.015)


def test_a_ram_that_creeps_after_a_new_scale_is_still_seen():
    levels = np.concatenate((np.full(200, 1.116), 0.93 * np.linspace(1.116, 1.21, 120)))
    relative = relative_roughness(noisy(levels))
    assert relative[-1] > 1.05


def test_a_step_up_stays_and_the_way_back_is_a_new_level():
    levels = noisy(np.repeat([1.0, 1.06, 1.0], [150, 60, 90]))
    relative = relative_roughness(levels)
    assert relative[150:210].mean() == pytest.approx(1.06, abs=0.003)
    assert relative[210:].mean() == pytest.approx(1.0, abs=0.003)
    assert steps_down(levels) == [210]


def test_later_days_do_not_move_earlier_figures():
    levels = noisy(np.concatenate((np.full(200, 1.0), np.linspace(1.0, 1.2, 100))))
    whole = relative_roughness(levels)
    for so_far in (61, 150, 250):
        np.testing.assert_array_equal(relative_roughness(levels[:so_far]), whole[:so_far])


@pytest.mark.parametrize("days", [0, 1, 2 * STEP_DAYS - 1, 2 * STEP_DAYS])
def test_young_records_and_days_without_k(days):
    levels = np.full(days, 1.05)
    levels[::3] = np.nan
    relative = relative_roughness(levels)
    assert np.array_equal(np.isnan(relative), np.isnan(levels))
    assert np.all(relative[~np.isnan(levels)] == 1.0)


def days(speeds, ratios, strokes=500_000):
    made = []
    for k, (speed, ratio) in enumerate(zip(speeds, ratios, strict=True)):
        ran = strokes if speed else 0
        made.append(DutyDay(FIRST + k * DAY, ran, round(speed * 1e6) * ran, ran, ratio))
    return made


def test_the_duty_of_a_stretch_is_that_of_its_whole_days():
    duty = PressDuty(days([10.0] * 5 + [12.0] * 5, [1.0] * 10))
    noon = FIRST + DAY / 2
    assert duty_of(duty.sums(FIRST, FIRST + 5 * DAY)).speed_mps == 10.0
    assert duty_of(duty.sums(noon, FIRST + 7 * DAY)).speed_mps == pytest.approx(64 / 6, abs=1e-3)
    assert duty_of(duty.sums(FIRST + 9 * DAY, None)).speed_mps == 12.0
    assert duty_of(duty.sums(noon, noon)).speed_mps is None
    assert duty_of(duty.sums(noon + 90 * DAY, None)).roughness is None
    assert duty_of(duty.sums(FIRST + 5 * DAY, FIRST)).speed_mps is None


def test_how_a_press_runs_now_is_that_of_its_last_fourteen_running_days():
    speeds = [10.0] * 20 + [12.0] * 10 + [0.0] * 30 + [12.0] * 4
    duty = PressDuty(days(speeds, [1.0] * 64))
    assert duty.now().speed_mps == 12.0
    assert PressDuty([]).now().speed_mps is None


def test_days_off_the_hourly_rollups(database_url):
    """K of a drive whose rate, speed and acceleration are known; Tokyo's day begins at 15:00 UTC.

    400 strokes a minute, 11 m/s and 430 m/s2: K by its definition.
    """
    press, still = "works/1/01", "works/1/02"
    with connect(database_url) as conn, Unit(conn) as unit:
        register(unit, press, timezone="Asia/Tokyo")
        register(unit, still)
        report(unit, press, steady(4, every_minutes=10))
        found = PgDuty(conn).days([press, still], NOW - timedelta(days=30))
        later = PgDuty(conn).days([press], NOW - timedelta(hours=45))
    assert set(found) == {press}
    whole = [day for day in found[press] if day.strokes == 400 * 1440]
    assert [day.day.hour for day in whole] == [15] * 3
    for day in whole:
        assert day.roughness == pytest.approx(ram_ratio(430.0, 11.0, 400.0), rel=1e-6)
        assert day.speed_sum / day.speed_weight == pytest.approx(11e6)
    first, last = found[press][0], found[press][-1]
    assert first.strokes < 12 * 60 * 400
    assert first.roughness is None
    assert last.roughness == pytest.approx(whole[0].roughness)
    assert later[press][-1] == last


def test_a_slider_crank_reads_its_own_ratio():
    """Trade check: K = (1 + L) / sqrt(1 + L^2), 1.116 at L = 250/2000 (exact plane kinematics)."""
    assert drive_ram_ratio(Drive(0.25, 2.0)) == pytest.approx(1.116, abs=1e-3)

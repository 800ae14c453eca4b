"""The stroke of a ram: identities that hold for every drive, and refusals by name."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from duestroke import stroke
from duestroke.errors import BadField

drives = st.builds(
    lambda radius, ratio: stroke.Drive(radius, None if ratio is None else radius / ratio),
    st.floats(0.05, 0.5),
    st.none() | st.floats(0.01, 0.88),
)
rates = st.floats(1.0, 2000.0)


@given(drives)
def test_the_ram_travels_one_stroke_between_dead_centres(drive):
    assert stroke.position(drive, 0.0) == pytest.approx(0.0, abs=1e-15)
    assert stroke.position(drive, math.pi) == pytest.approx(drive.stroke_m, rel=1e-12)


@given(drives, st.floats(0.0, math.tau), rates)
def test_speed_and_acceleration_are_the_derivatives_of_position(drive, angle, rate):
    omega, step = stroke.angular_speed(rate), 1e-5
    around = np.array([angle - step, angle + step])
    slope = float(np.diff(stroke.position(drive, around))[0] / (2 * step)) * omega
    speed_slope = float(np.diff(stroke.velocity(drive, around, omega))[0] / (2 * step)) * omega
    scale = drive.crank_radius_m * omega
    assert float(stroke.velocity(drive, angle, omega)) == pytest.approx(slope, abs=1e-6 * scale)
    assert float(stroke.acceleration(drive, angle, omega)) == pytest.approx(
        speed_slope, abs=1e-5 * scale * omega
    )


@given(drives, rates)
def test_no_angle_is_faster_or_harder_than_the_peaks(drive, rate):
    angles = np.linspace(0.0, math.tau, 2001)
    omega = stroke.angular_speed(rate)
    fastest = np.abs(stroke.velocity(drive, angles, omega)).max()
    hardest = np.abs(stroke.acceleration(drive, angles, omega)).max()
    assert stroke.peak_speed(drive, rate) == pytest.approx(fastest, rel=1e-5)
    assert stroke.peak_acceleration(drive, rate) == pytest.approx(hardest, rel=1e-12)


@given(drives, rates)
def test_ram_ratio_depends_on_neither_rate_nor_stroke_length(drive, rate):
    k = stroke.ram_ratio(
        stroke.peak_acceleration(drive, rate), stroke.peak_speed(drive, rate), rate
    )
    ratio = drive.rod_ratio
    assert k == pytest.approx(stroke.drive_ram_ratio(drive), rel=1e-9)
    if ratio <= 0.3:
        assert k == pytest.approx((1 + ratio) / math.sqrt(1 + ratio**2), rel=4e-4)


def test_peaks_of_a_straight_line_drive_are_the_harmonic_ones():
    drive = stroke.Drive(0.275)
    omega = stroke.angular_speed(380.0)
    assert stroke.peak_speed(drive, 380.0) == pytest.approx(0.275 * omega, rel=1e-12)
    assert stroke.dead_centre_accelerations(drive, 380.0) == pytest.approx((0.275 * omega**2,) * 2)
    found = stroke.harmonic_from_peaks(
        stroke.peak_speed(drive, 380.0), stroke.peak_acceleration(drive, 380.0)
    )
    assert found.stroke_m == pytest.approx(0.55)
    assert found.strokes_per_minute == pytest.approx(380.0)


@pytest.mark.parametrize(
    ("field", "call"),
    [
        ("crank_radius_m", lambda: stroke.Drive(0.0)),
        ("crank_radius_m", lambda: stroke.Drive(math.nan)),
        ("rod_length_m", lambda: stroke.Drive(0.25, 0.25)),
        ("rod_length_m", lambda: stroke.Drive(0.25, math.inf)),
        ("peak_speed", lambda: stroke.ram_ratio(400.0, 0.0, 380.0)),
        ("peak_accel", lambda: stroke.ram_ratio(-1.0, 11.0, 380.0)),
        ("strokes_a_minute", lambda: stroke.ram_ratio(400.0, 11.0, 0.0)),
        ("strokes_a_minute", lambda: stroke.peak_speed(stroke.Drive(0.25), -1.0)),
        ("peak_accel", lambda: stroke.harmonic_from_peaks(11.0, math.inf)),
    ],
)
def test_what_no_drive_can_be_is_refused_by_name(field, call):
    with pytest.raises(BadField) as refused:
        call()
    assert refused.value.field == field

"""Figures of ram kinematics from outside, through the functions that the product itself calls."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from duestroke import stroke

DATA: dict[str, Any] = json.loads(
    (Path(__file__).parent / "data" / "kinematics.json").read_text(encoding="utf-8")
)


def test_harmonic_stroke_from_trade_figures():
    """E1. Source: physics; 11 m/s and 45 g are common practice, no source."""
    given, expected = DATA["E1"]["inputs"], DATA["E1"]["expected"]
    assert given["g"] == stroke.STANDARD_GRAVITY
    found = stroke.harmonic_from_peaks(given["v_max"], given["a_max_g"] * given["g"])
    seen = {
        "omega": found.omega,
        "strokes_per_min": found.strokes_per_minute,
        "stroke_m": found.stroke_m,
        "s_per_stroke": found.seconds_per_stroke,
        "days_for_100_million": found.days_for(100e6),
    }
    assert seen.keys() == expected.keys()
    for name, want in expected.items():
        assert seen[name] == pytest.approx(want["value"], abs=want["abs_tol"]), name


@pytest.mark.parametrize("rod_over_crank", sorted(DATA["E2"]["expected"]))
def test_exact_slider_crank(rod_over_crank):
    """E2. Source: exact kinematics; two-term form on an engineering reference page."""
    drive = stroke.Drive(0.25, 0.25 * int(rod_over_crank))
    rate = 390.0
    omega = stroke.angular_speed(rate)
    front, back = stroke.dead_centre_accelerations(drive, rate)
    seen = [
        stroke.peak_speed(drive, rate) / (omega * 0.25),
        math.degrees(stroke.angle_of_peak_speed(drive)),
        front / (omega**2 * 0.25),
        back / (omega**2 * 0.25),
    ]
    assert seen == pytest.approx(DATA["E2"]["expected"][rod_over_crank], rel=DATA["E2"]["rel_tol"])

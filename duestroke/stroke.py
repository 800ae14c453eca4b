"""The stroke of a ram: position, speed and acceleration of a crank drive, and the ram ratio K.

Crank angle 0 is front dead centre (the domer), where the ram lies farthest from the crank; x is the
distance from it, in metres. A straight-line drive has no rod and moves in pure harmonic.

Source of every formula: exact plane kinematics of the in-line slider-crank,
x = r + l - (r cos t + sqrt(l^2 - r^2 sin^2 t)), differentiated; any text on mechanics of machinery.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from duestroke.errors import BadField

STANDARD_GRAVITY: Final = 9.80665
"""m/s2, exact by definition. Source: ISO 80000-3 (CGPM 1901)."""

_SOLVER_STEPS: Final = 60


@dataclass(frozen=True, slots=True)
class Drive:
    """What moves a ram: half its stroke, and the rod between crank and ram if there is one.

    crank_radius_m: > 0, m.  rod_length_m: > crank_radius_m, m; None for a straight-line drive.
    Raises BadField naming the argument.
    """

    crank_radius_m: float
    rod_length_m: float | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.crank_radius_m) and self.crank_radius_m > 0):
            raise BadField("crank_radius_m", self.crank_radius_m, "above 0 m")
        if self.rod_length_m is not None and not self.crank_radius_m < self.rod_length_m < math.inf:
            raise BadField("rod_length_m", self.rod_length_m, "longer than the crank radius")

    @property
    def rod_ratio(self) -> float:
        """L = crank radius over rod length, 0 <= L < 1; 0 for a straight-line drive."""
        return 0.0 if self.rod_length_m is None else self.crank_radius_m / self.rod_length_m

    @property
    def stroke_m(self) -> float:
        """Length of the ram's stroke, m."""
        return 2.0 * self.crank_radius_m


@dataclass(frozen=True, slots=True)
class HarmonicStroke:
    """The one pure harmonic stroke that has a given peak speed and peak acceleration."""

    omega: float
    """Crank speed, rad/s."""
    stroke_m: float

    @property
    def strokes_per_minute(self) -> float:
        return strokes_per_minute(self.omega)

    @property
    def seconds_per_stroke(self) -> float:
        return math.tau / self.omega

    def days_for(self, strokes: float) -> float:
        """Days of uninterrupted running for so many strokes."""
        return strokes * self.seconds_per_stroke / 86_400.0


def angular_speed(strokes_a_minute: float) -> float:
    """Crank speed in rad/s at a rate in strokes a minute, >= 0."""
    return math.tau * _not_below_zero("strokes_a_minute", strokes_a_minute) / 60.0


def strokes_per_minute(omega: float) -> float:
    """Rate in strokes a minute at a crank speed in rad/s, >= 0."""
    return _not_below_zero("omega", omega) * 60.0 / math.tau


def position(drive: Drive, angle: ArrayLike) -> NDArray[np.float64]:
    """Distance from front dead centre, m, at crank angles in rad; any shape, same shape back."""
    r, ratio = drive.crank_radius_m, drive.rod_ratio
    sine, cosine = np.sin(angle), np.cos(angle)
    # l - sqrt(l^2 - r^2 sin^2), written so that a long rod loses no digits.
    rod = r * ratio * sine**2 / (1.0 + np.sqrt(1.0 - (ratio * sine) ** 2))
    return np.asarray(r * (1.0 - cosine) + rod, dtype=np.float64)


def velocity(drive: Drive, angle: ArrayLike, omega: float) -> NDArray[np.float64]:
    """Ram speed away from front dead centre, m/s, at crank angles in rad and omega in rad/s."""
    r, ratio = drive.crank_radius_m, drive.rod_ratio
    sine, cosine = np.sin(angle), np.cos(angle)
    root = np.sqrt(1.0 - (ratio * sine) ** 2)
    return np.asarray(r * omega * sine * (1.0 + ratio * cosine / root), dtype=np.float64)


def acceleration(drive: Drive, angle: ArrayLike, omega: float) -> NDArray[np.float64]:
    """Ram acceleration, m/s2, positive away from front dead centre, at crank angles in rad."""
    r, ratio = drive.crank_radius_m, drive.rod_ratio
    sine, cosine = np.sin(angle), np.cos(angle)
    root = np.sqrt(1.0 - (ratio * sine) ** 2)
    rod = ratio * (cosine**2 - sine**2) / root + ratio**3 * (sine * cosine) ** 2 / root**3
    return np.asarray(r * omega**2 * (cosine + rod), dtype=np.float64)


def angle_of_peak_speed(drive: Drive) -> float:
    """Crank angle of the highest speed, rad, in (0, pi/2]; pi/2 for a straight-line drive."""
    low, high = 0.0, math.pi / 2
    if drive.rod_length_m is None:
        return high
    # Acceleration falls from above zero at the dead centre to below zero at a right angle.
    for _ in range(_SOLVER_STEPS):
        middle = (low + high) / 2
        if acceleration(drive, middle, 1.0) > 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def peak_speed(drive: Drive, strokes_a_minute: float) -> float:
    """Highest ram speed, m/s, at a rate in strokes a minute."""
    angle = angle_of_peak_speed(drive)
    return float(velocity(drive, angle, angular_speed(strokes_a_minute)))


def peak_acceleration(drive: Drive, strokes_a_minute: float) -> float:
    """Highest magnitude of ram acceleration, m/s2: at front dead centre, r w^2 (1 + L).

    Holds up to L = 0.88; a rod shorter than that, which no press has, peaks past a right angle.
    """
    return dead_centre_accelerations(drive, strokes_a_minute)[0]


def dead_centre_accelerations(drive: Drive, strokes_a_minute: float) -> tuple[float, float]:
    """Magnitudes of acceleration at front and back dead centre, m/s2: r w^2 (1 + L), (1 - L).

    The back one is the peak of its side up to L = 0.26; above, that peak moves off the dead centre.
    """
    base = drive.crank_radius_m * angular_speed(strokes_a_minute) ** 2
    return base * (1.0 + drive.rod_ratio), base * (1.0 - drive.rod_ratio)


def ram_ratio(peak_accel: float, peak_speed: float, strokes_a_minute: float) -> float:
    """K = peak acceleration / (w * peak speed), no unit: 1 for a pure harmonic stroke.

    It depends on neither rate nor stroke length, so it tells "runs rougher" from "runs faster".
    peak_accel: m/s2, >= 0.  peak_speed: m/s, > 0.  strokes_a_minute: > 0.  Raises BadField.
    """
    accel = _not_below_zero("peak_accel", peak_accel)
    speed = _above_zero("peak_speed", peak_speed)
    return accel / (angular_speed(_above_zero("strokes_a_minute", strokes_a_minute)) * speed)


def drive_ram_ratio(drive: Drive) -> float:
    """K of a drive in good order: 1 for a straight line, near (1 + L)/sqrt(1 + L^2) with a rod."""
    return ram_ratio(peak_acceleration(drive, 60.0), peak_speed(drive, 60.0), 60.0)


def harmonic_from_peaks(peak_speed: float, peak_accel: float) -> HarmonicStroke:
    """The pure harmonic stroke with these peaks: w = a/v, stroke = 2 v^2/a.

    peak_speed: m/s, > 0.  peak_accel: m/s2, > 0.  Raises BadField.
    """
    speed, accel = _above_zero("peak_speed", peak_speed), _above_zero("peak_accel", peak_accel)
    return HarmonicStroke(omega=accel / speed, stroke_m=2.0 * speed**2 / accel)


def _above_zero(name: str, value: float) -> float:
    if not (math.isfinite(value) and value > 0):
        raise BadField(name, value, "above 0")
    return float(value)


def _not_below_zero(name: str, value: float) -> float:
    if not (math.isfinite(value) and value >= 0):
        raise BadField(name, value, "0 or above")
    return float(value)

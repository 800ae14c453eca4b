"""What a gauge reads of a tool: the true change of size, less than perfectly.

All figures are the demo's own, but for the expansion: common handbook values of mean thermal
expansion (cemented carbide with 10 % cobalt 5.2 um/(m K)) on the sizes of this plant.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from duestroke.times import from_micros
from simulators import noise
from simulators.plant import SECOND, Position, Press
from simulators.stops import local_day
from simulators.stories import Demo

UNIT: Final = "um"
SESSION_SIGMA_UM: Final = 0.3
WARMEST_K: Final = 3.0
WALL_UM: Final = 75.0
DOME_DEPTH_MM: Final = 10.0
_WALL_SIGMA_UM: Final = 0.3
_DEPTH_SIGMA_MM: Final = 0.003


@dataclass(frozen=True)
class Gauged:
    """What is measured at a position, and how much a kelvin moves the reading, um."""

    quantity: str
    um_per_k: float


GAUGED: Final = {
    "punch": Gauged("diameter", 0.34),
    "redraw-die": Gauged("bore", 0.34),
    "redraw-sleeve": Gauged("face-depth", 0.1),
    "ring-1": Gauged("bore", 0.34),
    "ring-2": Gauged("bore", 0.34),
    "ring-3": Gauged("bore", 0.34),
    "dome-die": Gauged("profile-height", 0.1),
    "hold-ring": Gauged("face-depth", 0.1),
}


def session_um(demo: Demo, at: int) -> float:
    """The bias that all readings of one day share, um: one gauge, set up once a day."""
    day = local_day(from_micros(at)).toordinal()
    return SESSION_SIGMA_UM * float(noise.normal(noise.key(demo.seed, "gauge-session"), day))


def off_k(demo: Demo, at: int) -> float:
    """How far above 20 C the tools of one day are gauged, K: 0 to 3."""
    day = local_day(from_micros(at)).toordinal()
    share = float(noise.uniform(noise.key(demo.seed, "gauge-temperature"), day))
    return WARMEST_K * share


def error_um(demo: Demo, press: Press, position: Position, at: int) -> float:
    """All that is wrong with one reading, um: noise, the day's bias, the day's temperature.

    A reading is a change since the fit; the size at the fit was read in the same room, which on
    average is half as warm as at its warmest.
    """
    stream = noise.key(demo.seed, press.name, position.name, "reading")
    own = position.noise_um * float(noise.normal(stream, at // SECOND))
    warm = GAUGED[position.name].um_per_k * (off_k(demo, at) - WARMEST_K / 2.0)
    return own + session_um(demo, at) + warm


def reading_um(demo: Demo, press: Press, position: Position, at: int, change_um: float) -> float:
    """The reading of a true change (um, absolute): um towards the limit, in steps of 0.1."""
    towards = 1.0 if (position.limit_um or 0.0) > 0 else -1.0
    return round(change_um + towards * error_um(demo, press, position, at), 1)


def uncertainty_um(position: Position) -> float:
    """Half-width of a reading's 95 % range, um, to a tenth: coverage factor 2 (JCGM 100:2008)."""
    warm = GAUGED[position.name].um_per_k * WARMEST_K / math.sqrt(12.0)
    spread = math.hypot(position.noise_um, SESSION_SIGMA_UM, warm)
    return round(2.0 * spread, 1)


def wall_um(demo: Demo, press: Press, at: int, bore_um: float, punch_um: float) -> float:
    """Wall of a can, um: half of what the bore of ring 3 gained and the punch lost (both >= 0)."""
    stream = noise.key(demo.seed, press.name, "wall")
    error = _WALL_SIGMA_UM * float(noise.normal(stream, at // SECOND))
    return round(WALL_UM + (bore_um + punch_um) / 2.0 + error, 1)


def dome_depth_mm(demo: Demo, press: Press, at: int, worn_um: float) -> float:
    """Depth of a can's dome, mm, for a dome die whose profile lost so much (um >= 0)."""
    stream = noise.key(demo.seed, press.name, "dome-depth")
    error = _DEPTH_SIGMA_MM * float(noise.normal(stream, at // SECOND))
    return round(DOME_DEPTH_MM - worn_um / 1000.0 + error, 3)

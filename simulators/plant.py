"""Harlow Mere Can Works: an invented plant, its lines, presses, positions and what its tools do.

Every figure here is made up for the demo, or is common practice without a source.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

from duestroke.stroke import Drive

SITE: Final = "harlow-mere"
ZONE: Final = "Europe/London"
HISTORY_DAYS: Final = 730
MAX_SPM: Final = 480
CREWS: Final = ("Alder", "Birch", "Cedar", "Damson")

SECOND: Final = 1_000_000
MINUTE: Final = 60 * SECOND
HOUR: Final = 60 * MINUTE
DAY: Final = 24 * HOUR


Policy = Literal["to-limit", "at-85-percent", "fixed-age"]
"""When the crew of a line takes a tool out: see `simulators.policy`."""


@dataclass(frozen=True)
class Line:
    """One line of presses: drive, set rate, weekday of its weekly clean (Monday is 0).

    quarterly_week, size_change_week: of 13 and of 26.  moduli: of the presses' counters, in order;
    2^32 where none is named.
    """

    name: str
    presses: int
    drive: Drive
    strokes_a_minute: int
    clean_weekday: int
    quarterly_week: int
    size_change_week: int | None = None
    policy: Policy = "to-limit"
    moduli: tuple[int, ...] = ()
    site: str = SITE


@dataclass(frozen=True)
class Press:
    """One press: where it stands, the counter it has, and when in the minute it reports."""

    line: Line
    number: int
    modulus: int

    @property
    def name(self) -> str:
        return f"{self.line.site}/{self.line.name}/{self.number:02d}"


_BITS_16: Final = 2**16
_BCD_8: Final = 10**8
LINES: Final = (
    Line("1", 6, Drive(0.275), 380, clean_weekday=1, quarterly_week=7,
         moduli=(_BITS_16,) * 3 + (_BCD_8,) * 3),
    Line("2", 7, Drive(0.250, 2.0), 390, clean_weekday=2, quarterly_week=5,
         policy="at-85-percent"),
    Line("3", 8, Drive(0.2625), 400, clean_weekday=3, quarterly_week=3, size_change_week=19,
         policy="fixed-age"),
)  # fmt: skip
"""Line 1 counts in 16 bits on 01-03 and in eight BCD digits on 04-06; the others in 32 bits."""


@dataclass(frozen=True)
class Plant:
    """A plant: lines, days of history, share of tools in place at its start with a known age.

    new_at_start: whether those tools are new, not somewhere in their life.  has_stories: whether
    what `simulators.stories` tells happens here, and whether its shelf is counted at the end.
    """

    lines: tuple[Line, ...]
    days: int = HISTORY_DAYS
    known_age: float = 0.7
    new_at_start: bool = False
    has_stories: bool = False

    @cached_property
    def presses(self) -> tuple[Press, ...]:
        """Every press, line by line."""
        return tuple(
            Press(line, number, line.moduli[number - 1] if line.moduli else 2**32)
            for line in self.lines
            for number in range(1, line.presses + 1)
        )


HARLOW_MERE: Final = Plant(LINES, has_stories=True)
PRESSES: Final = HARLOW_MERE.presses
BY_NAME: Final = {press.name: press for press in PRESSES}


@dataclass(frozen=True)
class Position:
    """What a tool in a position does. Lives in millions of strokes at 11 m/s, sizes in um.

    limit_um: size change at which it is worn; None where it only fails suddenly.
    growth, growth_sigma: median size change in um a million strokes, and spread of its log.
    speed_power: growth goes with (speed / 11)^speed_power.
    shape, scale: Weibull law of the sudden failure; roughness_power: hazard goes with (K/K0)^power.
    weeks: inspected every so many weekly stops.  minutes: a change takes.
    reworks: lives after the first.  rework_days: median, sigma of log.
    """

    name: str
    kind: str
    order: int
    limit_um: float | None
    growth: float
    growth_sigma: float
    speed_power: float
    shape: float
    scale: float
    roughness_power: float
    noise_um: float
    weeks: int
    minutes: int
    reworks: int
    rework_days: tuple[float, float]
    size_mm: float | None = None
    handbook_life: float = 0.0


_RING: Final = "ironing-ring"
POSITIONS: Final = (
    Position("punch", "punch", 7, -4.0, 0.060, 0.20, 1.3, 1.0, 400.0, 10.0, 0.3, 3, 45, 3,
             (9.0, 0.35), 66.0, 60e6),
    Position("redraw-die", "redraw-die", 1, 15.0, 0.18, 0.25, 1.0, 1.2, 600.0, 10.0, 0.8, 4, 35, 4,
             (10.0, 0.4), None, 80e6),
    Position("redraw-sleeve", "redraw-sleeve", 2, 20.0, 0.45, 0.30, 1.0, 1.3, 300.0, 10.0, 1.0, 2,
             30, 5, (5.0, 0.35), None, 40e6),
    Position("ring-1", _RING, 3, 10.0, 0.16, 0.22, 1.3, 1.1, 350.0, 20.0, 0.4, 2, 25, 0,
             (6.0, 0.4), 66.432, 60e6),
    Position("ring-2", _RING, 4, 8.0, 0.16, 0.22, 1.3, 1.1, 300.0, 20.0, 0.4, 2, 25, 1,
             (6.0, 0.4), 66.285, 50e6),
    Position("ring-3", _RING, 5, 6.0, 0.17, 0.22, 1.3, 1.2, 220.0, 20.0, 0.4, 1, 20, 1,
             (6.0, 0.4), 66.150, 35e6),
    Position("stripper", "stripper", 6, None, 0.0, 0.0, 0.0, 1.8, 28.0, 5.0, 0.0, 1, 20, 0,
             (0.0, 0.0), None, 20e6),
    Position("dome-die", "dome-die", 8, -15.0, 0.11, 0.25, 0.5, 1.3, 700.0, 15.0, 1.0, 4, 50, 5,
             (9.0, 0.35), None, 130e6),
    Position("hold-ring", "hold-ring", 9, 20.0, 0.18, 0.25, 0.5, 1.2, 500.0, 15.0, 1.0, 4, 40, 4,
             (6.0, 0.35), None, 105e6),
)  # fmt: skip
BY_POSITION: Final = {position.name: position for position in POSITIONS}

RING_STEPS: Final = {"ring-3": "ring-2", "ring-2": "ring-1"}
"""A ring at its size limit is reground to the bore of the step before."""

FIRST_LIVES: Final = {
    "punch": (40.0, 63.8, 84.1),
    "redraw-die": (54.9, 80.9, 112.6),
    "redraw-sleeve": (27.8, 43.1, 63.8),
    "ring-1": (38.9, 59.9, 80.8),
    "ring-2": (31.9, 48.1, 64.7),
    "ring-3": (23.7, 34.2, 45.9),
    "stripper": (8.0, 22.8, 44.5),
    "dome-die": (87.5, 131.3, 183.1),
    "hold-ring": (65.7, 105.4, 147.9),
}
"""B10, B50, B90 of first lives in millions of strokes at 11 m/s, K as new, all factors 1."""

"""What the API tells of lives: the model of a place, its read-outs, the lives, past forecasts."""

from __future__ import annotations

import msgspec

from dashboard.client import Time


class Figure(msgspec.Struct, frozen=True):
    """A median with the ends of its 90 % interval."""

    median: float
    low: float
    high: float


class Bounded(msgspec.Struct, frozen=True):
    """The same, where an end may not be known."""

    median: float
    low: float | None = None
    high: float | None = None


class Step(msgspec.Struct, frozen=True):
    """A step of the curve by end codes."""

    strokes: float
    survival: float
    low: float
    high: float
    at_risk: int
    ends: int


class CurvePoint(msgspec.Struct, frozen=True):
    """A point of the model's curve with its band."""

    strokes: float
    survival: float
    low: float
    high: float


class Pulls(msgspec.Struct, frozen=True):
    """Planned pulls, those with a reading, those last read above 85 % of the limit."""

    pulls: int
    with_reading: int
    close_to_limit: int


class Line(msgspec.Struct, frozen=True):
    """A line at its own speed."""

    line: str
    mean_speed_mps: float | None
    lives: int
    failures: int
    median_life: Figure
    b10: Figure
    end_codes_alone: Bounded | None
    planned_pulls: Pulls


class Effect(msgspec.Struct, frozen=True):
    """An exponent, told only where the records narrow what was believed before."""

    known: bool
    interval: Figure | None
    prior: Figure
    words: str


class Group(msgspec.Struct, frozen=True):
    """A batch or a press against the others; `needed` failures by true ratio."""

    label: str
    lives: int
    failures: int
    ratio: Figure
    differs: bool
    needed: dict[str, int | None]


class Groups(msgspec.Struct, frozen=True):
    """All batches or all presses."""

    groups: tuple[Group, ...]
    words: tuple[str, ...]


class Modes(msgspec.Struct, frozen=True):
    """Whether wear and sudden ends follow two laws, 0..1, and the share of sudden ones."""

    chance_of_two_laws: float
    worn: int
    sudden: int
    sudden_share: float | None


class ModeCurve(msgspec.Struct, frozen=True):
    """A mode by itself, the other one cut off."""

    mode: str
    ends: int
    step_curve: tuple[Step, ...]
    model_curve: tuple[CurvePoint, ...]


class PlotPoint(msgspec.Struct, frozen=True):
    """An end on probability paper: heights, null outside the paper."""

    strokes: float
    share: float
    weibull: float | None
    lognormal: float | None


class Heights(msgspec.Struct, frozen=True):
    """A bound of the line on each paper."""

    weibull: float | None
    lognormal: float | None


class PlotLine(PlotPoint, frozen=True):
    """The model's line on the paper, with its band."""

    low_on: Heights
    high_on: Heights


class Plot(msgspec.Struct, frozen=True):
    """Probability paper."""

    points: tuple[PlotPoint, ...]
    line: tuple[PlotLine, ...]


class Curves(msgspec.Struct, frozen=True):
    """What is told with `curves`."""

    modes: tuple[ModeCurve, ...]
    probability_plot: Plot


class Model(msgspec.Struct, frozen=True):
    """The model of one place, from `GET /life-models`."""

    kind: str
    position: str
    fit: str | None
    made_at: Time
    lives: int
    failures: int
    prior_only: bool
    families: dict[str, float]
    parameters: dict[str, Figure]
    median_life: Figure
    b10: Figure
    step_curve: tuple[Step, ...]
    model_curve: tuple[CurvePoint, ...]
    end_codes_alone: Bounded | None = None
    planned_pulls: Pulls | None = None
    by_line: tuple[Line, ...] = ()
    effects: dict[str, Effect] = {}
    groups: dict[str, Groups] = {}
    modes: Modes | None = None
    cautions: tuple[str, ...] = ()
    curves: Curves | None = None
    handbook_life: float | None = None
    handbook_spread: float | None = None


class Wear(msgspec.Struct, frozen=True):
    """A reading: age in strokes, part of the limit used up."""

    strokes: float
    share: float
    sd: float | None


class Life(msgspec.Struct, frozen=True):
    """A life that the inference uses, from `GET /lives`."""

    id: str
    source: str
    serial: str
    press: str | None
    batch: str | None
    entry_strokes: float
    strokes: float
    strokes_low: float | None
    end: str
    ended_at: Time | None
    mean_speed_mps: float | None
    life_number: int
    mean_roughness: float | None
    readings: tuple[Wear, ...]


class Surprise(msgspec.Struct, frozen=True):
    """A life whose end fell outside its 80 % range."""

    life: str
    serial: str
    press: str | None
    batch: str | None
    jam_nearby: bool | None
    side: str
    chance: float
    strokes: float
    end: str
    ended_at: Time | None


class Shared(msgspec.Struct, frozen=True):
    """What surprises have in common, and the chance (0..1) of sharing it by chance."""

    side: str
    attribute: str
    value: str
    among: int
    of: int
    in_all: int
    of_all: int
    chance: float


class Surprises(msgspec.Struct, frozen=True):
    """The last surprises."""

    looked_at: int
    outside: int
    expected: float | None
    last: tuple[Surprise, ...]
    in_common: tuple[Shared, ...]
    words: tuple[str, ...]


class Left(msgspec.Struct, frozen=True, kw_only=True):
    """Life left when pulled as planned; shares of the whole life, 0..1."""

    line: str = ""
    planned_pulls: int
    median_share_left: float | None
    lower_quarter: float | None
    upper_quarter: float | None
    strokes_left: float | None
    ended_in_use: int
    read_past_limit: int
    ended: int


class OneLeft(msgspec.Struct, frozen=True):
    """A planned pull with much life left."""

    life: str
    serial: str
    press: str | None
    strokes: float
    ended_at: Time | None
    share_left: dict[str, float]
    last_reading: float | None


class PulledEarly(msgspec.Struct, frozen=True):
    """Life left in tools pulled as planned."""

    all: Left
    by_line: tuple[Left, ...]
    most_left: tuple[OneLeft, ...]
    words: tuple[str, ...]


class Closeness(msgspec.Struct, frozen=True):
    """How far a law lies from the ends, and the chance (0..1) of lying that far."""

    anderson_darling: float | None
    chance: float | None
    samples: int


class Goodness(msgspec.Struct, frozen=True):
    """Goodness of fit by mode and family."""

    by_mode: dict[str, dict[str, Closeness | None]]
    words: tuple[str, ...]


class More(msgspec.Struct, frozen=True):
    """What is worked out when asked for."""

    surprises: Surprises | None = None
    pulls: PulledEarly | None = None
    goodness_of_fit: Goodness | None = None


class Coverage(msgspec.Struct, frozen=True):
    """Outcomes inside, below and above a range, with bounds."""

    share: float | None
    low: float
    high: float
    below: float | None
    above: float | None


class PitCell(msgspec.Struct, frozen=True):
    """Share of outcomes in a tenth of their forecasts' chance."""

    share: float | None
    low: float
    high: float


class Pit(msgspec.Struct, frozen=True):
    """Where in their forecasts the outcomes lay."""

    cells: tuple[PitCell, ...]


class Score(msgspec.Struct, frozen=True):
    """How past forecasts came out, from `GET /forecasts/score`."""

    source: str
    n: int
    lives: int
    outcomes: dict[str, int]
    coverage: dict[str, Coverage]
    due_coverage: dict[str, Coverage]
    crps: float | None
    crps_handbook_rule: float | None
    skill: float | None
    pit: Pit
    words: tuple[str, ...]
    scored_at: Time | None = None


class Side(msgspec.Struct, frozen=True):
    """The place in one of two calculations."""

    lives: int
    failures: int
    mean_speed_mps: float | None
    median_life: Figure
    b10: Figure
    spread: Figure
    handbook_life: float
    handbook_spread: float


class Apart(msgspec.Struct, frozen=True):
    """Changed less now, in strokes and as a ratio."""

    strokes: float
    ratio: float


class ToolSide(msgspec.Struct, frozen=True):
    """A tool in one of two calculations."""

    state: str
    due: dict[str, Time | None] | None = None


class ToolApart(msgspec.Struct, frozen=True):
    """Days between the due times of the two."""

    due_days: dict[str, float | None]


class ToolChange(msgspec.Struct, frozen=True):
    """A running tool now and changed."""

    press: str
    serial: str
    now: ToolSide
    changed: ToolSide
    difference: ToolApart


class WhatIf(msgspec.Struct, frozen=True):
    """Both calculations and what differs."""

    now: Side
    changed: Side
    difference: dict[str, Apart]
    tools: tuple[ToolChange, ...]
    tools_not_told: int
    words: tuple[str, ...]

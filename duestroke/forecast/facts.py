"""What a forecast rests on: facts of a press, of the tools in it, of the lives of their kind."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from typing import Final, Literal

from duestroke.calendar import Calendar
from duestroke.forecast.rate import Rate
from duestroke.inference.ahead import Desk, PlaceLaw
from duestroke.lives import WearReading

MODEL_VERSION: Final = "date-4"
"""Changes whenever the same facts would give another forecast."""

SILENT_AFTER: Final = timedelta(minutes=15)
"""A press without a report for longer is silent: gateways send at least every ten minutes."""

State = Literal["overdue", "cant-tell", "this-stop", "plan", "fine"]
STATES: Final[tuple[State, ...]] = ("overdue", "cant-tell", "this-stop", "plan", "fine")
"""From worst to best: a press shows its worst tool."""


@dataclass(frozen=True, slots=True)
class OddBatch:
    """A batch that differs: its median life over the others', with bounds; lives and failures."""

    ratio: float
    low: float
    high: float
    lives: int
    failures: int


@dataclass(frozen=True)
class LifeBasis:
    """The fitted lives of one kind of tool at one position.

    law: the posterior of the place, None where there is no basis at all (no handbook figure).
    fit: short reference to the fit.  families: posterior weights.  prior_only: no life but
    those of tools still running.  handbook_is_default: not the plant's own figure.
    planned_close, ends: of all ended lives, those pulled `planned` with a last reading above 70 %
    of its limit.  readings_used: lives with wear readings stand in the fit as such.
    rate_exponent: median, 5 % and 95 % point of the exponent by which life shortens with speed,
    where the records tell it; rate_unknown: they do not.
    odd_batches: batches that differ from the others, by name: median life over that of the others
    with its 5 and 95 % points, lives, failures.  rough_matters: sudden failures go with the ram
    ratio in this law; rough_known: the records tell by how much.
    """

    kind: str
    position: str
    law: PlaceLaw | None
    fit: str
    lives: int = 0
    failures: int = 0
    families: Mapping[str, float] | None = None
    prior_only: bool = True
    handbook_is_default: bool = False
    planned_close: int = 0
    ends: int = 0
    readings_used: bool = False
    rate_exponent: tuple[float, float, float] | None = None
    rate_unknown: bool = False
    odd_batches: Mapping[str, OddBatch] = field(default_factory=dict)
    rough_matters: bool = False
    rough_known: bool = False

    @cached_property
    def desk(self) -> Desk | None:
        """The law with its tables, which last as long as this basis; None without a law."""
        return None if self.law is None else Desk(self.law)


@dataclass(frozen=True, slots=True)
class ToolFacts:
    """One tool where it sits. All ages in strokes.

    strokes: age since rework or new at the press's last report, None where not known.
    strokes_since_fit: its strokes in this fitting.  good_at: age at which it was last found
    good, None where it is taken as good now.  began: start of this life (fit, rework or
    service), from which a fixed interval counts.  read_past_limit: its last reading is past its
    limit, or it was found worn.  interval_strokes, interval_days: the plant's fixed interval.
    readings: its wear since rework or new, in order of age.  batch, life_number: what it came
    with and its reworks before this life.  speed_so_far, speed_now: mean peak punch speed over
    its life and from now on, m/s.  rough_so_far, rough_now: ram ratio K over the press's own
    baseline.  open_question: a question about its record that nobody has answered, in words.
    strokes_hidden: strokes at most that open flags of its press may hide in this stretch.
    age_margin: how far off its age as stated by hand may be, to either side.
    """

    position: str
    kind: str
    serial: str
    strokes: float | None
    strokes_since_fit: float
    began: datetime
    good_at: float | None = None
    read_past_limit: bool = False
    interval_strokes: float | None = None
    interval_days: float | None = None
    readings: tuple[WearReading, ...] = ()
    batch: str | None = None
    life_number: int = 0
    speed_so_far: float | None = None
    speed_now: float | None = None
    rough_so_far: float | None = None
    rough_now: float | None = None
    open_question: str | None = None
    strokes_hidden: float = 0.0
    age_margin: float = 0.0


@dataclass(frozen=True, slots=True)
class PressFacts:
    """A press as its record stands.

    as_of: time of its last report, None when there never was one.  max_spm: strokes a minute it
    can reach.  rate: None when it never moved.  calendar: its planned stops, past and to come.
    counter_stands_since: its counter stands still while the ram moves, None: it does not.
    registered: since when it is
    known, from which silence counts when it never reported.
    """

    press: str
    as_of: datetime | None
    max_spm: int
    rate: Rate | None
    calendar: Calendar
    registered: datetime
    counter_stands_since: datetime | None = None

"""What a forecast rests on: facts of a press, of the tools in it, of the lives of their kind."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from duestroke.calendar import Calendar
from duestroke.forecast.rate import Rate

MODEL_VERSION: Final = "date-2"
"""Changes whenever the same facts would give another forecast."""

SILENT_AFTER: Final = timedelta(minutes=15)
"""A press without a report for longer is silent: gateways send at least every ten minutes."""

State = Literal["overdue", "cant-tell", "this-stop", "plan", "fine"]
STATES: Final[tuple[State, ...]] = ("overdue", "cant-tell", "this-stop", "plan", "fine")
"""From worst to best: a press shows its worst tool."""

Floats = NDArray[np.float64]


class LifeLaw(Protocol):
    """What a forecast asks of a posterior of tool lives."""

    def remaining_quantiles(self, age: float, good_at: float | None, levels: Floats) -> Floats:
        """Strokes left at the levels for a tool of that age, >= 0, growing; 0 is due now."""
        ...

    def survival(self, strokes: Floats) -> Floats:
        """Chance that a life exceeds each number of strokes."""
        ...


@dataclass(frozen=True, slots=True)
class LifeBasis:
    """The fitted lives of one kind of tool at one position.

    law: None where there is no basis at all (no handbook figure).  fit: short reference to the
    fit.  families: posterior weights.  prior_only: no life but those of tools still running.
    handbook_is_default: not the plant's own figure.  planned_close, ends: of all ended lives,
    those pulled `planned` with a last reading above 70 % of its limit.
    """

    kind: str
    position: str
    law: LifeLaw | None
    fit: str
    lives: int = 0
    failures: int = 0
    families: Mapping[str, float] | None = None
    prior_only: bool = True
    handbook_is_default: bool = False
    planned_close: int = 0
    ends: int = 0


@dataclass(frozen=True, slots=True)
class ToolFacts:
    """One tool where it sits. All ages in strokes.

    strokes: age since rework or new at the press's last report, None where not known.
    strokes_since_fit: its strokes in this fitting.  good_at: age at which it was last found
    good, None where it is taken as good now.  began: start of this life (fit, rework or
    service), from which a fixed interval counts.  read_past_limit: its last reading is past its
    limit, or it was found worn.  interval_strokes, interval_days: the plant's fixed interval.
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

"""A press at one moment: what may have run unseen, the stops ahead, running days to instants."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.calendar import DAY_US, Stop, occasions, stops_ahead
from duestroke.forecast.digest import digest_of_stops
from duestroke.forecast.facts import SILENT_AFTER, PressFacts, ToolFacts
from duestroke.times import to_micros

Floats = NDArray[np.float64]

HORIZON: Final = timedelta(days=50 * 365.25)
"""A due time further ahead is not given."""
_HORIZON_US: Final = HORIZON // timedelta(microseconds=1)
_SECOND_US: Final = 1_000_000
_MINUTE: Final = timedelta(minutes=1)


@dataclass(frozen=True)
class View:
    """A press at `now`: what may have run since its last report, and the stops ahead."""

    press: PressFacts
    now: datetime

    @cached_property
    def silent(self) -> bool:
        """Whether no report came for longer than SILENT_AFTER."""
        return self.press.as_of is None or self.now - self.press.as_of > SILENT_AFTER

    @cached_property
    def origin(self) -> datetime:
        """The instant from which strokes left are used up."""
        if self.silent or self.press.as_of is None:
            return self.now
        return self.press.as_of

    def unseen(self, tool: ToolFacts) -> float:
        """Strokes at most that may have run unseen, 0 where the press is not silent."""
        if not self.silent:
            return 0.0
        since = self.press.as_of or max(self.press.registered, tool.began)
        return float(self.press.max_spm * max((self.now - since) / _MINUTE, 0.0))

    @cached_property
    def stops(self) -> list[Stop]:
        """Stops ahead, at least three."""
        return stops_ahead(self.press.calendar, self.now)

    @cached_property
    def second_and_third(self) -> tuple[datetime, datetime]:
        """The second and the third separate occasion for a change."""
        begins = occasions(self.stops)
        while len(begins) < 3:
            begins.append(begins[-1] + timedelta(days=7))
        return begins[1], begins[2]

    @cached_property
    def calendar_version(self) -> str:
        """Digest of the press's stops."""
        return digest_of_stops(self.press.calendar.stops)

    @cached_property
    def judged_days(self) -> Floats:
        """Running days from the origin to the stops ahead, to now, and to the second and third
        occasion; at least those until now."""
        instants = [*(stop.start for stop in self.stops), self.now, *self.second_and_third]
        at = [to_micros(max(instant, self.now)) for instant in instants]
        days = self.press.calendar.running_us(to_micros(self.origin), at) / DAY_US
        return np.maximum(days, 0.0).astype(np.float64)

    def due_us(self, days: Floats) -> list[tuple[int | None, ...]]:
        """Instants of running days (rows, k) from the origin, a tuple for each row.

        Never before now, None beyond 50 years.
        """
        at = self.press.calendar.instants_us(self.origin, days)
        # To the second: nobody reads further, and last digits differ from process to process.
        at = np.maximum(_SECOND_US * np.rint(at / _SECOND_US), float(self._now_us))
        last = self._now_us + _HORIZON_US
        if at.size and at.max() > last:
            return [tuple(None if x > last else int(x) for x in row) for row in at.tolist()]
        return [tuple(row) for row in at.astype(np.int64).tolist()]

    @cached_property
    def _now_us(self) -> int:
        return to_micros(self.now)

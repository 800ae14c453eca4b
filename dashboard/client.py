"""The board's one door to the API: reads over HTTP with the board's own token, nothing else.

The types hold the fields that the board shows and no more; a test compares them with the API's
own OpenAPI document. The board never writes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Annotated, Final, TypeVar

import httpx2
import msgspec

from duestroke.errors import DuestrokeError
from duestroke.forecast.facts import State
from duestroke.times import format_time

LEVELS: Final = (0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
"""Levels at which a ramp is drawn; between them it is joined straight."""

PAGE: Final = 1000
MOST_PAGES: Final = 60

Time = Annotated[datetime, msgspec.Meta(tz=True)]


class Reading(msgspec.Struct, frozen=True):
    """The last report of a press, as far as the board shows it."""

    at: Time
    peak_speed_mps: float | None = None
    peak_accel_mps2: float | None = None


class Chance(msgspec.Struct, frozen=True):
    """Chance (0..1) that a tool ends before `at`. `stop` is null where a day stands in for one."""

    at: Time
    chance: float
    stop: str | None = None


class Interval(msgspec.Struct, frozen=True):
    """A fixed interval kept by the plant: what is left of it, and when it will be reached."""

    due: dict[str, Time | None]
    strokes_left: float | None = None


class Basis(msgspec.Struct, frozen=True):
    """What a forecast rests on. `families`: weight of each kind of life model, 0..1."""

    lives: int
    failures: int
    prior_only: bool
    cautions: list[str]
    as_of: Time | None = None
    fit: str | None = None
    families: dict[str, float] = {}


class Rate(msgspec.Struct, frozen=True):
    """Pace of a press over a window of its record."""

    strokes_per_day: float
    begins: Time = msgspec.field(name="from")
    ends: Time = msgspec.field(name="to")


class Forecast(msgspec.Struct, frozen=True):
    """One tool's forecast: its state, its strokes, and when it has ended at each level."""

    press: str
    position: str
    serial: str | None
    state: State
    strokes: float | None
    due: dict[str, Time | None] | None
    chance_before: list[Chance]
    interval: Interval | None
    basis: Basis
    remaining_strokes: dict[str, float | None] = {}
    rate: Rate | None = None


class Standing(msgspec.Struct, frozen=True):
    """A counter that stands still while the ram moves: since when, and what it may have missed."""

    since: Time
    not_counted_at_most: int


class Press(msgspec.Struct, frozen=True):
    """One press: its settings, last status, last report, pace and count."""

    press: str
    timezone: str
    state: str
    last_report: Reading | None
    strokes_per_minute: float | None
    strokes: int
    missing: int
    modulus: int
    max_spm: int
    crank_radius_mm: float | None = None
    rod_length_mm: float | None = None
    counter_stands: Standing | None = None


class Stop(msgspec.Struct, frozen=True):
    """A planned stop of a site, line or press."""

    id: str
    scope: str
    begins: Time = msgspec.field(name="from")
    ends: Time = msgspec.field(name="to")
    max_changes: int | None = None


class ApiFault(DuestrokeError):
    """The API gave no answer, or none that the board can read. The message ends a sentence."""

    code = "api-fault"


Item = TypeVar("Item")


class Client:
    """Reads whole lists from the API. Safe to share between threads; raises ApiFault."""

    def __init__(self, api_url: str, token: str, *, timeout_s: float = 8.0) -> None:
        self._http = httpx2.Client(
            base_url=api_url.rstrip("/") + "/api/v1",
            headers={"Authorization": f"Bearer {token}", "Accept": "application/json"},
            timeout=timeout_s,
        )

    def close(self) -> None:
        """Give the connections back."""
        self._http.close()

    def presses(self) -> list[Press]:
        """Every registered press."""
        return list(self.items("/presses", {}, Press))

    def forecasts(self, levels: Sequence[float] = LEVELS) -> list[Forecast]:
        """Every tool's current forecast, at these levels."""
        asked = {"levels": ",".join(f"{level:g}" for level in levels)}
        return list(self.items("/forecasts", asked, Forecast))

    def stops(self, begin: datetime, end: datetime) -> list[Stop]:
        """Planned stops in the window."""
        asked = {"from": format_time(begin), "to": format_time(end)}
        return list(self.items("/stops", asked, Stop))

    def items(self, path: str, asked: Mapping[str, str], kind: type[Item]) -> Iterator[Item]:
        """The items of a whole list below `/api/v1`, read as `kind`."""
        cursor: str | None = None
        for _ in range(MOST_PAGES):
            page = self._page(path, {**asked, **({"cursor": cursor} if cursor else {})})
            try:
                yield from msgspec.convert(page.get("items"), list[kind])  # type: ignore[valid-type]
            except msgspec.ValidationError as fault:
                raise ApiFault(f"the API's answer on {path} could not be read ({fault})") from fault
            cursor = page.get("next")
            if not cursor:
                return
        raise ApiFault(f"the API's answer on {path} has more than {MOST_PAGES} pages")

    def _page(self, path: str, asked: Mapping[str, str]) -> dict[str, str | None]:
        try:
            answer = self._http.get(path, params={**asked, "limit": str(PAGE)})
        except httpx2.HTTPError as fault:
            raise ApiFault("the API gave no answer") from fault
        if answer.status_code in (401, 403):
            raise ApiFault("the API refused the board's token")
        if answer.status_code != 200:
            raise ApiFault(f"the API answered {answer.status_code} on {path}")
        try:
            page = msgspec.json.decode(answer.content, type=dict)
        except msgspec.DecodeError as fault:
            raise ApiFault(f"the API's answer on {path} is not JSON") from fault
        return page

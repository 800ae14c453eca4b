"""The board's one door to the API.

What every role may read is read with the board's own viewer token, once for all screens. What
somebody writes goes with the token that they signed in with, so that the ledger names them. The
types hold the fields that the board shows and no more; a test compares them with the API's own
OpenAPI document.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Annotated, Any, Final, TypeVar

import httpx2
import msgspec

from dashboard.access import Role
from duestroke.errors import DuestrokeError
from duestroke.forecast.facts import State
from duestroke.times import format_time

LEVELS: Final = (0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
"""Levels at which a ramp is drawn; between them it is joined straight."""

PATIENCE_S: Final = 90.0
"""How long something may take that the API works out when asked, seconds."""

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


class Caller(msgspec.Struct, frozen=True):
    """Whose a token is, and what it may do."""

    name: str
    role: Role


class FieldFault(msgspec.Struct, frozen=True):
    """One wrong field of what was sent, and why."""

    field: str
    reason: str


class Reply(msgspec.Struct, frozen=True):
    """What the API answered to something written.

    body: of a success, or null.  detail, errors: of a refusal, as the API words it.
    """

    status: int
    body: Any = None
    detail: str = ""
    errors: list[FieldFault] = []

    @property
    def is_taken(self) -> bool:
        """Whether it was entered, now or before."""
        return 200 <= self.status < 300


class _Problem(msgspec.Struct, frozen=True):
    detail: str = ""
    errors: list[FieldFault] | None = None


Item = TypeVar("Item")


class Client:
    """Reads from the API and sends to it. Safe to share between threads; raises ApiFault."""

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

    def one(
        self, path: str, asked: Mapping[str, str], kind: type[Item], *, patient: bool = False
    ) -> Item | None:
        """One thing below `/api/v1`, read as `kind`; None where nothing has that name.

        patient: wait as long as something that is worked out anew may take.
        """
        answer = self._get(path, asked, patient=patient)
        if answer.status_code == 404:
            return None
        _check(answer, path)
        try:
            return msgspec.json.decode(answer.content, type=kind)
        except msgspec.MsgspecError as fault:
            raise ApiFault(f"the API's answer on {path} could not be read ({fault})") from fault

    def worked_out(self, path: str, body: object) -> Reply:
        """What the API makes of a question that is sent and kept nowhere; a refusal is an answer.

        Asked with the board's own token.
        """
        try:
            answer = self._http.post(path, json=body, timeout=PATIENCE_S)
        except httpx2.HTTPError as fault:
            raise ApiFault("the API gave no answer") from fault
        if answer.status_code in (401, 403) or answer.status_code >= 500:
            _check(answer, path)
        try:
            return _reply(answer)
        except msgspec.MsgspecError as fault:
            raise ApiFault(f"the API's answer on {path} could not be read") from fault

    def caller(self, token: str) -> Caller | None:
        """Whose a token is; None where the API does not take it."""
        answer = self._send("GET", "/caller", None, token)
        if answer.status_code == 401:
            return None
        _check(answer, "/caller")
        try:
            return msgspec.json.decode(answer.content, type=Caller)
        except msgspec.MsgspecError as fault:
            raise ApiFault("the API's answer on /caller could not be read") from fault

    def send(self, method: str, path: str, body: object, token: str) -> Reply:
        """Send something with a person's token; a refusal is an answer, not a fault."""
        answer = self._send(method, path, body, token)
        if answer.status_code >= 500:
            raise ApiFault(f"the API answered {answer.status_code} on {path}")
        try:
            return _reply(answer)
        except msgspec.MsgspecError as fault:
            raise ApiFault(f"the API's answer on {path} could not be read") from fault

    def _send(self, method: str, path: str, body: object, token: str) -> httpx2.Response:
        headers = {"Authorization": f"Bearer {token}"}
        try:
            return self._http.request(method, path, json=body, headers=headers)
        except httpx2.HTTPError as fault:
            raise ApiFault("the API gave no answer") from fault

    def _get(
        self, path: str, asked: Mapping[str, str], *, patient: bool = False
    ) -> httpx2.Response:
        timeout = PATIENCE_S if patient else httpx2.USE_CLIENT_DEFAULT
        try:
            return self._http.get(path, params=dict(asked), timeout=timeout)
        except httpx2.HTTPError as fault:
            raise ApiFault("the API gave no answer") from fault

    def _page(self, path: str, asked: Mapping[str, str]) -> dict[str, str | None]:
        answer = self._get(path, {**asked, "limit": str(PAGE)})
        _check(answer, path)
        try:
            page = msgspec.json.decode(answer.content, type=dict)
        except msgspec.DecodeError as fault:
            raise ApiFault(f"the API's answer on {path} is not JSON") from fault
        return page


def _check(answer: httpx2.Response, path: str) -> None:
    """Raises ApiFault for an answer that holds nothing to show."""
    if answer.status_code in (401, 403):
        raise ApiFault("the API refused the board's token")
    if answer.status_code != 200:
        raise ApiFault(f"the API answered {answer.status_code} on {path}")


def _reply(answer: httpx2.Response) -> Reply:
    if answer.status_code >= 400:
        problem = msgspec.json.decode(answer.content, type=_Problem)
        return Reply(answer.status_code, detail=problem.detail, errors=problem.errors or [])
    body = msgspec.json.decode(answer.content) if answer.content else None
    return Reply(answer.status_code, body)

"""A hand-written API for the board's tests: the contract's shapes, fixed data, every state.

Figures are made from three given marks a tool (10, 50, 90 % in days from now) by straight lines
between normal quantiles; states follow the contract's 25 % rule from those figures.
"""

from __future__ import annotations

import json
import random
import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from statistics import NormalDist
from typing import Any, Self
from urllib.parse import parse_qs, urlsplit

from tests.browser import (
    fake_doubts,
    fake_life,
    fake_record,
    fake_shelf,
    fake_stock,
    fake_tool,
    fake_trace,
)

PREFIXES = {
    "punch": "PU",
    "redraw-die": "RD",
    "redraw-sleeve": "RS",
    "ring-1": "IR",
    "ring-2": "IR",
    "ring-3": "IR",
    "stripper": "ST",
    "dome-die": "DT",
}
NORMAL = NormalDist()
Z90 = NORMAL.inv_cdf(0.9)
TOKEN = "viewer-token-of-the-tests"
TOKENS = {
    TOKEN: ("board", "viewer"),
    "crew-token-of-the-tests": ("Alder", "crew"),
    "engineer-token-of-the-tests": ("R. Ashdown", "engineer"),
}
"""Secret to name and role."""
NOW = datetime(2026, 11, 23, 6, 2, tzinfo=UTC)
SITE = "harlow-mere"
ENTERED = {"entered_at": "2026-10-01T09:00:00Z", "entered_by": "planner"}
Marks = tuple[float, float, float]


@dataclass(frozen=True)
class Tool:
    """Marks: days from now by which it has ended with chance 0.1, 0.5, 0.9; below 0: past."""

    press: str
    position: str
    marks: Marks | None
    strokes: float
    state: str = ""
    lives: int = 84
    failures: int = 31
    cautions: tuple[str, ...] = ()
    interval: Marks | None = None
    prior_only: bool = False
    minutes_old: int = 1


@dataclass
class Plant:
    """What the fake API answers from. `stops`: scope, days and hours from now, changes."""

    presses: list[dict[str, Any]] = field(default_factory=list)
    tools: list[Tool] = field(default_factory=list)
    stops: list[dict[str, Any]] = field(default_factory=list)


def days_at(marks: Marks, level: float) -> float:
    """Days from now by which the tool has ended with chance `level`; never below 0."""
    low, middle, high = marks
    z = NORMAL.inv_cdf(level) / Z90
    return max(0.0, middle + z * ((middle - low) if z < 0 else (high - middle)))


def chance_by(marks: Marks, days: float) -> float:
    """Chance of having ended by a day from now: the inverse of `days_at`."""
    low, middle, high = marks
    width = (middle - low) if days < middle else (high - middle)
    return NORMAL.cdf((days - middle) / width * Z90)


def z_time(at: datetime) -> str:
    """RFC 3339 in UTC."""
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def press_of(name: str, now: datetime, **changed: Any) -> dict[str, Any]:
    """A press as `GET /presses` gives it; `minutes_old` says how old its last report is."""
    minutes = changed.pop("minutes_old", 1)
    rate = changed.pop("rate", 380.0)
    at = None if minutes is None else now - timedelta(minutes=minutes)
    reading = {
        "boot": "b-1",
        "seq": 105_120,
        "at": z_time(at) if at else None,
        "strokes": 131_204_877,
        "peak_speed_mps": 10.94,
        "peak_accel_mps2": 435.4,
    }
    return {
        "press": name,
        "modulus": 4_294_967_296,
        "max_spm": 480,
        "timezone": "Europe/London",
        "crank_radius_mm": 275.0,
        "rod_length_mm": None,
        "registered_at": z_time(now - timedelta(days=730)),
        "state": "running",
        "state_at": z_time(now - timedelta(days=2)),
        "last_report": reading if at else None,
        "received_at": z_time(at) if at else None,
        "strokes": 131_204_877,
        "strokes_per_minute": rate,
        "missing": 0,
        "counter_stands": None,
        "next_due": None,
        **changed,
    }


class FakeApi:
    """Serves one plant on a free loopback port. Counts its requests; can refuse, break and die."""

    def __init__(self, plant: Callable[[datetime], Plant], now: Callable[[], datetime]) -> None:
        self.plant, self.now = plant, now
        self.tokens = dict(TOKENS)
        self.broken: set[str] = set()
        self.most_per_page = 1000
        self.asked: list[str] = []
        self.written: list[tuple[str, str, str, Any]] = []
        """Method, path, secret and body of what was sent."""
        self.refuses: tuple[int, dict[str, Any]] | None = None
        self._open: set[socket.socket] = set()
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), self._handler())
        self._thread = threading.Thread(
            target=self._server.serve_forever, args=(0.05,), daemon=True
        )

    @property
    def url(self) -> str:
        """Without `/api/v1`."""
        return f"http://127.0.0.1:{self._server.server_port}"

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.die()

    def die(self) -> None:
        """Stop answering."""
        if self._thread.is_alive():
            self._server.shutdown()
            self._server.server_close()
            self._thread.join()
        # Connections kept alive would go on being served by their own threads.
        for each in list(self._open):
            with suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)

    def answer(self, path: str, asked: dict[str, str]) -> tuple[int, dict[str, Any]]:
        """Status and body of one question below `/api/v1`."""
        self.asked.append(path)
        now = self.now()
        lists: dict[str, Callable[[], list[dict[str, Any]]]] = {
            "/presses": lambda: self.plant(now).presses,
            "/forecasts": lambda: forecasts(self.plant(now), now, levels_of(asked)),
            "/stops": lambda: self.plant(now).stops,
            "/tools": lambda: fake_shelf.tools(self.plant(now), asked),
            "/stock": lambda: fake_stock.stock(self.plant(now), now),
        }
        if path in self.broken or ("/series" in self.broken and path.endswith("/series")):
            return 500, {"title": "Internal Server Error", "status": 500}
        if path == "/trace":
            return 200, fake_trace.answer(asked, now)
        told = fake_life.answer(path, asked) if self.plant(now).presses else None
        if told is not None:
            return told
        if path == "/demand":
            return 200, fake_stock.demand(self.plant(now), now)
        if path == "/forecasts/past":
            return 200, cut_page(
                fake_tool.past(self.plant(now), asked["serial"], now), asked, 1_000
            )
        if path.startswith("/tools/"):
            serial = path.removeprefix("/tools/")
            tool = fake_tool.answer(self.plant(now), serial, now) or fake_shelf.ring(serial)
            return (404, {"title": "Not Found", "status": 404}) if tool is None else (200, tool)
        if path not in lists:
            found = fake_doubts.answer(self.plant(now), path, asked, now)
            if found is None:
                found = fake_record.answer(self.plant(now), path, asked, now)
            if found is None:
                return 404, {"title": "Not Found", "status": 404}
            return 200, cut_page(found, asked, 10_000 if path.endswith("/series") else 1_000)
        return 200, cut_page(lists[path](), asked, self.most_per_page)

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        fake = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def setup(self) -> None:
                super().setup()
                fake._open.add(self.connection)

            def finish(self) -> None:
                fake._open.discard(self.connection)
                super().finish()

            def do_POST(self) -> None:
                self._written()

            def do_DELETE(self) -> None:
                self._written()

            def _written(self) -> None:
                sent = self.rfile.read(int(self.headers.get("Content-Length", "0")))
                secret = (self.headers.get("Authorization") or "").removeprefix("Bearer ")
                path = self.path.removeprefix("/api/v1")
                if secret not in fake.tokens:
                    self._answer(401, {"title": "Unauthorized", "status": 401, "detail": "no"})
                    return
                if path == "/life-models/what-if":
                    self._answer(*fake_life.what_if_of(json.loads(sent)))
                    return
                fake.written.append((self.command, path, secret, json.loads(sent or b"null")))
                self._answer(*(fake.refuses or (201, {"warnings": []})))

            def do_GET(self) -> None:
                parts = urlsplit(self.path)
                asked = {name: values[0] for name, values in parse_qs(parts.query).items()}
                secret = (self.headers.get("Authorization") or "").removeprefix("Bearer ")
                if secret not in fake.tokens:
                    status, body = 401, {"title": "Unauthorized", "status": 401}
                elif parts.path == "/api/v1/caller":
                    name, role = fake.tokens[secret]
                    status, body = 200, {"name": name, "role": role}
                else:
                    status, body = fake.answer(parts.path.removeprefix("/api/v1"), asked)
                self._answer(status, body)

            def _answer(self, status: int, body: dict[str, Any]) -> None:
                sent = json.dumps(body).encode()
                self.send_response(status)
                self.send_header("Content-Type", "application/json")
                self.send_header("Content-Length", str(len(sent)))
                self.end_headers()
                self.wfile.write(sent)

            def log_message(self, *_: object) -> None:
                """The tests need no access log."""

        return Handler


def levels_of(asked: dict[str, str]) -> list[float]:
    """Levels of the query, or the contract's default."""
    return [float(level) for level in asked.get("levels", "0.1,0.5,0.9").split(",")]


def cut_page(items: list[dict[str, Any]], asked: dict[str, str], most: int) -> dict[str, Any]:
    """One page of a list, as the contract cuts it."""
    begin = int(asked.get("cursor", "0"))
    # A series is no list of things: it comes whole.
    end = begin + (most if "bucket" in asked else min(int(asked.get("limit", "100")), most))
    return {"items": items[begin:end], "next": str(end) if end < len(items) else None}


def forecasts(plant: Plant, now: datetime, levels: list[float]) -> list[dict[str, Any]]:
    """Every tool's forecast at the levels."""
    return [forecast(tool, plant, now, levels) for tool in plant.tools]


def forecast(tool: Tool, plant: Plant, now: datetime, levels: list[float]) -> dict[str, Any]:
    """One forecast as the contract shapes it."""
    per_day = 500_000.0
    chances = chances_before(tool, plant, now)
    return {
        "press": tool.press,
        "position": tool.position,
        "serial": tool.press if tool.position == "press" else serial_of(tool),
        "state": tool.state or state_of(tool, [each["chance"] for each in chances]),
        "strokes": tool.strokes,
        "remaining_strokes": {
            f"{level:g}": days_at(tool.marks, level) * per_day if tool.marks else None
            for level in levels
        },
        "due": {
            f"{level:g}": z_time(now + timedelta(days=days_at(tool.marks, level)))
            if tool.marks
            else None
            for level in levels
        },
        "chance_before": chances,
        "rate": {
            "strokes_per_day": per_day,
            "from": z_time(now - timedelta(days=90)),
            "to": z_time(now),
        },
        "interval": interval_of(tool, now),
        "basis": {
            "lives": tool.lives,
            "failures": tool.failures,
            "families": {"weibull": 0.46, "lognormal": 0.54},
            "wear": None,
            "prior_only": tool.prior_only,
            "fit": f"{tool.position}/4f2a",
            "as_of": z_time(now - timedelta(minutes=tool.minutes_old)),
            "cautions": list(tool.cautions),
        },
    }


def serial_of(tool: Tool) -> str:
    """A serial that stays the same for a place."""
    letters = PREFIXES[tool.position]
    number = random.Random(f"{tool.press}{tool.position}").randrange(10, 990)
    return f"{letters}25-{number:04d}"


def interval_of(tool: Tool, now: datetime) -> dict[str, Any] | None:
    """The fixed interval, if the tool has one."""
    if tool.interval is None:
        return None
    return {
        "strokes_left": tool.interval[1] * 500_000.0,
        "due": {
            f"{level:g}": z_time(now + timedelta(days=days_at(tool.interval, level)))
            for level in (0.1, 0.5, 0.9)
        },
    }


def chances_before(tool: Tool, plant: Plant, now: datetime) -> list[dict[str, Any]]:
    """Chance before the next stops of the press, or before the days that stand in for them."""
    marks = tool.marks or tool.interval
    known = [
        (stop["id"], datetime.fromisoformat(stop["from"]))
        for stop in plant.stops
        if (tool.press + "/").startswith(stop["scope"] + "/")
        and stop["max_changes"]
        and datetime.fromisoformat(stop["to"]) > now
    ]
    ahead: list[tuple[str | None, datetime]] = [*known[:4]]
    if len(ahead) < 3:
        ahead = [(None, now + timedelta(days=days)) for days in (7, 14, 21)]
    return [
        {
            "stop": name,
            "at": z_time(at),
            "chance": chance_by(marks, max(0.0, (at - now) / timedelta(days=1))) if marks else 0.0,
        }
        for name, at in ahead
    ]


def state_of(tool: Tool, chances: list[float]) -> str:
    """The contract's rule where no costs are set: 25 % before the stop after."""
    if tool.marks is not None and tool.marks[1] <= 0:
        return "overdue"
    if chances[1] >= 0.25:
        return "this-stop"
    return "plan" if chances[2] >= 0.25 else "fine"


# ---- the plants ----

WORST: dict[str, tuple[str, Marks, float]] = {
    "1/01": ("punch", (9, 22, 37), 31.4e6),
    "1/02": ("ring-2", (25, 46, 70), 26.2e6),
    "1/03": ("redraw-die", (6, 14, 24), 71.8e6),
    "1/04": ("stripper", (2.6, 15, 38), 17.9e6),
    "1/05": ("ring-3", (1.2, 7.5, 15), 30.9e6),
    "1/06": ("redraw-sleeve", (2.2, 11, 24), 39.7e6),
    "2/01": ("ring-1", (29, 50, 80), 33.0e6),
    "2/02": ("ring-2", (11, 23, 37), 37.6e6),
    "2/03": ("ring-3", (-4, -0.8, 3.2), 35.9e6),
    "2/04": ("stripper", (3, 17, 41), 16.5e6),
    "2/05": ("press", (4.5, 13, 39), 72.3e6),
    "2/06": ("punch", (9, 28, 50), 28.8e6),
    "2/07": ("redraw-die", (31, 60, 90), 70.1e6),
    "3/01": ("ring-1", (8, 30, 50), 46.9e6),
    "3/02": ("ring-2", (8, 20, 37), 33.7e6),
    "3/03": ("redraw-sleeve", (24, 44, 70), 17.5e6),
    "3/04": ("ring-3", (2.3, 9.5, 19), 29.2e6),
    "3/05": ("stripper", (10, 31, 60), 9.2e6),
    "3/06": ("ring-3", (0.3, 4.9, 12.5), 28.6e6),
    "3/07": ("stripper", (22, 50, 80), 0.15e6),
    "3/08": ("redraw-sleeve", (3.4, 13, 27), 38.1e6),
}
POSITIONS = (
    *("punch", "redraw-die", "redraw-sleeve", "ring-1"),
    *("ring-2", "ring-3", "stripper", "dome-die"),
)
SILENCE = ("no report since 2026-11-23T05:10:00Z: it may have run up to 24,960 strokes unseen",)


def plant_of_21(now: datetime) -> Plant:
    """The demo plant's 21 presses: all five states, a silent press, a long stop."""
    plant = Plant(stops=weekly_stops(now, ("1", "2", "3")))
    rates = {"1": 380.0, "2": 390.0, "3": 400.0}
    for name, (position, marks, strokes) in WORST.items():
        press, line = f"{SITE}/{name}", name[0]
        silent = name == "3/02"
        rate = 432.0 if name == "3/06" else rates[line]
        plant.presses.append(press_of(press, now, rate=rate, minutes_old=52 if silent else 1))
        worst = Tool(press, position, marks, strokes)
        if silent:
            worst = Tool(
                press, position, marks, strokes, "cant-tell", cautions=SILENCE, minutes_old=52
            )
        plant.tools += [worst, *others(press, position, silent)]
    return plant


def others(press: str, but: str, silent: bool = False) -> list[Tool]:
    """The rest of the tools in a press, all of them far from their ends."""
    rng = random.Random(press)
    made = []
    for position in POSITIONS:
        if position == but:
            continue
        middle = rng.uniform(70, 220)
        marks = (middle * 0.6, middle, middle * 1.5)
        prior = position == "dome-die"
        made.append(
            Tool(
                press,
                position,
                marks,
                rng.uniform(1e6, 60e6),
                prior_only=prior,
                lives=0 if prior else 84,
                failures=0 if prior else 31,
                cautions=("from the handbook life alone: no dome-die has ended here yet",)
                if prior
                else (),
                state="cant-tell" if silent and position == "ring-3" else "",
            )
        )
    return made


def weekly_stops(now: datetime, lines: tuple[str, ...]) -> list[dict[str, Any]]:
    """A weekly clean a line, a day apart, 07:00 to 11:00; line 2's fourth is a long one."""
    start = now.replace(hour=7, minute=0, second=0, microsecond=0)
    stops = []
    for place, line in enumerate(lines):
        for week in range(7):
            begin = start + timedelta(days=1 + place + 7 * week)
            hours = 24 if line == "2" and week == 3 else 4
            stops.append(
                {
                    "id": f"clean-{line}-{week}",
                    "scope": f"{SITE}/{line}",
                    "from": z_time(begin),
                    "to": z_time(begin + timedelta(hours=hours)),
                    "max_changes": 24 if hours == 24 else 8,
                    **ENTERED,
                }
            )
    label = start + timedelta(days=1, hours=6)
    stops.append(
        {
            "id": "label-1",
            "scope": f"{SITE}/1",
            "from": z_time(label),
            "to": z_time(label + timedelta(minutes=30)),
            "max_changes": 0,
            **ENTERED,
        }
    )
    return sorted(stops, key=lambda stop: (stop["from"], stop["id"]))


def plant_of_60(now: datetime) -> Plant:
    """Six lines of ten presses; more than eight of line 1 call someone."""
    lines = ("1", "2", "3", "4", "5", "6")
    plant = Plant(stops=weekly_stops(now, lines))
    marks = [each[1:] for each in WORST.values()]
    names = [each[0] for each in WORST.values()]
    for place, line in enumerate(lines):
        for number in range(1, 11):
            press = f"{SITE}/{line}/{number:02d}"
            at = (place * 10 + number) % len(marks)
            chosen = (1.0, 5.0, 14.0) if line == "1" and number < 10 else marks[at][0]
            silent = press.endswith("4/04")
            plant.presses.append(press_of(press, now, minutes_old=70 if silent else 1))
            plant.tools.append(Tool(press, names[at], chosen, marks[at][1]))
            plant.tools += others(press, names[at])
    return plant


def plant_of_3(now: datetime) -> Plant:
    """Three presses without stops: handbook only, never reported, fixed interval only."""
    names = [f"{SITE}/1/0{number}" for number in (1, 2, 3)]
    presses = [
        press_of(names[0], now),
        press_of(names[1], now, minutes_old=None, rate=0.0, state="unknown"),
        press_of(names[2], now, rate=0.0, state="stopped"),
    ]
    handbook = ("default, not your plant’s",)
    tools = [
        Tool(names[0], "ring-3", (20, 60, 150), 4e6, lives=0, failures=0, prior_only=True,
             cautions=handbook),
        Tool(names[1], "punch", None, 0.0, "cant-tell", lives=0, failures=0, prior_only=True,
             cautions=("the press has never moved",)),
        Tool(names[2], "press", None, 71e6, lives=0, failures=0, interval=(18, 20, 23)),
    ]  # fmt: skip
    return Plant(presses=presses, tools=tools)


def plant_of_none(now: datetime) -> Plant:
    """Nothing registered yet."""
    return Plant()


def plant_without_tools(now: datetime) -> Plant:
    """Presses report, but no tool is recorded in one."""
    names = [f"{SITE}/1/0{number}" for number in (1, 2, 3)]
    return Plant(presses=[press_of(name, now) for name in names], stops=weekly_stops(now, ("1",)))


def plant_in_stop(now: datetime) -> Plant:
    """Line 1 stands in its weekly clean since an hour; every tool rests on the default handbook."""
    plant = plant_of_21(now)
    under_way = {
        **plant.stops[0],
        "id": "under-way",
        "from": z_time(now - timedelta(hours=1)),
        "to": z_time(now + timedelta(hours=3)),
    }
    plant.stops = [under_way, *plant.stops]
    handbook = "the handbook life is the default, not your plant's"
    plant.tools = [
        replace(
            tool,
            cautions=(handbook, *tool.cautions),
            state="this-stop"
            if (tool.press[-4:], tool.position) == ("1/05", "ring-3")
            else tool.state,
        )
        for tool in plant.tools
    ]
    return plant


def plant_all_silent(now: datetime) -> Plant:
    """No press has reported for 52 minutes."""
    plant = plant_of_21(now)
    plant.presses = [press_of(each["press"], now, minutes_old=52) for each in plant.presses]
    return plant

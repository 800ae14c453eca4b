"""What was forecast of one tool, and how it came out: thin ramps under its record."""

from __future__ import annotations

from typing import Final

import msgspec

from dashboard import panels, words
from dashboard.client import Time
from dashboard.fleet import Document
from dashboard.pages import Ask
from dashboard.tables import Column, Row, table

KNOWN: Final = {
    "exact": "ended",
    "interval": "found at its end",
    "censored": "pulled before its end",
    "running": "still in",
}
MOST_RAMPS: Final = 14


class Outcome(msgspec.Struct, frozen=True):
    """How a forecast came out. level: chance that it gave to less than what came."""

    known: str
    strokes_left: float
    strokes_left_to: float | None
    level: float
    level_to: float


class Past(msgspec.Struct, frozen=True):
    """A forecast as it was made."""

    source: str
    press: str
    position: str
    as_of: Time
    strokes: float | None = None
    remaining_strokes: dict[str, float] | None = None
    width_80: float | None = None
    outcome: Outcome | None = None


_COLUMNS: Final = (
    Column("Made", "as_of"),
    Column("From", "source"),
    Column("Strokes left, 10 to 90 %", "strokes_left_forecast"),
    Column("Came out", "outcome"),
    Column("Strokes left then", "strokes_left", right=True),
    Column("In its range at", "level", right=True),
)


def panel(ask: Ask, serial: str) -> Document:
    """The panel: a table of all forecasts, and ramps of some of them."""
    told = ask.sources.reads.items("/forecasts/past", Past, {"serial": serial})
    return panels.panel(
        ask, "past", "Forecasts made", told, lambda rows: _body(ask, rows),
        say="one a day is kept, one a week is scored when the life ends",
        empty="No forecast of it is on record yet.",
    )  # fmt: skip


def _body(ask: Ask, rows: tuple[Past, ...]) -> Document:
    newest = sorted(rows, key=lambda row: row.as_of, reverse=True)
    lines = [_line(ask, at, row) for at, row in enumerate(newest)]
    return {"ramps": _ramps(ask, rows), "table": table("past", "Forecasts made", _COLUMNS, lines)}


def _line(ask: Ask, at: int, row: Past) -> Row:
    spans = row.remaining_strokes
    said = (
        "" if spans is None else f"{words.strokes(spans['0.1'])} to {words.strokes(spans['0.9'])}"
    )
    outcome = row.outcome
    came = "" if outcome is None else KNOWN.get(outcome.known, outcome.known)
    left = "" if outcome is None else _left(outcome)
    level = "" if outcome is None else _level(outcome)
    source = "on record" if row.source == "live" else "made again"
    when = words.moment(row.as_of, ask.zone, ask.now)
    cells = [when, source, said, came, left, level]
    values = [row.as_of.isoformat(), row.source, said, came]
    seen = None if outcome is None else outcome.strokes_left
    return Row(str(at), cells, [*values, seen, None if outcome is None else outcome.level])


def _left(outcome: Outcome) -> str:
    least = words.strokes(outcome.strokes_left)
    if outcome.known in ("censored", "running"):
        return f"at least {least}"
    if outcome.known == "interval" and outcome.strokes_left_to is not None:
        return f"{least} to {words.strokes(outcome.strokes_left_to)}"
    return least


def _level(outcome: Outcome) -> str:
    low = words.chance(outcome.level)
    if outcome.known in ("censored", "running"):
        return f"above {low}"
    high = words.chance(outcome.level_to)
    return low if low == high else f"{low} to {high}"


def _ramps(ask: Ask, rows: tuple[Past, ...]) -> Document | None:
    """Thin ramps stacked, oldest on top, in strokes since rework; a mark where the end came."""
    drawn = [row for row in rows if row.remaining_strokes is not None and row.strokes is not None]
    if not drawn:
        return None
    step = max(len(drawn) // MOST_RAMPS, 1)
    picked = drawn[::-step][:MOST_RAMPS][::-1]
    most = max((row.strokes or 0) + (row.remaining_strokes or {})["0.9"] for row in picked)
    return {
        "rows": [_ramp(ask, row, most) for row in picked],
        "ends": ["0", words.strokes(most)],
        "title": "Strokes since rework: from the forecast on, its range, and where the end came",
    }


def _ramp(ask: Ask, row: Past, most: float) -> Document:
    spans, age = row.remaining_strokes or {}, row.strokes or 0.0

    def left(strokes: float) -> float:
        return round(100 * min(strokes / most, 1.0), 2)

    outcome = row.outcome
    ended = outcome is not None and outcome.known in ("exact", "interval")
    return {
        "key": f"{row.source} {row.as_of.isoformat()}",
        "when": words.day(row.as_of, ask.zone, ask.now),
        "age": left(age),
        "low": left(age + spans["0.1"]),
        "middle": left(age + spans["0.5"]),
        "high": left(age + spans["0.9"]),
        "end": left(age + outcome.strokes_left) if outcome is not None and ended else None,
        "spoken": f"{words.strokes(spans['0.1'])} to {words.strokes(spans['0.9'])} left",
    }

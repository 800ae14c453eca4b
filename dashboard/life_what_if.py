"""What if: the place reckoned again with something changed, beside what it is now.

The API works it out and keeps nothing; here the form is read and the difference is laid out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any, Final

import msgspec

from dashboard import words
from dashboard.client import Reply
from dashboard.fleet import Document
from dashboard.life_effects import sentence
from dashboard.life_facts import Figure, Life, Model, Side, ToolChange, WhatIf
from dashboard.pages import Ask
from dashboard.reads import Told
from dashboard.tables import Cell, Column, Row, Value, table

FRESH: Final = timedelta(minutes=10)
MOST_TOOLS: Final = 40
SENT_IN: Final = "sent-in"
PATH: Final = "/life-models/what-if"


class Field(msgspec.Struct, frozen=True):
    """A number of the form. by: what it is multiplied with for the API."""

    name: str
    label: str
    to: str
    by: float
    low: float
    high: float


FIELDS: Final = (
    Field("rate", "Rate, % of now", "rate_factor", 0.01, 20, 500),
    Field("limit", "Wear limit, % of now", "limit_factor", 0.01, 20, 500),
    Field("handbook", "Handbook median life, M", "handbook_life", 1e6, 0.001, 1e6),
    Field("spread", "Handbook spread of log life", "handbook_spread", 1.0, 0.01, 5),
    Field("weight", "Prior: scale of the median", "median_scale", 1.0, 0.01, 1000),
)
OF_PRIOR: Final = ("median_scale",)


def form(ask: Ask, model: Model, lives: Sequence[Life]) -> Document:
    """The form with what it holds, and what each field is now."""
    now = {
        "rate": "100",
        "limit": "100",
        "handbook": "" if model.handbook_life is None else f"{model.handbook_life / 1e6:g}",
        "spread": "" if model.handbook_spread is None else f"{model.handbook_spread:g}",
        "weight": "",
    }
    return {
        "fields": [
            {
                "name": field.name,
                "label": field.label,
                "value": ask.param(field.name),
                "now": f"now {now[field.name]}" if now[field.name] else "",
            }
            for field in FIELDS
        ],
        "leave": ask.param("leave"),
        "choices": _choices(lives),
        "asked": ask.param("what") == "1",
    }


def _choices(lives: Sequence[Life]) -> list[dict[str, str]]:
    batches = sorted({life.batch for life in lives if life.batch})
    made = [{"value": "", "word": "every life counts"}]
    made += [{"value": f"batch:{name}", "word": f"without batch {name}"} for name in batches]
    if any(life.source == "imported" for life in lives):
        made.append({"value": SENT_IN, "word": "without what was sent in"})
    return made


def left_out(choice: str, lives: Sequence[Life]) -> list[str]:
    """Ids of the lives that are not to count."""
    if choice == SENT_IN:
        return sorted(life.id for life in lives if life.source == "imported")
    batch = choice.removeprefix("batch:") if choice.startswith("batch:") else None
    return sorted(life.id for life in lives if batch is not None and life.batch == batch)


def question(params: Mapping[str, str], lives: Sequence[Life]) -> tuple[dict[str, Any], str]:
    """The change that is asked about, and what is wrong with the form (empty: nothing)."""
    body: dict[str, Any] = {}
    for field in FIELDS:
        text = params.get(field.name, "").strip().replace(",", ".")
        if not text:
            continue
        value = _number(text)
        if value is None or not field.low <= value <= field.high:
            return {}, f"{field.label}: a number from {field.low:g} to {field.high:g}."
        if field.to in OF_PRIOR:
            body["prior"] = {field.to: value}
        else:
            body[field.to] = round(value * field.by, 9)
    gone = left_out(params.get("leave", ""), lives)
    if gone:
        body["leave_out"] = gone
    return body, "" if body else "Change at least one figure."


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if value == value and abs(value) < 1e15 else None


def answer(ask: Ask, model: Model, lives: Sequence[Life]) -> Document:
    """What came of it, or why it could not be asked, in words."""
    if ask.param("what") != "1":
        return {"state": "none"}
    body, wrong = question(ask.params, lives)
    if wrong:
        return {"state": "refused", "lead": "Not asked.", "rest": wrong}
    place = {"kind": model.kind, "position": model.position}
    told = ask.sources.reads.worked_out(PATH, place | body, FRESH)
    return _told(ask, told)


def _told(ask: Ask, told: Told[Reply] | None) -> Document:
    if told is None:
        return {"state": "loading", "lead": "", "rest": "Reckoning both; it takes some seconds."}
    if told.value is None:
        return {"state": "refused", "lead": "No answer.", "rest": f"{told.fault}."}
    reply = told.value
    if not reply.is_taken:
        why = "; ".join(f"{e.field}: {e.reason}" for e in reply.errors) or reply.detail
        return {"state": "refused", "lead": "The API can’t reckon that.", "rest": sentence(why)}
    try:
        return _difference(ask, msgspec.convert(reply.body, WhatIf))
    except msgspec.ValidationError:
        return {"state": "refused", "lead": "The answer could not be read.", "rest": ""}


_SIDES: Final = (
    Column("", "figure"),
    Column("As it is", "now", right=True),
    Column("Changed", "changed", right=True),
)
_TOOLS: Final = (
    Column("Press", "press"),
    Column("Serial", "serial"),
    Column("As it is", "state_now"),
    Column("Changed", "state_changed"),
    Column("Half due, as it is", "due_now"),
    Column("Changed", "due_changed"),
    Column("Days later", "days", right=True),
)


def _difference(ask: Ask, told: WhatIf) -> Document:
    apart = told.difference["median_life"]
    more = "longer" if apart.ratio >= 1 else "shorter"
    tools = sorted(told.tools, key=lambda each: each.difference.due_days.get("0.5") or 0.0)
    shown = [_tool(ask, each) for each in tools[:MOST_TOOLS]]
    rest = len(told.tools) - len(shown) + told.tools_not_told
    return {
        "state": "shown",
        "lead": f"Median life {abs(100 * (apart.ratio - 1)):.0f} % {more}.",
        "rest": " ".join(sentence(text) for text in told.words[1:]),
        "tables": [
            table("what-if", "As it is and changed", _SIDES, _sides(told.now, told.changed)),
            *([table("what-if-tools", "Tools that run", _TOOLS, shown)] if shown else []),
        ],
        "more": f"{rest} more tools move less." if rest > 0 else "",
    }


def _sides(now: Side, changed: Side) -> list[Row]:
    rows = [
        ("median life, B50", _lives(now.median_life), _lives(changed.median_life)),
        ("one in ten ended, B10", _lives(now.b10), _lives(changed.b10)),
        ("spread of log life", _plain(now.spread), _plain(changed.spread)),
        ("lives, failures", *(f"{s.lives}, {s.failures}" for s in (now, changed))),
        ("mean speed, m/s", *(_speed(s.mean_speed_mps) for s in (now, changed))),
        ("handbook life", *(words.strokes(s.handbook_life) for s in (now, changed))),
    ]
    return [Row(name, [name, before, after], [name, before, after]) for name, before, after in rows]


def _lives(figure: Figure) -> str:
    said = words.strokes(figure.median)
    return f"{said} ({words.strokes(figure.low)}–{words.strokes(figure.high)})"


def _plain(figure: Figure) -> str:
    return f"{figure.median:.2f} ({figure.low:.2f}–{figure.high:.2f})"


def _speed(value: float | None) -> str:
    return "not known" if value is None else f"{value:.2f}"


def _tool(ask: Ask, each: ToolChange) -> Row:
    days = each.difference.due_days.get("0.5")
    states = [words.STATE_WORDS.get(side.state, side.state) for side in (each.now, each.changed)]
    due = [(side.due or {}).get("0.5") for side in (each.now, each.changed)]
    dates = ["" if at is None else words.weekday(at, ask.zone, ask.now) for at in due]
    moved = Cell(states[1], tone="act" if states[0] != states[1] else "")
    cells: list[str | Cell] = [
        Cell(words.press_id(each.press), href=f"/press/{each.press}"),
        Cell(each.serial, href=f"/tool/{each.serial}"),
        states[0],
        moved,
        *dates,
        "" if days is None else f"{days:+.0f}",
    ]
    values: list[Value] = [each.press, each.serial, *states]
    values += [None if at is None else at.isoformat() for at in due]
    return Row(each.serial, cells, [*values, days])

"""What is worked out when asked for: surprises and what they share, life left when pulled."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from dashboard import words
from dashboard.fleet import Document
from dashboard.life_effects import named, sentence
from dashboard.life_facts import Goodness, Left, OneLeft, PulledEarly, Shared, Surprise, Surprises
from dashboard.life_lines import ENDS
from dashboard.pages import Ask
from dashboard.tables import Cell, Column, Row, Value, table

M: Final = 1e6
SIDES: Final = {"early": "sooner than its range", "late": "later than its range"}

_LAST: Final = (
    Column("Serial", "serial"),
    Column("Press", "press"),
    Column("Ran, M", "strokes", right=True),
    Column("It came", "side"),
    Column("End", "end"),
    Column("When", "ended_at"),
    Column("Batch", "batch"),
    Column("Jam within a day", "jam_nearby"),
)
_SHARED: Final = (
    Column("What", "attribute"),
    Column("Side", "side"),
    Column("Among them", "among"),
    Column("Among all", "in_all"),
    Column("By chance", "chance", right=True),
)


def surprises(ask: Ask, told: Surprises) -> Document:
    """The last lives outside their 80 % range, and what they had in common."""
    shared = [_shared(at, row) for at, row in enumerate(told.in_common[:8])]
    return {
        "words": [sentence(text) for text in told.words],
        "tables": [
            *([table("shared", "What the surprises share", _SHARED, shared)] if shared else []),
            *(
                [
                    table(
                        "surprises", "The last surprises", _LAST, [_last(ask, s) for s in told.last]
                    )
                ]
                if told.last
                else []
            ),
        ],
    }


def _shared(at: int, row: Shared) -> Row:
    value = named(row.value)
    cells = [f"{row.attribute}: {value}", row.side, f"{row.among} of {row.of}"]
    cells += [f"{row.in_all} of {row.of_all}", words.chance(row.chance)]
    values: list[Value] = [f"{row.attribute}: {row.value}", row.side, f"{row.among}/{row.of}"]
    return Row(str(at), cells, [*values, f"{row.in_all}/{row.of_all}", row.chance])


def _last(ask: Ask, one: Surprise) -> Row:
    jam = {True: "yes", False: "no", None: "not known"}[one.jam_nearby]
    cells: list[str | Cell] = [
        Cell(one.serial, href=f"/tool/{one.serial}"),
        words.press_id(one.press) if one.press else "",
        f"{one.strokes / M:.1f}",
        Cell(SIDES.get(one.side, one.side), tone="act" if one.side == "early" else ""),
        ENDS.get(one.end, one.end),
        _day(ask, one.ended_at),
        one.batch or "",
        jam,
    ]
    values: list[Value] = [one.serial, one.press, one.strokes, one.side, one.end]
    values += [one.ended_at.isoformat() if one.ended_at else None, one.batch, one.jam_nearby]
    return Row(one.life, cells, values)


def _day(ask: Ask, at: datetime | None) -> str:
    return words.weekday(at, ask.zone, ask.now) if at else ""


# ---- pulled too early, too late ----

_LEFT: Final = (
    Column("", "line"),
    Column("Pulled by plan", "planned_pulls", right=True),
    Column("Life left, middle", "median_share_left", right=True),
    Column("Middle half", "quarters", right=True),
    Column("Strokes given away, M", "strokes_left", right=True),
    Column("Ended in use", "ended_in_use", right=True),
    Column("Read past the limit", "read_past_limit", right=True),
)
_MOST: Final = (
    Column("Serial", "serial"),
    Column("Press", "press"),
    Column("Ran, M", "strokes", right=True),
    Column("Pulled", "ended_at"),
    Column("Life left", "share_left_50", right=True),
    Column("10 to 90 %", "range", right=True),
    Column("Last reading", "last_reading", right=True),
)


def pulls(ask: Ask, told: PulledEarly) -> Document:
    """By line, life left in what was pulled sound; and the pulls with most of it left."""
    rows = [_left("all lines", told.all), *(_left(_line(each), each) for each in told.by_line)]
    made = [table("life-left", "Life left when pulled, by line", _LEFT, rows)]
    if told.most_left:
        most = [_one(ask, each) for each in told.most_left[:8]]
        made.append(table("most-left", "Pulled with most life left", _MOST, most))
    return {"words": [sentence(text) for text in told.words[:1]], "tables": made}


def _line(left: Left) -> str:
    return f"line{words.NB}{left.line.rpartition('/')[2]}"


def _left(name: str, left: Left) -> Row:
    low, high = left.lower_quarter, left.upper_quarter
    between = "" if low is None or high is None else f"{100 * low:.0f} to {100 * high:.0f} %"
    strokes = left.strokes_left or 0.0
    cells = [name, str(left.planned_pulls), _percent(left.median_share_left), between]
    cells += [f"{strokes / M:.0f}", f"{left.ended_in_use} of {left.ended}"]
    values: list[Value] = [left.line or "all", left.planned_pulls, left.median_share_left, between]
    values += [left.strokes_left, left.ended_in_use, left.read_past_limit]
    return Row(name, [*cells, str(left.read_past_limit)], values)


def _percent(share: float | None) -> str:
    return "" if share is None else f"{100 * share:.0f}{words.NB}%"


def _one(ask: Ask, one: OneLeft) -> Row:
    low, middle, high = (one.share_left.get(level) for level in ("0.1", "0.5", "0.9"))
    between = "" if low is None or high is None else f"{100 * low:.0f} to {100 * high:.0f} %"
    cells: list[str | Cell] = [
        Cell(one.serial, href=f"/tool/{one.serial}"),
        words.press_id(one.press) if one.press else "",
        f"{one.strokes / M:.1f}",
        _day(ask, one.ended_at),
        _percent(middle),
        between,
        _percent(one.last_reading),
    ]
    values: list[Value] = [one.serial, one.press, one.strokes]
    values += [one.ended_at.isoformat() if one.ended_at else None, middle, between]
    return Row(one.life, cells, [*values, one.last_reading])


# ---- how well the laws fit ----


def goodness(told: Goodness) -> Document:
    """Each family over all ends and by mode, in words."""
    return {"words": [sentence(text) for text in told.words], "tables": []}

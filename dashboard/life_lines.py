"""The lives behind a curve: each a line on the same stroke axis, and as a table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Final

from dashboard import words
from dashboard.charts import WIDE, Scale
from dashboard.fleet import Document
from dashboard.life_facts import Life
from dashboard.pages import Ask
from dashboard.tables import Cell, Column, Row, Value, table

M: Final = 1e6
MOST_DRAWN: Final = 60
LAST: Final = 5
PITCH: Final = 8.0
"""Height of a line, px."""
GAP: Final = 22.0
"""Height above the lines of a group, for its name, px."""

GROUPINGS: Final = {"line": "line", "press": "press", "batch": "batch", "number": "life number"}
ENDS: Final = {
    "worn": "worn",
    "broken": "broken",
    "can-defect": "can defect",
    "planned": "pulled sound by plan",
    "collateral": "hurt by something else",
    "size-change": "size change",
    "other": "other",
    "running": "still in",
}
SUDDEN: Final = ("broken", "can-defect")


def counted(lives: Sequence[Life]) -> str:
    """`224 lives: 74 worn, 26 broken, 110 pulled sound by plan, 14 still in`."""
    if not lives:
        return "No life yet."
    by_end = Counter(life.end for life in lives)
    said = [f"{by_end[end]} {word}" for end, word in ENDS.items() if by_end[end]]
    return f"{len(lives):,} {'life' if len(lives) == 1 else 'lives'}: {', '.join(said)}."


def group_of(life: Life, by: str) -> str:
    """The group that a life is drawn in."""
    if by == "number":
        reworks = life.life_number
        return "new" if not reworks else f"after {reworks} rework{'s' if reworks > 1 else ''}"
    if by == "batch":
        return life.batch or "no batch"
    if life.press is None:
        return "press not known"
    return words.press_id(life.press) if by == "press" else f"line {life.press.split('/')[1]}"


def thinned(lives: Sequence[Life], marked: str, most: int = MOST_DRAWN) -> list[Life]:
    """At most so many, evenly from the list; the marked serial's lives always among them."""
    if len(lives) <= most:
        return list(lives)
    step = len(lives) / most
    kept = {int(at * step) for at in range(most)}
    return [life for at, life in enumerate(lives) if at in kept or life.serial == marked]


def drawing(lives: Sequence[Life], x: Scale, by: str, marked: str = "") -> Document:
    """Lines grouped, the longest first, with a mark at each end."""
    ordered = sorted(lives, key=lambda life: (group_of(life, by), -life.strokes, life.id))
    shown = thinned(ordered, marked)
    groups: list[Document] = []
    paths: dict[str, list[str]] = {}
    top, last = 0.0, ""
    for life in shown:
        name = group_of(life, by)
        if name != last or not groups:
            top += GAP
            groups.append({"key": name, "text": name, "top": round(top - 6, 1)})
            last = name
        _draw(paths, life, x, top, is_marked=life.serial == marked)
        top += PITCH
    return {
        "key": "lifelines",
        "high": round(top + 4, 1),
        "groups": groups,
        "paths": {name: "".join(parts) for name, parts in paths.items()},
        "x": {"title": x.title, "ticks": [_tick(x, value, text) for value, text in x.ticks]},
        "grid": "".join(f"M{WIDE * x.share(value):g} 0V{top + 4:g}" for value, _ in x.ticks),
        "says": counted(lives),
        "note": _note(len(shown), len(lives)),
        "by": by,
        "choices": [{"key": key, "word": word, "on": key == by} for key, word in GROUPINGS.items()],
    }


def _tick(x: Scale, value: float, text: str) -> Document:
    return {"at": round(100 * x.share(value), 2), "text": text}


def _note(shown: int, count: int) -> str:
    late = "A line that starts late was first seen at that age."
    return late if shown == count else f"{late} {shown} of {count} lives are drawn, taken evenly."


def _draw(paths: dict[str, list[str]], life: Life, x: Scale, y: float, is_marked: bool) -> None:
    start, end = (round(WIDE * x.share(at / M), 1) for at in (life.entry_strokes, life.strokes))
    line = "marked" if is_marked else "in" if life.end == "running" else "life"
    paths.setdefault(line, []).append(f"M{start:g} {y:g}H{end:g}")
    kind, drawn = _end_mark(life.end, end, y)
    paths.setdefault(kind, []).append(drawn)


def _end_mark(end: str, x: float, y: float) -> tuple[str, str]:
    """Block worn, cross broken, arrow still in, upright pulled."""
    if end == "worn":
        return "worn", f"M{x:g} {y:g}h0"
    if end in SUDDEN:
        return "broken", f"M{x - 5:g} {y - 4:g}l10 8M{x + 5:g} {y - 4:g}l-10 8"
    if end == "running":
        return "arrow", f"M{x:g} {y - 3.5:g}l8 3.5l-8 3.5"
    return "pulled", f"M{x:g} {y - 4:g}v8"


# ---- as tables ----

_LIVES: Final = (
    Column("Serial", "serial"),
    Column("Press", "press"),
    Column("Batch", "batch"),
    Column("Ran, M", "strokes", right=True),
    Column("Seen from, M", "entry_strokes", right=True),
    Column("End", "end"),
    Column("Ended", "ended_at"),
    Column("Known from", "known_from"),
    Column("Reworks", "life_number", right=True),
    Column("Speed, m/s", "mean_speed_mps", right=True),
    Column("Ram over own", "mean_roughness", right=True),
    Column("Record", "source"),
)


def lives_table(ask: Ask, lives: Sequence[Life]) -> Document:
    """Every life with where it came from, the newest end first."""
    ordered = sorted(lives, key=_newest)
    return table("lives", "All lives", _LIVES, [_row(ask, life) for life in ordered])


def _newest(life: Life) -> tuple[float, str]:
    return (-life.ended_at.timestamp() if life.ended_at else 0.0, life.id)


def _row(ask: Ask, life: Life) -> Row:
    speed, rough = life.mean_speed_mps, life.mean_roughness
    cells: list[str | Cell] = [
        Cell(life.serial, href=f"/tool/{life.serial}"),
        words.press_id(life.press) if life.press else "",
        life.batch or "",
        f"{life.strokes / M:.2f}",
        f"{life.entry_strokes / M:.2f}" if life.entry_strokes else "",
        ENDS.get(life.end, life.end),
        _ended(ask, life),
        known_from(life),
        str(life.life_number),
        "" if speed is None else f"{speed:.2f}",
        "" if rough is None else f"{rough:.3f}",
        "ledger" if life.source == "ledger" else "sent in",
    ]
    values: list[Value] = [life.serial, life.press, life.batch, life.strokes, life.entry_strokes]
    values += [life.end, life.ended_at.isoformat() if life.ended_at else None, known_from(life)]
    return Row(life.id, cells, [*values, life.life_number, speed, rough, life.source])


def _ended(ask: Ask, life: Life) -> str:
    return words.weekday(life.ended_at, ask.zone, ask.now) if life.ended_at else ""


def known_from(life: Life) -> str:
    """What the end rests on: the last reading, the last look, or the code alone."""
    if life.readings:
        last = life.readings[-1]
        count = len(life.readings)
        said = f"read {100 * last.share:.0f} % of its limit at {words.strokes(last.strokes)}"
        return f"{said}, {count} reading{'s' if count > 1 else ''}"
    if life.strokes_low is not None:
        return f"last found good at {words.strokes(life.strokes_low)}"
    return "the end code alone" if life.end != "running" else "no reading yet"


_ENDED: Final = (
    Column("Serial", "serial"),
    Column("Press", "press"),
    Column("Ran, M", "strokes", right=True),
    Column("End", "end"),
    Column("Known from", "known_from"),
)


def last_ended(lives: Sequence[Life]) -> Document | None:
    """The last five that ended; None where none has."""
    ended = sorted((life for life in lives if life.end != "running" and life.ended_at), key=_newest)
    if not ended:
        return None
    rows = [
        Row(
            life.id,
            [
                Cell(life.serial, href=f"/tool/{life.serial}"),
                words.press_id(life.press) if life.press else "",
                f"{life.strokes / M:.1f}",
                Cell(ENDS.get(life.end, life.end), tone="act" if life.end in SUDDEN else ""),
                Cell(known_from(life), tone="quiet"),
            ],
            [life.serial, life.press, life.strokes, life.end, known_from(life)],
        )
        for life in ended[:LAST]
    ]
    return table("ended", "The last that ended", _ENDED, rows)

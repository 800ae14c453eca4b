"""Figures of a place, what moves its life, its batches and presses, and what a faster line costs.

Exponents come from the API; here they are turned into factors for a change that can be pictured.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Final

from dashboard import words
from dashboard.fleet import Document, Fleet
from dashboard.life_curve import bounded, read_off
from dashboard.life_facts import Bounded, Effect, Figure, Group, Groups, Line, Model
from dashboard.tables import Cell, Column, Row, Value, table

FASTER: Final = 1.08
"""The change of rate that effects are shown for: 432 a minute in place of 400."""
ROUGHER: Final = 1.08
"""The ram ratio over the press's own that the effect is shown for."""
MONTH_DAYS: Final = 30.4
FEW: Final = 6
"""Batches or presses that are all shown at first."""
WHISKER: Final = (0.5, 1.5)
"""Factors at the ends of a whisker's axis; what lies beyond is cut there."""
NOT_KNOWN: Final = "not known from these records"


def figures(model: Model) -> list[Document]:
    """B10, B50 and B90 with their 90 % intervals."""
    b90 = read_off(model.model_curve, 0.1)
    told = [
        ("one in ten ended, B10", bounded(model.b10), ""),
        ("half ended, B50", bounded(model.median_life), ""),
        ("nine in ten ended, B90", b90, "read off the model’s curve"),
    ]
    return [
        {
            "key": name,
            "name": name,
            "value": words.strokes(f.median),
            "range": _range(f),
            "note": note,
        }
        for name, f, note in told
        if f is not None
    ]


def _range(figure: Bounded) -> str:
    low, high = words.strokes(figure.low), words.strokes(figure.high)
    if low and high:
        return f"{low} to {high}"
    return f"from {low} on" if low else f"up to {high}" if high else ""


_PARAMETERS: Final = {
    "spread": "spread of log life",
    "weibull_shape": "shape, were it Weibull",
    "weibull_scale": "scale, were it Weibull",
    "wear_b10": "B10 of wear",
    "wear_b50": "B50 of wear",
    "sudden_b50": "B50 of sudden ends",
    "sudden_shape": "shape of sudden ends",
    "sudden_scale": "scale of sudden ends",
}
_PLAIN: Final = ("spread", "weibull_shape", "sudden_shape")


def parameters(model: Model) -> Document:
    """All parameters with their intervals, and the weights of the families."""
    columns = (
        Column("Parameter", "parameter"),
        Column("Middle", "median", right=True),
        Column("5 %", "low", right=True),
        Column("95 %", "high", right=True),
    )
    rows = [
        _parameter(name, model.parameters[name]) for name in _PARAMETERS if name in model.parameters
    ]
    rows += [
        Row(
            name, [f"weight of {name}", f"{100 * weight:.0f} %", "", ""], [name, weight, None, None]
        )
        for name, weight in model.families.items()
    ]
    return table("parameters", f"Parameters of {model.position}", columns, rows)


def _parameter(name: str, figure: Figure) -> Row:
    values = [figure.median, figure.low, figure.high]
    cells = [f"{v:.3g}" if name in _PLAIN else words.strokes(v) for v in values]
    return Row(name, [_PARAMETERS[name], *cells], [name, *values])


# ---- effects ----


def effects(model: Model) -> list[Document]:
    """A whisker each: the factor on strokes to the end for a change that can be pictured."""
    said: dict[str, tuple[str, Callable[[float], float]]] = {
        "rate": ("Rate, 8 % faster", lambda p: FASTER**-p),
        "roughness": ("Ram ratio, 8 % up", lambda q: ROUGHER**-q),
        "life_number": ("Each rework", lambda b: math.exp(-b)),
    }
    rows = [
        _effect(name, *said[name], effect) for name, effect in model.effects.items() if name in said
    ]
    return [*rows, *_spread_rows(model)]


def factor(figure: Figure, turn: Callable[[float], float]) -> Figure:
    """An exponent's interval as that of the factor, which falls as the exponent rises."""
    return Figure(turn(figure.median), turn(figure.high), turn(figure.low))


def _effect(key: str, name: str, turn: Callable[[float], float], effect: Effect) -> Document:
    if effect.known and effect.interval is not None:
        told = factor(effect.interval, turn)
        of = "of sudden ends" if key == "roughness" else ""
        return _whisker(key, name, told, of)
    before = factor(effect.prior, turn)
    note = f"{NOT_KNOWN}; believed before them {before.low:.2f} to {before.high:.2f}"
    return {"key": key, "name": name, "figure": "", "range": "", "note": note, "whisker": None}


def _spread_rows(model: Model) -> list[Document]:
    """The batch and the press that stand furthest from the others."""
    rows = []
    for kind in ("batch", "press"):
        groups = model.groups[kind].groups if kind in model.groups else ()
        if groups:
            far = max(groups, key=lambda g: abs(math.log(max(g.ratio.median, 1e-9))))
            note = "differs" if far.differs else "too few to say"
            rows.append(
                _whisker(kind, f"{kind.title()} {_label(kind, far)}, furthest", far.ratio, note)
            )
    return rows


def _label(kind: str, group: Group) -> str:
    return words.press_id(group.label) if kind == "press" else group.label


def _whisker(key: str, name: str, told: Figure, note: str) -> Document:
    return {
        "key": key,
        "name": name,
        "figure": f"{told.median:.2f}",
        "range": f"{told.low:.2f} to {told.high:.2f}",
        "note": note,
        "whisker": whisker(told),
    }


def whisker(told: Figure) -> Document:
    """Places in a box of 150: no effect, middle, ends; on a log scale."""
    return {
        "none": _at(1.0),
        "low": _at(told.low),
        "middle": _at(told.median),
        "high": _at(told.high),
    }


def _at(value: float) -> float:
    low, high = (math.log(edge) for edge in WHISKER)
    share = (math.log(max(value, 1e-9)) - low) / (high - low)
    return round(3 + 144 * min(max(share, 0.0), 1.0), 1)


# ---- batches and presses ----

_GROUPS: Final = (
    Column("", "label"),
    Column("Lives", "lives", right=True),
    Column("Failures", "failures", right=True),
    Column("Median life against the others", "ratio"),
    Column("Can it be told?", "differs"),
    Column("Failures needed, 1.25 / 1.5 apart", "needed"),
)


def groups(model: Model, kind: str, is_open: bool) -> Document | None:
    """Each batch or press against the others, with the number needed; None where there is none.

    is_open: whether those that can't be told from the others are shown where there are many.
    """
    told = model.groups.get(kind, Groups((), ()))
    if not told.groups:
        return None
    columns = (Column(kind.title(), kind), *_GROUPS[1:])
    ordered = sorted(told.groups, key=lambda g: g.ratio.median)
    many = len(ordered) > FEW
    shown = [each for each in ordered if each.differs] if many and not is_open else ordered
    rows = [_group(kind, each) for each in shown]
    return {
        "table": table(kind, f"Each {kind} against the others", columns, rows) if rows else None,
        "words": [sentence(text) for text in told.words],
        "all": f"All {len(ordered)}" if many else "",
        "open": is_open,
    }


def _group(kind: str, group: Group) -> Row:
    ratio = group.ratio
    said = f"{ratio.median:.2f} times ({ratio.low:.2f} to {ratio.high:.2f})"
    which = "shorter" if ratio.median < 1 else "longer"
    told = Cell(f"yes, {which}", tone="act" if ratio.median < 1 else "") if group.differs else "no"
    needed = " / ".join("over 500" if n is None else str(n) for n in group.needed.values())
    cells = [_label(kind, group), str(group.lives), str(group.failures), said, told, needed]
    values: list[Value] = [group.label, group.lives, group.failures, ratio.median]
    return Row(group.label, cells, [*values, group.differs, needed])


# ---- what a faster line costs ----

_COST: Final = (
    Column("Line", "line"),
    Column("Speed, m/s", "mean_speed_mps", right=True),
    Column("Median life, M", "median_life", right=True),
    Column("Changes a month", "changes_a_month", right=True),
    Column("At 8 % more", "changes_a_month_faster", right=True),
    Column("90 %", "range"),
)


def cost_of_rate(model: Model, fleet: Fleet) -> Document:
    """Changes a month on each line as it runs and at 8 % more, were each tool to run its median.

    Strokes a day of its presses now, over the median life at the line's own speed.
    """
    effect = model.effects.get("rate")
    if effect is None or not effect.known or effect.interval is None:
        return {
            "lead": "Can’t tell from these records.",
            "rest": "The lives differ too little in speed, or are too few, to show what the rate "
            "does to them. The what-if below reckons with what was believed before.",
            "table": None,
        }
    rows = [_cost(line, effect.interval, fleet, model.position) for line in model.by_line]
    made = [row for row in rows if row is not None]
    told = factor(effect.interval, lambda p: FASTER**-p)
    return {
        "lead": f"8 % faster: {told.median:.2f} times the strokes to the end "
        f"({told.low:.2f} to {told.high:.2f}).",
        "rest": "Strokes come 8 % faster too. As if each tool ran its median life:",
        "table": table("rate-cost", "Changes a month by line", _COST, made) if made else None,
    }


def pace(fleet: Fleet, line: str, position: str) -> float:
    """Strokes a day of a line's presses in which a tool sits at a position."""
    return sum(
        tool.rate.strokes_per_day
        for press, tools in fleet.tools.items()
        for tool in tools
        if words.line_of(press) == line and tool.position == position and tool.rate is not None
    )


def _cost(line: Line, exponent: Figure, fleet: Fleet, position: str) -> Row | None:
    a_day = pace(fleet, line.line, position)
    if not a_day:
        return None
    now = MONTH_DAYS * a_day / line.median_life.median
    faster = [now * FASTER ** (1 + p) for p in (exponent.median, exponent.low, exponent.high)]
    speed = "" if line.mean_speed_mps is None else f"{line.mean_speed_mps:.2f}"
    between = f"{faster[1]:.1f} to {faster[2]:.1f}"
    name = line.line.rpartition("/")[2]
    median = line.median_life.median
    cells = [name, speed, f"{median / 1e6:.1f}", f"{now:.1f}", f"{faster[0]:.1f}", between]
    return Row(line.line, cells, [line.line, line.mean_speed_mps, median, now, faster[0], between])


_PRESS: Final = re.compile(r"\b[a-z0-9-]{1,32}/([a-z0-9-]{1,32})/([a-z0-9-]{1,32})\b")
_LINE: Final = re.compile(r"\b[a-z0-9-]{1,32}/([a-z0-9-]{1,32})\b")


def named(text: str) -> str:
    """Presses and lines in a text as they are called."""
    plain = _PRESS.sub(lambda found: f"{found[1]}{words.NARROW}{found[2]}", text)
    plain = _LINE.sub(lambda found: f"line{words.NB}{found[1]}", plain)
    return plain.replace("weibull", "Weibull").strip()


def sentence(text: str) -> str:
    """A remark of the API as a sentence."""
    plain = named(text)
    return plain[:1].upper() + plain[1:] + ("" if plain[-1:] in ".!?" else ".")

"""Curves of a place: the share still sound against strokes, and the paper of probability.

Places are worked out from the points that the API gave, joined straight; no law is fitted here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from statistics import NormalDist
from typing import Final

from dashboard import charts, words
from dashboard.charts import Point, Scale, Series
from dashboard.fleet import Document
from dashboard.life_facts import Bounded, CurvePoint, Figure, Model, Plot, PlotPoint
from dashboard.tables import Column, Row, table

M: Final = 1e6
SHARES: Final = (0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0)
PAPER_SHARES: Final = (0.001, 0.01, 0.05, 0.1, 0.2, 0.5, 0.8, 0.9, 0.99, 0.999)
B_LEVELS: Final = (("B10", 0.9), ("B50", 0.5), ("B90", 0.1))
"""Name, and the share still sound there."""
LABEL_TO: Final = 86.0
NORMAL: Final = NormalDist()


def strokes_scale(model: Model, longest: float = 0.0) -> Scale:
    """One stroke axis for the curve and the lives under it, in millions."""
    ends = [model.model_curve[-1].strokes if model.model_curve else 0.0, longest]
    ends += [step.strokes for step in model.step_curve[-1:]]
    high = max(max(ends) / M, 1e-6)
    marks = [(value, f"{value:g}") for value in charts.ticks(0.0, high, 8)]
    return Scale("strokes since new or rework, M", 0.0, high, marks)


def share_scale() -> Scale:
    """Share still sound, per cent."""
    marks = [(share, f"{100 * share:g}") for share in SHARES]
    return Scale("share still sound, %", 0.0, 1.0, marks)


def chart(model: Model, x: Scale, opened: bool) -> Document:
    """The curve with its two lines, sudden ends alone, and the ages B10, B50 and B90."""
    y = share_scale()
    marks = b_marks(model)
    made = charts.chart(
        "curve",
        f"{model.position}: share still sound",
        x,
        y,
        _series(model, x, y, marks),
        says=_says(model, marks),
        points=[Point(at / M, y_at, text) for _, at, y_at, text in marks]
        + [_step_point(step.strokes, step.survival, step.at_risk) for step in model.step_curve],
        table=_table(model),
        opened=opened,
    )
    return {**made, "labels": [_label(x, y, mark) for mark in marks]}


Mark = tuple[str, float, float, str]
"""Name, strokes, share still sound, words."""


def b_marks(model: Model) -> list[Mark]:
    """Ages by which one, five and nine in ten ended: the API's, and the last read off the curve."""
    told: dict[str, Bounded] = {"B10": bounded(model.b10), "B50": bounded(model.median_life)}
    made = []
    for name, share in B_LEVELS:
        figure = told.get(name) or read_off(model.model_curve, share)
        if figure is not None:
            made.append((name, figure.median, share, f"{name} {words.strokes(figure.median)}"))
    return made


def bounded(figure: Figure) -> Bounded:
    """A figure whose ends are both known."""
    return Bounded(figure.median, figure.low, figure.high)


def read_off(curve: Sequence[CurvePoint], share: float) -> Bounded | None:
    """Age at which a share is still sound, with the ages at which the band's edges reach it.

    None for an edge that the curve is not followed to.
    """
    middle, low, high = (
        _crossing([(p.strokes, getattr(p, edge)) for p in curve], share)
        for edge in ("survival", "low", "high")
    )
    return None if middle is None else Bounded(middle, low, high)


def _crossing(points: Sequence[tuple[float, float]], share: float) -> float | None:
    for (start, before), (end, after) in pairwise(points):
        if before >= share > after:
            return start + (end - start) * (before - share) / (before - after)
    return None


def _series(model: Model, x: Scale, y: Scale, marks: Sequence[Mark]) -> list[Series]:
    curve = model.model_curve
    steps = [(0.0, 1.0), *((s.strokes / M, s.survival) for s in model.step_curve)]
    alone = next(
        (m for m in (model.curves.modes if model.curves else ()) if m.mode == "sudden"), None
    )
    sudden = [(p.strokes / M, p.survival) for p in alone.model_curve] if alone else []
    ticks = [(at / M, share - 0.03, share + 0.03) for _, at, share, _ in marks]
    made = [
        Series("band", "band of the model, 5–95 %", _band(curve, x, y)),
        Series("alone", "sudden ends alone", charts.line(x, y, sudden)),
        Series("line", "by end codes alone", charts.steps(x, y, steps) if model.step_curve else ""),
        Series(
            "model", "the model", charts.line(x, y, [(p.strokes / M, p.survival) for p in curve])
        ),
        Series("model", "B10, B50, B90", charts.uprights(x, y, ticks)),
    ]
    return [each for each in made if each.path]


def _band(curve: Sequence[CurvePoint], x: Scale, y: Scale) -> str:
    return charts.band(x, y, [(p.strokes / M, p.low, p.high) for p in curve])


def _label(x: Scale, y: Scale, mark: Mark) -> Document:
    name, at, share, text = mark
    left = round(100 * x.share(at / M), 2)
    return {
        "key": name,
        "left": left,
        "top": round(100 * (1 - y.share(share)), 2),
        "text": text,
        "before": left > LABEL_TO,
    }


def _step_point(strokes: float, survival: float, at_risk: int) -> Point:
    text = f"{100 * survival:.0f} % still sound at {words.strokes(strokes)}, {at_risk} in view"
    return Point(strokes / M, survival, text)


def _says(model: Model, marks: Sequence[Mark]) -> str:
    said = ", ".join(text for *_, text in marks)
    return f"Share of {model.position} tools still sound against strokes: {said}." if said else ""


_CURVE: Final = (
    Column("Line", "line"),
    Column("Strokes, M", "strokes", right=True),
    Column("Still sound, %", "survival", right=True),
    Column("5 %", "low", right=True),
    Column("95 %", "high", right=True),
)


def _table(model: Model) -> Document:
    rows = [("end codes", p.strokes, p.survival, p.low, p.high) for p in model.step_curve]
    rows += [("model", p.strokes, p.survival, p.low, p.high) for p in model.model_curve]
    return table(
        "curve",
        f"Share of {model.position} still sound",
        _CURVE,
        [_row(at, *each) for at, each in enumerate(rows)],
    )


def _row(at: int, line: str, strokes: float, *shares: float) -> Row:
    cells = [line, f"{strokes / M:.2f}", *(f"{100 * share:.1f}" for share in shares)]
    return Row(str(at), cells, [line, strokes, *shares])


# ---- why the lines differ ----


def sentences(model: Model) -> list[Document]:
    """Two sentences: what each line is and why they differ, and which one forecasts use."""
    return [
        {"tone": "", "lead": "Stepped line", "rest": _of_steps(model)},
        {"tone": "model", "lead": "Smooth line", "rest": _of_model(model)},
    ]


def _of_steps(model: Model) -> str:
    if not model.step_curve:
        return ": none yet, since no end has been seen."
    pulls, alone = model.planned_pulls, model.end_codes_alone
    said = ": by end codes alone."
    if pulls and pulls.close_to_limit:
        said += (
            " It lies too high where sound tools are pulled close to their limit: "
            f"{pulls.close_to_limit} of {pulls.pulls} planned pulls were last read above 85 %."
        )
    elif pulls and pulls.pulls and not pulls.with_reading:
        said += (
            f" {pulls.pulls} tools were pulled sound without a reading: it takes those for chance."
        )
    if alone is not None:
        said += (
            f" One law on it would give a median of {words.strokes(alone.median)}, "
            f"the model gives {words.strokes(model.median_life.median)}."
        )
    return said


def _of_model(model: Model) -> str:
    if model.prior_only:
        return ": the handbook alone, no life has been seen yet. Forecasts use this one."
    apart = model.modes is not None and model.modes.chance_of_two_laws > 0.5
    how = ", with sudden ends apart" if apart else ", one law for all ends"
    return f": from readings up to the limit and ends{how}; band 5–95 %. Forecasts use this one."


# ---- probability paper ----

PAPERS: Final = {"weibull": "Weibull", "lognormal": "lognormal"}


def paper_of(model: Model, asked: str) -> str:
    """The paper asked for, else that of the family with the greater weight."""
    if asked in PAPERS:
        return asked
    return max(PAPERS, key=lambda name: model.families.get(name, 0.0))


def height(share: float, paper: str) -> float:
    """Height of a share (0..1) on the paper, on which its family is a straight line.

    Source: definition of the two laws; `log(-log(1 - F))` and the normal quantile of F.
    """
    if paper == "weibull":
        return math.log(-math.log1p(-share))
    return NORMAL.inv_cdf(share)


def plot(model: Model, plot_: Plot, paper: str, opened: bool) -> Document | None:
    """Ends as dots and the model as a line on the paper; None where there is nothing on it."""
    line = [(p.strokes, _on(p, paper)) for p in plot_.line]
    dots = [(p.strokes, _on(p, paper), p.share) for p in plot_.points]
    shown = [at for at, y in line if y is not None] + [at for at, y, _ in dots if y is not None]
    if not shown:
        return None
    x = _log_scale(min(shown), max(shown))
    y = _paper_scale(paper)
    edges = [
        (math.log10(p.strokes), getattr(p.low_on, paper), getattr(p.high_on, paper))
        for p in plot_.line
    ]
    held = [
        (a, _into(y, lo), _into(y, hi)) for a, lo, hi in edges if lo is not None and hi is not None
    ]
    ended = [
        Point(math.log10(at), _into(y, h), f"{100 * share:.1f} % ended by {words.strokes(at)}")
        for at, h, share in dots
        if h is not None
    ]
    series = [
        Series("band", "band of the model, 5–95 %", charts.band(x, y, held)),
        Series(
            "model",
            "the model",
            charts.line(x, y, [(math.log10(a), _into(y, h)) for a, h in line if h is not None]),
        ),
        Series("dots", "ends, by end codes", charts.dots(x, y, [(p.x, p.y) for p in ended])),
    ]
    return charts.chart(
        "paper",
        f"{model.position} on {PAPERS[paper]} paper",
        x,
        y,
        [each for each in series if each.path],
        says=f"A {PAPERS[paper]} law would be a straight line here; the band is the model’s.",
        points=ended,
        table=_plot_table(model, plot_),
        opened=opened,
    )


def _on(point: PlotPoint, paper: str) -> float | None:
    return point.weibull if paper == "weibull" else point.lognormal


def _into(y: Scale, value: float) -> float:
    return min(max(value, y.low), y.high)


def _log_scale(low: float, high: float) -> Scale:
    marks = [
        (math.log10(by * 10.0**power), f"{by * 10.0**power / M:g}")
        for power in range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
        for by in (1, 2, 5)
        if low <= by * 10.0**power <= high
    ]
    pad = 0.02 * max(math.log10(high / low), 0.1)
    return Scale("strokes, M, on a log scale", math.log10(low) - pad, math.log10(high) + pad, marks)


def _paper_scale(paper: str) -> Scale:
    marks = [(height(share, paper), f"{100 * share:g}") for share in PAPER_SHARES]
    return Scale("share ended, %", marks[0][0], marks[-1][0], marks)


_PLOT: Final = (
    Column("Strokes, M", "strokes", right=True),
    Column("Ended, %", "share", right=True),
    Column("Weibull height", "weibull", right=True),
    Column("Lognormal height", "lognormal", right=True),
)


def _plot_table(model: Model, plot_: Plot) -> Document:
    rows = [
        Row(
            str(at),
            [
                f"{p.strokes / M:.2f}",
                f"{100 * p.share:.1f}",
                *("" if h is None else f"{h:.3f}" for h in (p.weibull, p.lognormal)),
            ],
            [p.strokes, p.share, p.weibull, p.lognormal],
        )
        for at, p in enumerate(plot_.points)
    ]
    return table("paper", f"Ends of {model.position} on probability paper", _PLOT, rows)

"""How past forecasts of a place came out: how often ranges held, with bounds, by how much."""

from __future__ import annotations

from typing import Final

from dashboard import charts, words
from dashboard.charts import Point, Scale, Series
from dashboard.fleet import Document
from dashboard.life_effects import sentence
from dashboard.life_facts import Coverage, Score
from dashboard.tables import Column, Row, Value, table

SOURCES: Final = {"live": "as they were made", "backtest": "made again for past days"}
_COLUMNS: Final = (
    Column("Range said", "range"),
    Column("Held", "held", right=True),
    Column("95 % bounds", "bounds"),
    Column("Ended before it", "before", right=True),
    Column("Outlasted it", "after", right=True),
)


def score(told: Score, *, shown: bool, opened: bool) -> Document:
    """One source: its table, what to mind, and where in their ranges the outcomes lay.

    shown: whether the last is drawn.  opened: whether its table is.
    """
    return {
        "lead": _lead(told),
        "rest": _errors(told),
        "table": table(
            f"score-{told.source}", f"Forecasts {SOURCES[told.source]}", _COLUMNS, _rows(told)
        ),
        "words": [sentence(text) for text in told.words],
        "shown": shown,
        "chart": _pit(told, opened) if shown else None,
    }


def nothing(source: str) -> str:
    """Why there is no score yet, and what comes next."""
    if source == "live":
        return (
            "No forecast of this place has come out yet: a score is made when a life ends, "
            "from the first forecast of each week."
        )
    return "None were made again. An administrator does so with duestroke backtest."


def _lead(told: Score) -> str:
    ended = told.outcomes.get("exact", 0) + told.outcomes.get("interval", 0)
    return f"{told.n:,} forecasts of {told.lives:,} lives, {ended:,} of them seen to the end."


def _errors(told: Score) -> str:
    if told.crps is None:
        return ""
    said = f"Mean error {words.strokes(told.crps)}"
    if told.crps_handbook_rule is not None:
        said += f", by the handbook give or take 20 % {words.strokes(told.crps_handbook_rule)}"
    if told.skill is not None:
        way = "better" if told.skill >= 0 else "worse"
        said += f": {abs(100 * told.skill):.0f} % {way}"
    return f"{said}."


def _rows(told: Score) -> list[Row]:
    rows = [_row(f"{_percent(key)} of strokes", each) for key, each in told.coverage.items()]
    return rows + [
        _row(f"{_percent(key)} of days", each) for key, each in told.due_coverage.items()
    ]


def _percent(key: str) -> str:
    return f"{100 * float(key):.0f} %"


def _row(name: str, each: Coverage) -> Row:
    bounds = f"{100 * each.low:.0f}–{100 * each.high:.0f} %"
    shares = (each.share, each.below, each.above)
    held, before, after = ("can’t tell" if s is None else f"{100 * s:.0f} %" for s in shares)
    values: list[Value] = [name, each.share, bounds, each.below, each.above]
    return Row(name, [name, held, bounds, before, after], values)


def _pit(told: Score, opened: bool) -> Document | None:
    cells = [(at, cell) for at, cell in enumerate(told.pit.cells) if cell.share is not None]
    if not cells:
        return None
    high = max(0.2, *(cell.high for _, cell in cells))
    x = Scale(
        "chance that the forecast gave to an end by then, %",
        0.0,
        100.0,
        [(10.0 * at, f"{10 * at}") for at in range(0, 11, 2)],
    )
    y = Scale(
        "share of outcomes, %",
        0.0,
        high,
        [(value, f"{100 * value:g}") for value in charts.ticks(0.0, high, 4)],
    )
    places = [(10.0 * at + 5.0, cell) for at, cell in cells]
    key = f"pit-{told.source}"
    rows = [
        Row(
            str(at),
            [
                f"{at:.0f} %",
                f"{100 * (c.share or 0.0):.1f} %",
                f"{100 * c.low:.0f}–{100 * c.high:.0f} %",
            ],
            [at / 100, c.share, f"{c.low:.4f}–{c.high:.4f}"],
        )
        for at, c in places
    ]
    columns = (
        Column("Chance said, middle of the tenth", "chance", right=True),
        Column("Share of outcomes", "share", right=True),
        Column("95 % bounds", "bounds"),
    )
    return charts.chart(
        key,
        f"Where in their forecasts the ends lay, {SOURCES[told.source]}",
        x,
        y,
        [
            Series(
                "uprights",
                "95 % bounds",
                charts.uprights(x, y, [(a, c.low, c.high) for a, c in places]),
            ),
            Series("dots", "outcomes", charts.dots(x, y, [(a, c.share or 0.0) for a, c in places])),
            Series(
                "own", "even, as of right forecasts", charts.line(x, y, [(0.0, 0.1), (100.0, 0.1)])
            ),
        ],
        says="Right forecasts put a tenth of the ends in each tenth.",
        points=[
            Point(a, c.share or 0.0, f"{100 * (c.share or 0):.0f} % of ends near {a:.0f} %")
            for a, c in places
        ],
        table=table(key, "Where in their forecasts the ends lay", columns, rows),
        opened=opened,
    )

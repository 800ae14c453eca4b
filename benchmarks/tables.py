"""What came out in a row of the coverage benchmark, and how rows are printed and pooled."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields

import numpy as np

from benchmarks.scenarios import FAILURES, ROWS, WORDS
from benchmarks.scores import Outcome


@dataclass(frozen=True)
class Cell:
    """Sums of a row: our forecasts, the true law's, our dates, the handbook rule's.

    population: summed score of our forecasts without the tools' own readings, where they have any.
    medians: of each case, strokes: median life by the place's model, by end codes alone, and true.
    """

    ours: Outcome = field(default_factory=Outcome)
    truth: Outcome = field(default_factory=Outcome)
    dates: Outcome = field(default_factory=Outcome)
    handbook: Outcome = field(default_factory=Outcome)
    population: float = 0.0
    medians: tuple[tuple[float, float, float], ...] = ()

    def __add__(self, other: Cell) -> Cell:
        return Cell(*(getattr(self, f.name) + getattr(other, f.name) for f in fields(self)))

    @property
    def over_truth(self) -> float:
        """Our score over the true law's."""
        return self.ours.score / self.truth.score

    @property
    def over_handbook(self) -> float:
        """Our score over that of the handbook rule."""
        return self.ours.score / self.handbook.score

    @property
    def over_population(self) -> float:
        """Our score over that of forecasts without the tools' own readings."""
        return self.ours.score / self.population

    @property
    def sharpness(self) -> float:
        """Mean width of our 80 % ranges over the true law's."""
        return self.ours.width / self.truth.width


Cells = Mapping[str, Cell]


def pooled(cells: Iterable[Cell]) -> Cell:
    """The sum of cells."""
    return sum(cells, Cell())


def picked(cells: Cells, failures: Iterable[int], scenarios: Iterable[str] | None = None) -> Cell:
    """The sum over the fleets' rows with these failures, of some or of all scenarios."""
    wanted, names = set(failures), None if scenarios is None else set(scenarios)
    return pooled(
        cell
        for name, cell in cells.items()
        if ROWS[name].failures in wanted and (names is None or ROWS[name].scenario in names)
    )


HEADER = (
    "                     |          ours: strokes left           |     true law       | dates"
    "       | CRPS: ours    over    over | width |  Brier of `due before a stop`\n"
    "    row        tools |  c80   +-    c90    low   high  | c80   c90  fair |  c80   c90  |"
    "  M    truth   rule   own | ratio |  ours  truth   rule   worst cell"
)


def table(cells: Cells) -> str:
    """The figures of all rows, pooled ones last."""
    lines, told = [HEADER], ""
    for name, cell in cells.items():
        scenario = ROWS[name].scenario
        if scenario != told:
            lines.append(f"{scenario}: {WORDS[scenario]}")
            told = scenario
        lines.append(line(name, cell))
    lines += _pooled_lines(cells)
    lines += _median_lines(cells)
    return "\n".join(lines)


def _pooled_lines(cells: Cells) -> list[str]:
    kept = _sums(cells)
    return ["fleets pooled", *(line(label, cell) for label, cell in kept)] if kept else []


def _sums(cells: Cells) -> list[tuple[str, Cell]]:
    sums = [(f"all/{r}", picked(cells, [r])) for r in FAILURES]
    sums.append(("all/2..30", picked(cells, FAILURES[1:])))
    return [(label, cell) for label, cell in sums if cell.ours.n]


def line(label: str, cell: Cell) -> str:
    """The figures of one row."""
    ours, truth, dates = cell.ours, cell.truth, cell.dates
    own = f"{cell.over_population:5.3f}" if cell.population else "    -"
    return (
        f"  {label:16} {ours.n:5d} | {ours.c80:.3f} {ours.error:.3f} {ours.c90:.3f}"
        f"  {ours.low_share:.3f}  {ours.high_share:.3f} | {truth.c80:.3f} {truth.c90:.3f}"
        f" {truth.fair80:.3f} | {dates.c80:.3f} {dates.c90:.3f} |"
        f" {ours.score / max(ours.n, 1) / 1e6:5.2f} {cell.over_truth:6.3f}"
        f" {cell.over_handbook:6.3f}"
        f" {own} | {cell.sharpness:5.3f} | {ours.mean_brier:.3f}  {truth.mean_brier:.3f}"
        f"  {cell.handbook.mean_brier:.3f}  {ours.worst_cell:.3f}"
    )


def _median_lines(cells: Cells) -> list[str]:
    lines = []
    for name, cell in cells.items():
        if cell.medians:
            medians = np.array(cell.medians)
            model, codes = (_spread(medians[:, k]) for k in (0, 1))
            true = _m(medians[0, 2])
            lines.append(f"  {name:16} model {model}, end codes alone {codes}, true {true}")
    words = "median life, M strokes: middle of the places (10 to 90 % of them)"
    return [words, *lines] if lines else []


def _spread(values: np.ndarray) -> str:
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
    return f"{_m(middle)} ({_m(low)} to {_m(high)})"


def _m(strokes: float) -> str:
    return f"{strokes / 1e6:.1f}"


MARKDOWN_HEAD = (
    "| row | tools | c80 ± | c90 | below / above | c80, true law | c80, dates "
    "| CRPS over true law's | over rule | over no readings | width | Brier: ours, true, rule |"
)


def markdown(cells: Cells) -> str:
    """The same figures as a table for the docs."""
    rule = "| --- " * MARKDOWN_HEAD.count(" |") + "|"
    lines = [MARKDOWN_HEAD, rule, *(_cells_of(name, cell) for name, cell in cells.items())]
    lines += [_cells_of(label, cell) for label, cell in _sums(cells)]
    return "\n".join([*lines, "", *_median_lines(cells)])


def _cells_of(label: str, cell: Cell) -> str:
    ours, truth = cell.ours, cell.truth
    own = f"{cell.over_population:.2f}" if cell.population else ""
    parts = (
        label,
        str(ours.n),
        f"{ours.c80:.3f} ± {ours.error:.3f}",
        f"{ours.c90:.3f}",
        f"{ours.low_share:.3f} / {ours.high_share:.3f}",
        f"{truth.fair80:.3f}",
        f"{cell.dates.c80:.3f}",
        f"{cell.over_truth:.3f}",
        f"{cell.over_handbook:.2f}",
        own,
        f"{cell.sharpness:.2f}",
        f"{ours.mean_brier:.3f}, {truth.mean_brier:.3f}, {cell.handbook.mean_brier:.3f}",
    )
    return "| " + " | ".join(parts) + " |"

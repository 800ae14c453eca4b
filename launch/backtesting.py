"""`duestroke backtest`: forecasts made again at earlier times, scored, and shown as a table."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any, Final

from launch.settings import BadSetting, Settings

HELP: Final = "make past forecasts again from what was known then, and score them"
_HEAD: Final = (
    f"{'place':<28}{'lives':>6}{'n':>7}  {'inside 80 %':>11} {'bounds':>11}{'low':>6}{'high':>6}"
    f"  {'in 90 %':>7}  {'CRPS, M':>7}{'rule':>7}{'skill':>7}{'Brier':>7}"
)

Say = Callable[[str], None]


def add_options(command: argparse.ArgumentParser) -> None:
    """The options of the command."""
    command.add_argument(
        "--every", type=float, default=28.0, metavar="DAYS",
        help="days between two times at which forecasts are made (default 28)",
    )  # fmt: skip
    command.add_argument(
        "--from", dest="start", type=_time, default=None, metavar="TIME",
        help="the first of them, such as 2025-03-01; default: so many days after the first report",
    )  # fmt: skip
    command.add_argument(
        "--place", type=_place, default=None, metavar="KIND/POSITION", help="only this place"
    )
    keeping = command.add_mutually_exclusive_group()
    keeping.add_argument(
        "--store", action="store_true",
        help="keep the scores in place of the last backtest's; this is what happens anyway",
    )  # fmt: skip
    keeping.add_argument("--dry", action="store_true", help="keep nothing")
    command.add_argument(
        "--json", type=Path, default=None, metavar="FILE",
        help="also write all figures there, as GET /forecasts/score gives them",
    )  # fmt: skip


def run(given: argparse.Namespace, settings: Settings, *, now: datetime, say: Say) -> int:
    """Run the backtest; the exit code. Raises BadSetting for an option that can't be."""
    from duestroke.errors import BadField
    from engine.backtest import Wanted, backtest
    from store.unit import connect

    wanted = Wanted(given.every, given.start, given.place)
    with connect(settings.required("database_url", "backtest")) as conn:
        try:
            done = backtest(conn, wanted, now, keep=not given.dry, say=say)
        except BadField as wrong:
            raise BadSetting(f"backtest: {wrong}") from wrong
    for line in table(done.answer):
        say(line)
    if done.left_out:
        why = "the ledger of now has the tool elsewhere, or worn by then"
        say(f"{done.left_out} forecasts have no score: {why}")
    say("nothing was kept" if given.dry else "kept as source=backtest")
    if given.json is not None:
        text = json.dumps(done.answer, indent=1)
        given.json.write_text(text + "\n", encoding="utf-8")
    return 0


def table(answer: Mapping[str, Any]) -> list[str]:
    """The figures of a score answer as lines: places, reliability, words. Strokes in millions."""
    lines = [_HEAD]
    lines += [_row(f"{each['kind']}/{each['position']}", each) for each in answer["places"]]
    lines.append(_row("all", answer))
    lines += ["", *_dates(answer["due_coverage"]), "", *_reliability(answer["chance_before"])]
    lines += ["", *_uniformity(answer["pit"])]
    return lines + [f"- {words}" for words in answer["words"]]


def _row(name: str, told: Mapping[str, Any]) -> str:
    eighty, ninety = told["coverage"]["0.8"], told["coverage"]["0.9"]
    bounds = f"{eighty['low']:.2f}-{eighty['high']:.2f}"
    return (
        f"{name:<28}{told['lives']:>6}{told['n']:>7}  {_share(eighty['share']):>11} {bounds:>11}"
        f"{_share(eighty['below']):>6}{_share(eighty['above']):>6}  {_share(ninety['share']):>7}"
        f"  {_millions(told['crps']):>7}{_millions(told['crps_handbook_rule']):>7}"
        f"{_share(told['skill']):>7}{_share(told['brier'], 3):>7}"
    )


def _dates(told: Mapping[str, Any]) -> list[str]:
    return [
        f"due times inside their {100 * float(nominal):.0f} % range: {_share(each['share'])} "
        f"({each['low']:.2f}-{each['high']:.2f}), before it {_share(each['below'])}, after it "
        f"{_share(each['above'])}"
        for nominal, each in told.items()
    ]


def _reliability(told: Mapping[str, Any]) -> list[str]:
    lines = [
        f"chance of the end before the next stop: {told['n']} known, {told['unknown']} not, "
        f"{_share(told['base_rate'], 3)} came"
    ]
    for cell in told["cells"]:
        if cell["n"]:
            lines.append(
                f"  said {_share(cell['said'])}  came {_share(cell['came'])} "
                f"({cell['low']:.2f}-{cell['high']:.2f})  n {cell['n']}"
            )
    return lines


def _uniformity(told: Mapping[str, Any]) -> list[str]:
    shares = " ".join(_share(cell["share"]) for cell in told["cells"])
    lines = [f"outcomes by tenths of their forecasts (right: 0.10 each): {shares}"]
    test = told["uniformity"]
    if test is not None:
        lines.append(
            f"  uniform? first forecast of {test['n']} lives: chi-square "
            f"{test['chi_square']:.1f} (95 %: {test['chi_square_95']:.1f}), distance "
            f"{test['ks']:.3f} (95 %: {test['ks_95']:.3f})"
        )
    return lines


def _share(value: float | None, digits: int = 2) -> str:
    return "-" if value is None else f"{value:.{digits}f}"


def _millions(strokes: float | None) -> str:
    return "-" if strokes is None else f"{strokes / 1e6:.2f}"


def _place(text: str) -> tuple[str, str]:
    kind, slash, position = text.partition("/")
    if not (kind and slash and position):
        raise argparse.ArgumentTypeError(f"got {text!r}, allowed is KIND/POSITION")
    return kind, position


def _time(text: str) -> datetime:
    from duestroke.times import parse_time

    try:
        return datetime.combine(date.fromisoformat(text), time(), UTC)
    except ValueError:
        pass
    try:
        return parse_time(text)
    except ValueError as fault:
        allowed = "a day such as 2025-03-01, or an RFC 3339 time with an offset"
        raise argparse.ArgumentTypeError(f"got {text!r}, allowed is {allowed}") from fault

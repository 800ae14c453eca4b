"""From the API's answers to the one document that the page draws: every word and every place.

Pure: `now` is given, nothing is read and nothing is estimated. Empty states come first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from dashboard import axis as axes
from dashboard import words
from dashboard.axis import Axis
from dashboard.client import Chance, Forecast, Press, Stop
from duestroke.forecast.facts import SILENT_AFTER, STATES

Document = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Answers:
    """What the API said in one round; a part that could not be read is None, with its fault."""

    at: datetime
    presses: tuple[Press, ...]
    forecasts: tuple[Forecast, ...] | None
    stops: tuple[Stop, ...] | None
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Fleet:
    """The answers, sorted for drawing. `now`: aware; `tools`: worst first, by press."""

    axis: Axis
    presses: tuple[Press, ...]
    tools: Mapping[str, tuple[Forecast, ...]]
    stops: tuple[Stop, ...]
    lines: tuple[str, ...]
    sites: tuple[str, ...]
    answers: Answers

    @property
    def now(self) -> datetime:
        """Now, as the board's clock has it."""
        return self.axis.now

    @property
    def zone(self) -> tzinfo:
        """Plant time."""
        return self.axis.zone


def arrange(answers: Answers, now: datetime, days: int, site: str = "") -> Fleet:
    """Sort presses in stamped order, tools worst first, stops soonest first.

    The two stamped numbers name a press within its site, so one site is shown: `site`, or the
    first where that is not one of them.
    """
    sites = sorted({site_of(press.press) for press in answers.presses})
    shown = site if site in sites else sites[0] if sites else ""
    presses = tuple(
        sorted(
            (press for press in answers.presses if site_of(press.press) == shown),
            key=lambda press: press.press,
        )
    )
    return Fleet(
        axis=Axis(now=now, days=days, zone=plant_zone(presses)),
        presses=presses,
        tools=_tools(presses, answers.forecasts or (), now),
        stops=tuple(axes.for_changes(answers.stops or (), now)),
        lines=tuple(dict.fromkeys(words.line_of(press.press) for press in presses)),
        sites=tuple(sites),
        answers=answers,
    )


def site_of(press: str) -> str:
    """The site of `site/line/press`."""
    return press.partition("/")[0]


def _tools(
    presses: Iterable[Press], known: Iterable[Forecast], now: datetime
) -> dict[str, tuple[Forecast, ...]]:
    tools: dict[str, list[Forecast]] = {press.press: [] for press in presses}
    for forecast in by_urgency(known, now):
        if forecast.press in tools:
            tools[forecast.press].append(forecast)
    return {press: tuple(found) for press, found in tools.items()}


def plant_zone(presses: Sequence[Press]) -> tzinfo:
    """The zone of all presses; UTC where they differ or there is none."""
    names = {press.timezone for press in presses}
    return ZoneInfo(names.pop() if len(names) == 1 else "UTC")


def by_urgency(known: Iterable[Forecast], now: datetime) -> list[Forecast]:
    """Worst first: by the engine's state, the chance before the stop ahead, then the middle."""
    return sorted(known, key=lambda forecast: _urgency(forecast, now))


def _urgency(forecast: Forecast, now: datetime) -> tuple[int, float, float, str]:
    due = usable_due(forecast).get("0.5")
    chances = ahead(forecast, now)
    return (
        STATES.index(forecast.state),
        -chances[0].chance if chances else 0.0,
        due.timestamp() if due else float("inf"),
        forecast.position,
    )


def ahead(forecast: Forecast, now: datetime) -> list[Chance]:
    """Chances of ending before the stops that have yet to begin.

    To the engine a stop under way is the next one; a line on the axis it is no more.
    """
    return [each for each in forecast.chance_before if each.at > now]


def usable_due(forecast: Forecast) -> Mapping[str, datetime | None]:
    """Due times to draw: those of the life, or of the fixed interval where no life is known."""
    due = forecast.due or {}
    if any(at is not None for at in due.values()):
        return due
    return forecast.interval.due if forecast.interval else {}


def has_range(forecast: Forecast) -> bool:
    """Whether there is any due time to draw."""
    return any(at is not None for at in usable_due(forecast).values())


def is_silent(press: Press, now: datetime) -> bool:
    """Whether no report has come for as long as the engine takes for silence (or ever)."""
    return press.last_report is None or now - press.last_report.at > SILENT_AFTER


def head(fleet: Fleet) -> Document:
    """Place, plant time with offset, how far the counts go, which presses are silent."""
    now, zone = fleet.now, fleet.zone
    shown = site_of(fleet.presses[0].press) if fleet.presses else ""
    return {
        "site": shown,
        "others": [site for site in fleet.sites if site != shown],
        "now": words.moment(now, zone, now),
        "offset": words.offset(now, zone),
        **data_time(fleet),
    }


def data_time(fleet: Fleet) -> Document:
    """`counts`: the time that all reporting presses have reached; `gap`: the silent ones."""
    if not fleet.presses:
        return {"counts": "", "reporting": "no press is registered", "gap": ""}
    now, zone = fleet.now, fleet.zone
    heard = [p.last_report.at for p in fleet.presses if p.last_report and not is_silent(p, now)]
    last = [p.last_report.at for p in fleet.presses if p.last_report]
    upto = min(heard) if heard else max(last) if last else None
    total = len(fleet.presses)
    return {
        "counts": words.since(upto, zone, now) if upto else "",
        "reporting": f"{len(heard)} of {total} press{'es' if total > 1 else ''} reporting",
        "gap": _silent_words(fleet),
    }


def _silent_words(fleet: Fleet) -> str:
    silent = [press for press in fleet.presses if is_silent(press, fleet.now)]
    if not silent:
        return ""
    if len(silent) == len(fleet.presses) and len(silent) > 3:
        return "all presses silent"
    return words.listed([_silence(press, fleet) for press in silent], 3)


def _silence(press: Press, fleet: Fleet) -> str:
    name = words.press_id(press.press)
    if press.last_report is None:
        return f"{name} has never reported"
    return f"{name} silent since {words.since(press.last_report.at, fleet.zone, fleet.now)}"


def bar(fleet: Fleet, fault: str) -> Document | None:
    """The one bar above the sheet: old figures stay, and it says how old they are and why.

    fault: why the last question got no answer, empty when it did.
    """
    now, zone = fleet.now, fleet.zone
    last = [press.last_report.at for press in fleet.presses if press.last_report]
    if fault:
        held = fleet.answers.at
        return {
            "lead": f"No data since {words.since(held, zone, now)}.",
            "rest": f"The board asked at {words.clock(now, zone)} and {_got(fault)}. What you see "
            f"is {words.lasted((now - held).total_seconds() / 60)} old; counts go on in the "
            "presses and will be caught up.",
        }
    if last and all(is_silent(press, now) for press in fleet.presses):
        newest = max(last)
        return {
            "lead": f"No data since {words.since(newest, zone, now)}.",
            "rest": "No press has reported for "
            f"{words.lasted((now - newest).total_seconds() / 60)}; counts go on in the presses "
            "and will be caught up.",
        }
    return None


def _got(fault: str) -> str:
    return "got no answer" if fault == "the API gave no answer" else f"could not read it: {fault}"


def axis_head(fleet: Fleet) -> Document:
    """The sticky head of the axis: Mondays, and the stops of each line as numbered flags."""
    lanes = min(len(fleet.lines), axes.MOST_LANES)
    names = ", ".join(line.rpartition("/")[2] for line in fleet.lines[:lanes])
    stops = f"Numbered flags are planned stops of line{'s' if lanes > 1 else ''}{words.NB}{names}."
    return {
        "span": fleet.axis.span,
        "weeks": axes.weeks(fleet.axis),
        "days": axes.day_labels(fleet.axis),
        "flags": axes.flags(fleet.axis, fleet.stops, fleet.lines),
        "lanes": lanes,
        "note": [
            "Every range below lies on this axis: six weeks from now.",
            stops if fleet.stops else "No planned stop is entered.",
        ],
    }


def line_paths(fleet: Fleet) -> dict[str, dict[str, str]]:
    """Stop lines of each line, drawn across its rows."""
    return {
        line: axes.stop_lines(fleet.axis, axes.of_line(fleet.stops, line)) for line in fleet.lines
    }


def tally(fleet: Fleet) -> dict[str, int]:
    """Presses by the state of their worst tool, worst state first, only those that occur."""
    worst = [found[0].state for found in fleet.tools.values() if found]
    counts = {state: worst.count(state) for state in STATES}
    return {state: count for state, count in counts.items() if count}


def foot(fleet: Fleet) -> str:
    """What the ranges rest on, whose time it is, and what no screen may be taken for."""
    known = [found for tools in fleet.tools.values() for found in tools]
    newest = max((f.basis.as_of for f in known if f.basis.as_of), default=None)
    lives = _lives(known)
    rest = f"{lives:,} li{'ves' if lives > 1 else 'fe'}" if lives else "the handbook alone"
    at = words.since(newest, fleet.zone, fleet.now) if newest else ""
    ranges = f"Ranges of {at} from {rest}. " if newest else ""
    zone = getattr(fleet.zone, "key", "UTC")
    return (
        f"{ranges}Times are plant time, {zone}. "
        "Duestroke only reads: no screen is proof that a machine is safe."
    )


def _lives(known: Iterable[Forecast]) -> int:
    """Lives behind the ranges: each fit once, however many tools rest on it."""
    by_fit: dict[str, int] = {}
    for forecast in known:
        fit = forecast.basis.fit or forecast.position
        by_fit[fit] = max(by_fit.get(fit, 0), forecast.basis.lives)
    return sum(by_fit.values())

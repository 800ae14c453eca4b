"""The page of one press: tools in machine order, how rough it runs, how its strokes are counted.

Pure, as `fleet`: `now` is given, nothing is read and nothing is estimated.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any, Final

from dashboard import axis as axes
from dashboard import counter, figures, origins, readings, rough, rows, section, words
from dashboard import fleet as fleets
from dashboard.client import Forecast, Press
from dashboard.fleet import Document, Fleet
from dashboard.record import Event, Position, Record
from duestroke.names import DEFAULT_POSITIONS, PRESS_POSITION
from duestroke.stroke import STANDARD_GRAVITY, Drive, drive_ram_ratio

DAYS: Final = 42
DAYS_SHOWN: Final = 60
RISE: Final = 55.6
FLAG_ROOM: Final = 12.5
MOST_NAMED: Final = 2

OWN_PARTS: Final = (
    *("punch", "redraw-sleeve", "redraw-die", "ring-1"),
    *("ring-2", "ring-3", "stripper", "dome-die", "press"),
)
"""Rows that stand even where nothing is recorded; a plant's own positions only where used."""

USUAL: Final = tuple(
    Position(position, kind, 10 * at) for at, (position, kind, _) in enumerate(DEFAULT_POSITIONS)
)
"""From cup to dome, where the plant's own could not be read."""

LEADS: Final = {
    "overdue": "{} is overdue.",
    "this-stop": "{} is to be changed at the next stop.",
    "plan": "{} will be wanted at the stop after next.",
    "fine": "Nothing is wanted at the next two stops.",
}
PRESS_LEADS: Final = LEADS | {
    "overdue": "The press itself is overdue.",
    "this-stop": "The press itself is to be serviced at the next stop.",
    "plan": "The press itself will be due at the stop after next.",
}
NO_TOOL: Final = (
    "No range yet.",
    "No tool is recorded in this press. Enter the tools that are in with the API: "
    "POST /api/v1/tool-events.",
)
DRAWING: Final = (
    "Section through the press, in the order of the rows: ram, punch, redraw sleeve and die, "
    "ironing rings, stripper, dome die; parts that someone must act on are filled."
)


@dataclass(frozen=True, slots=True)
class Sight:
    """All that one page is made of. opened: what stands open on the screen, by key."""

    fleet: Fleet
    press: Press
    record: Record
    opened: Collection[str]

    @property
    def tools(self) -> dict[str, Forecast]:
        """Forecasts of this press by position."""
        return {tool.position: tool for tool in self.fleet.tools.get(self.press.press, ())}

    @property
    def events(self) -> tuple[Event, ...]:
        """Events that stand."""
        return tuple(each for each in self.record.events or () if each.stands)


def document(
    fleet: Fleet, press: Press, record: Record, *, fault: str = "", opened: Collection[str] = ()
) -> Document:
    """The whole page. fault: why the last question to the API got no answer, else empty."""
    sight = Sight(fleet, press, record, opened)
    ratio = _rough(sight)
    return {
        "view": "press",
        "title": f"Press {words.press_id(press.press)} · Duestroke",
        "head": fleets.head(fleet),
        "bar": fleets.bar(fleet, fault) or _aged(sight),
        "axis": _axis_head(sight),
        "lines": {press.press: axes.stop_lines(fleet.axis, _stops(sight))},
        "top": _top(sight),
        "stack": _stack(sight, ratio),
        "rough": _rough_section(sight, ratio),
        "count": _count_section(sight),
        "foot": fleets.foot(fleet),
    }


def unknown(fleet: Fleet, name: str, *, fault: str = "") -> Document:
    """The page of a press that is not registered: says so, and where to go."""
    return {
        "view": "press",
        "title": f"Press {words.press_id(name)} · Duestroke",
        "head": fleets.head(fleet),
        "bar": fleets.bar(fleet, fault),
        "axis": {"span": fleet.axis.span, "weeks": axes.weeks(fleet.axis), "days": [], "flags": []},
        "away": {
            "lead": f"No press {name} is registered.",
            "rest": "The Shift page has those that are.",
        },
        "foot": fleets.foot(fleet),
    }


def _aged(sight: Sight) -> Document | None:
    """The bar of a page of which only a part is old."""
    if not sight.record.aged:
        return None
    at = words.clock(sight.record.read_at, sight.fleet.zone)
    return {
        "lead": "Part of this page is old.",
        "rest": f"At {at} {sight.record.aged[0]}; what was read of it before stays.",
    }


def _stops(sight: Sight) -> list[Any]:
    return axes.of_press(sight.fleet.stops, sight.press.press)


# ---- title ----


def _top(sight: Sight) -> Document:
    worst = next(iter(sight.fleet.tools.get(sight.press.press, ())), None)
    lead, rest = _paragraph(sight, worst)
    return {
        "id": words.press_id(sight.press.press),
        "name": sight.press.press,
        **rows.state(worst),
        "lead": lead,
        "rest": rest,
        "silent": fleets.is_silent(sight.press, sight.fleet.now),
        "figures": _figures(sight, worst),
    }


def _paragraph(sight: Sight, worst: Forecast | None) -> tuple[str, str]:
    """What matters about the press, in plain words: the worst tool, the others, the count."""
    if worst is None:
        if sight.fleet.answers.forecasts is None:
            why = (sight.fleet.answers.faults or ("the API gave no answer",))[0]
            return "Ranges could not be read.", f"{words.sentence(why, *_when(sight))}"
        return NO_TOOL
    count = _joined(_question_sentence(sight), _count_sentence(sight))
    why = rows.reason(sight.fleet, worst)
    if worst.state == "cant-tell":
        return _cannot_tell(sight), _joined(why, count)
    if worst.state == "fine":
        why = f"First to come is {_named(worst)}: {rows.due_range(sight.fleet, worst)}."
    leads = PRESS_LEADS if worst.position == PRESS_POSITION else LEADS
    lead = leads[worst.state].format(_capital(_named(worst)))
    return lead, _joined(why, _others(sight, worst), count)


def _when(sight: Sight) -> tuple[Any, datetime]:
    return sight.fleet.zone, sight.fleet.now


def _joined(*sentences: str) -> str:
    return " ".join(each for each in sentences if each)


def _named(tool: Forecast) -> str:
    return "the press itself" if tool.position == PRESS_POSITION else tool.position


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _cannot_tell(sight: Sight) -> str:
    tools = sight.tools.values()
    doubted = [tool for tool in tools if tool.state == "cant-tell"]
    if len(doubted) == 1:
        return f"The range of {_named(doubted[0])} can’t be told now."
    of = "all its tools" if len(doubted) == len(tools) else f"{len(doubted)} of its tools"
    return f"The ranges of {of} can’t be told now."


def _others(sight: Sight, worst: Forecast) -> str:
    """The other tools that need someone, if any."""
    calls = [
        f"{_named(tool)} ({words.STATE_WORDS[tool.state]})"
        for tool in sight.fleet.tools[sight.press.press]
        if tool is not worst and tool.state in rows.NEEDS_SOMEONE
    ]
    return f"Also: {words.listed(calls, MOST_NAMED)}." if calls else ""


def _question_sentence(sight: Sight) -> str:
    """What readings ask back, the newest in full; never answered by the board."""
    asked = sight.record.questions or ()
    if not asked:
        return ""
    newest = max(asked, key=lambda each: each.raised_at)
    more = f" {len(asked) - 1} more wait for an answer." if len(asked) > 1 else ""
    return f"A question: {words.sentence(newest.words, *_when(sight))}{more}"


def _count_sentence(sight: Sight) -> str:
    open_ones = [flag for flag in sight.record.flags or () if flag.settled is None]
    hidden = counter.hidden_since(open_ones, None)
    if not hidden:
        return ""
    flags = "A flag is" if len(open_ones) == 1 else f"{len(open_ones)} flags are"
    return f"{flags} not settled: at most {hidden:,} strokes are hidden from its count."


def _figures(sight: Sight, worst: Forecast | None) -> list[str]:
    """Pace and peaks of the last report, and how far the counts go."""
    press, fleet = sight.press, sight.fleet
    pace = rows.pace(fleet, press)["text"]
    last = press.last_report
    if last is None:
        return [pace]
    peaks = [pace]
    if last.peak_speed_mps is not None:
        peaks.append(f"{last.peak_speed_mps:.1f}{words.NB}m/s")
    if last.peak_accel_mps2 is not None:
        peaks.append(f"{last.peak_accel_mps2 / STANDARD_GRAVITY:.1f}{words.NB}g{words.NB}peak")
    upto = [f"counts up to {words.since(last.at, fleet.zone, fleet.now)}"]
    if worst is not None and worst.rate is not None:
        upto.append(f"{words.strokes(worst.rate.strokes_per_day)} a running day")
    return [" · ".join(peaks), " · ".join(upto)]


# ---- the axis and the stack ----


def _axis_head(sight: Sight) -> Document:
    axis = sight.fleet.axis
    return {
        "span": axis.span,
        "weeks": axes.weeks(axis),
        "days": axes.day_labels(axis),
        "flags": _flags(sight),
        "note": "In the order in which the cup meets them",
        "drawing": DRAWING,
        "read": "Last reading against its limit",
        "with": "When it is due, and what that rests on",
        "empty": _no_stop(sight),
    }


def _no_stop(sight: Sight) -> str:
    if sight.fleet.answers.stops is None:
        return "the stops could not be read"
    return "" if _stops(sight) else "no planned stop is entered"


def _flags(sight: Sight) -> list[dict[str, Any]]:
    """The stops of this press as dated flags; a long one is open, with its length."""
    fleet, shown, free_from = sight.fleet, [], 0.0
    for stop in axes.coming(_stops(sight), fleet.now):
        left = fleet.axis.left(stop.begins)
        if left < free_from or left > axes.LABEL_TO:
            continue
        length = stop.ends - stop.begins
        is_long = length >= axes.LONG_STOP
        local = stop.begins.astimezone(fleet.zone)
        day = f"{words.DAYS[local.weekday()]}{words.NB}{local.day}"
        text = f"{round(length / timedelta(hours=1))}{words.NB}h" if is_long else day
        shown.append({"key": stop.id, "left": left, "text": text, "long": is_long})
        free_from = max(left, FLAG_ROOM / 2) + FLAG_ROOM
    return shown


def _stack(sight: Sight, ratio: rough.Rough | None) -> Document:
    places = _places(sight)
    tools = sight.tools
    parts = [
        section.Part(
            place.kind,
            calls=place.position in tools and _calls(tools[place.position]),
            known=place.position == PRESS_POSITION or place.position in tools,
        )
        for place in places
    ]
    drawn = section.slices(parts)
    made = [_row(sight, place, ratio) | drawn[at] for at, place in enumerate(places)]
    fault = "The positions could not be read: the usual ones are shown, without limits."
    return {"rows": made, "fault": fault if sight.record.positions is None else ""}


def _calls(tool: Forecast) -> bool:
    return tool.state in ("overdue", "this-stop")


def _places(sight: Sight) -> list[Position]:
    """Positions of the rows: the press first, then from cup to dome.

    The sleeve, which is inside the cup and presses it on the die, stands above the die that comes
    just before it in the plant's order.
    """
    tools = sight.tools
    used = {each.position for each in sight.record.events or ()} | set(tools)
    known = sorted(
        USUAL if sight.record.positions is None else sight.record.positions,
        key=lambda place: (place.order, place.position),
    )
    listed = {place.position for place in known}
    known += [Position(name, name, 800) for name in tools if name not in listed]
    kept = [place for place in known if place.position in used or place.position in OWN_PARTS]
    press = [place for place in kept if place.position == PRESS_POSITION]
    others = [place for place in kept if place.position != PRESS_POSITION]
    for at, (one, two) in enumerate(pairwise(others)):
        if (one.kind, two.kind) == ("redraw-die", "redraw-sleeve"):
            others[at : at + 2] = [two, one]
            break
    return [*press, *others]


def fitted(events: Sequence[Event], position: str, serial: str | None) -> Event | None:
    """The standing event that a row's strokes count from: the tool's last fit, or last service."""
    if position == PRESS_POSITION:
        found = [each for each in events if each.type == "service"]
    else:
        found = [
            each
            for each in events
            if each.type == "fit" and each.position == position and each.serial == serial
        ]
    return max(found, key=lambda each: each.at, default=None)


def _row(sight: Sight, place: Position, ratio: rough.Rough | None) -> Document:
    fleet, press = sight.fleet, sight.press
    tool = sight.tools.get(place.position)
    fit = fitted(sight.events, place.position, tool.serial if tool else None)
    doubt = tool is not None and tool.state == "cant-tell"
    is_open = place.position in sight.opened
    has_range = tool is not None and fleets.has_range(tool)
    return {
        "key": place.position,
        "label": "press, ram" if place.position == PRESS_POSITION else place.position,
        **rows.state(tool),
        **rows.drawn(fleet, press.press, tool, RISE),
        "line": press.press,
        "stops": None,
        "serial": _serial(sight, place, tool),
        "strokes": _strokes(place, tool, fit),
        "hidden": _hidden(sight, tool, fit),
        "read": _read(sight, place, tool, fit, ratio),
        "asks": "a question is open" if _asked(sight, place.position) else "",
        "figures": rows.chance_figures(fleet, tool) if tool else [],
        "cap": rows.as_of(fleet, tool) if tool and doubt and has_range else "",
        "range": "" if doubt or not has_range or tool is None else rows.due_range(fleet, tool),
        "half": "" if doubt or tool is None else rows.middle(fleet, tool),
        "basis": rows.basis(tool) if tool else "",
        "spoken": rows.spoken(fleet, tool),
        "open": is_open,
        "opened": origins.of_tool(fleet, press, place.position, tool, fit, sight.record)
        if is_open
        else [],
    }


def _asked(sight: Sight, position: str) -> bool:
    return any(each.position == position for each in sight.record.questions or ())


def _serial(sight: Sight, place: Position, tool: Forecast | None) -> str:
    if tool is not None:
        return "" if place.position == PRESS_POSITION else tool.serial or ""
    if sight.fleet.answers.forecasts is None:
        return "range not read"
    return "no range yet" if place.position == PRESS_POSITION else "no tool recorded"


def _strokes(place: Position, tool: Forecast | None, fit: Event | None) -> str:
    if tool is None:
        return ""
    if tool.strokes is None:
        return "age not known"
    figure = words.strokes(tool.strokes)
    if place.position != PRESS_POSITION:
        return figure
    return f"{figure} since service" if fit is not None else f"{figure}, no service on record"


def _hidden(sight: Sight, tool: Forecast | None, fit: Event | None) -> str:
    if tool is None or tool.strokes is None:
        return ""
    since = None if fit is None else fit.at
    return counter.hidden_words(counter.hidden_since(sight.record.flags or (), since))


def _read(
    sight: Sight,
    place: Position,
    tool: Forecast | None,
    fit: Event | None,
    ratio: rough.Rough | None,
) -> dict[str, Any]:
    nothing = readings.NOTHING
    if place.position == PRESS_POSITION:
        return nothing | {"text": _ratio_words(ratio)}
    if tool is None:
        return nothing
    if sight.record.inspections is None:
        return nothing | {"text": "readings not read"}
    since = None if fit is None else fit.at
    found = readings.standing(sight.record.inspections, tool.serial, since)
    return readings.small_form(sight.fleet, found, place)


# ---- roughness ----


def _rough(sight: Sight) -> rough.Rough | None:
    if sight.record.hours is None:
        return None
    return rough.of_hours(sight.record.hours, sight.fleet.zone, sight.fleet.now, DAYS_SHOWN)


def _ratio_words(ratio: rough.Rough | None) -> str:
    if ratio is None or ratio.recent is None:
        return ""
    own = "" if ratio.own is None else f", its own {ratio.own:.2f}"
    return f"K {ratio.recent:.2f}{own}"


def _shown(sight: Sight) -> figures.Days:
    today = sight.fleet.now.astimezone(sight.fleet.zone).date()
    return figures.Days(first=today - timedelta(days=DAYS_SHOWN - 1), last=today)


def _rough_section(sight: Sight, ratio: rough.Rough | None) -> Document:
    shown = _shown(sight)
    return {
        "figure": _rough_figure(sight, ratio, shown) if ratio and ratio.days else None,
        "empty": _no_ratio(ratio),
        "after": _ratio_sentences(sight, ratio),
        "days_open": "days" in sight.opened,
        "events_open": "events" in sight.opened,
        "days": origins.of_days(ratio.days) if ratio and "days" in sight.opened else [],
        "events": origins.all_events(sight.fleet, sight.record.events)
        if "events" in sight.opened
        else [],
    }


def _no_ratio(ratio: rough.Rough | None) -> str:
    if ratio is None:
        return "The series of this press could not be read."
    if not ratio.days:
        return (
            "No day in the last sixty has twelve hours of running with speed and acceleration, so "
            "nothing can be said of how rough the ram runs."
        )
    return ""


def _rough_figure(sight: Sight, ratio: rough.Rough, shown: figures.Days) -> Document:
    days = [day for day in ratio.days if shown.first <= day.day <= shown.last]
    own = [] if ratio.own is None else [ratio.own]
    scale = figures.heights([*(day.ratio for day in days), *own], least=0.04)
    changes = _changes(sight, shown)
    labels = figures.in_lanes(shown, changes)
    dots = "".join(f"M{shown.x(day.day):g} {scale.y(day.ratio):g}h0" for day in days)
    return {
        "ticks": scale.ticks(2 if scale.step >= 0.01 else 3),
        "grid": scale.grid(),
        "days": shown.labels(),
        "dots": dots,
        "own": f"M0 {scale.y(ratio.own):g}H1000" if ratio.own is not None else "",
        "events": figures.uprights(shown, [day for day, _ in changes], labels),
        "labels": labels,
        "says": "ram ratio K, median of each day; uprights are changes of tools",
        "spoken": _spoken(ratio),
    }


def _spoken(ratio: rough.Rough) -> str:
    if ratio.recent is None:
        return ""
    first = ratio.days[0]
    return f"K from {first.ratio:.3f} on {figures.day_word(first.day)} to {ratio.recent:.3f} lately"


def _changes(sight: Sight, shown: figures.Days) -> list[tuple[Any, str]]:
    """Days with changes of tools, and what was done, in a few words."""
    by_day: dict[Any, list[str]] = {}
    for each in sight.events:
        day = each.at.astimezone(sight.fleet.zone).date()
        if each.type in ("pull", "service") and shown.first <= day <= shown.last:
            by_day.setdefault(day, []).append(_change(each))
    return [
        (day, f"{figures.day_word(day)} {words.listed(done, MOST_NAMED)}")
        for day, done in sorted(by_day.items())
    ]


def _change(each: Event) -> str:
    if each.type == "service":
        return "service"
    return f"{each.position or 'tool'} {origins.words_of(each.reason or 'out')}"


def _ratio_sentences(sight: Sight, ratio: rough.Rough | None) -> list[str]:
    """The last week's level beside its own, and what its drive would give; no verdict."""
    if ratio is None or ratio.recent is None:
        return []
    said = [f"Last seven days: K {ratio.recent:.3f}."]
    if ratio.own is None:
        said.append("It has no level of its own yet: too few days lie before these.")
    else:
        change = round(100 * (ratio.recent / ratio.own - 1), 1)
        said.append(
            f"Its own, over the days before these: {ratio.own:.3f} (dashed), so "
            + ("no change." if change == 0 else f"{change:+.1f}{words.NB}%.".replace("-", "−"))
        )
    built = _as_built(sight.press)
    if built is not None:
        said.append(f"Its crank drive in good order gives {built:.3f}.")
    return said


def _as_built(press: Press) -> float | None:
    """K of the drive as registered, where it is."""
    if press.crank_radius_mm is None:
        return None
    rod = None if press.rod_length_mm is None else press.rod_length_mm / 1000.0
    return drive_ram_ratio(Drive(press.crank_radius_mm / 1000.0, rod))


# ---- counter record ----


def _count_section(sight: Sight) -> Document:
    return counter.section(sight.fleet, sight.press, sight.record, _shown(sight), sight.opened)

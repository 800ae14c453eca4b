"""What a figure opens to: readings, events, flags, forecast basis and the rule, in place.

An opening is a list of blocks, each a title with sentences, or with a table.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Any, Final

from dashboard import counter, readings, words
from dashboard.client import Forecast, Press
from dashboard.fleet import Document, Fleet
from dashboard.record import Event, Flag, Inspection, Record
from dashboard.rough import Day

MOST: Final = 12
LATE: Final = timedelta(hours=12)

STATE_RULES: Final = {
    "fine": "Fine: no change is wanted at the next two stops.",
    "plan": "Plan: by the plan’s rule it will be wanted at the stop after next, or its spare must "
    "be sent for now.",
    "this-stop": "This stop: by the plan’s costs where they are set, else because the chance of "
    "ending before the stop after that is 25 % or more; or its interval is reached by then.",
    "overdue": "Overdue: its end is more likely past than not, it was read past its limit, or its "
    "interval is reached.",
    "cant-tell": "Can’t tell: there is no basis, or the state hangs on what ran unseen.",
}
DONE: Final = {
    "fit": "fitted",
    "pull": "pulled",
    "send": "sent for rework",
    "rework": "reworked",
    "shelve": "shelved",
    "scrap": "scrapped",
    "service": "press serviced",
}
STROKES_RULE: Final = (
    "Rule: a tool’s strokes are the press’s total now less that at its fit, on a straight line "
    "between two readings, and what it had run before."
)


def of_tool(
    fleet: Fleet,
    press: Press,
    position: str,
    tool: Forecast | None,
    fit: Event | None,
    record: Record,
) -> list[Document]:
    """The blocks behind one row. fit: the standing event that its strokes count from."""
    serial = None if tool is None else tool.serial
    since = None if fit is None else fit.at
    return [
        _strokes(fleet, press, tool, fit, record.flags),
        _range(fleet, tool),
        _readings(fleet, serial, record),
        _events(fleet, "What was done here", _of_row(record.events, position, serial), since),
    ]


# ---- strokes ----


def _strokes(
    fleet: Fleet,
    press: Press,
    tool: Forecast | None,
    fit: Event | None,
    flags: Sequence[Flag] | None,
) -> Document:
    if tool is None:
        return _block("Strokes", ["No tool is recorded at this place, so none has strokes."])
    if tool.strokes is None:
        first = "Nobody knows how much it had run when it was fitted."
    else:
        first = f"{tool.strokes:,.0f} since fit, rework or service."
    return _block("Strokes", [first, *_since_fit(fleet, press, fit), *_hidden(fleet, fit, flags)])


def _since_fit(fleet: Fleet, press: Press, fit: Event | None) -> list[str]:
    if fit is None:
        return [
            f"No service is on record: the press’s own total, {press.strokes:,}, counts from its "
            "first report."
        ]
    did = "service" if fit.type == "service" else "fit"
    at = words.moment(fit.at, fleet.zone, fleet.now)
    total = "" if fit.press_strokes is None else f"; total then {fit.press_strokes:,}"
    return [
        f"Its {did}: {at}{total}, now {press.strokes:,}.",
        _before(fit),
        STROKES_RULE,
    ]


def _before(fit: Event) -> str:
    if fit.before_unknown:
        return "What it had run before is not known."
    if fit.strokes_before is None:
        return "Run before: what the ledger knows of it, else none."
    margin = f" ±{words.NB}{fit.strokes_before_margin:,}" if fit.strokes_before_margin else ""
    return f"Run before: {fit.strokes_before:,}{margin}, as entered."


def _hidden(fleet: Fleet, fit: Event | None, flags: Sequence[Flag] | None) -> list[str]:
    if flags is None:
        return ["The flags could not be read: strokes may be hidden that are not said here."]
    since = None if fit is None else fit.at
    open_ones = [f for f in flags if f.settled is None and (since is None or f.ends > since)]
    if not open_ones:
        return []
    days = words.listed([words.day(f.ends, fleet.zone, fleet.now) for f in open_ones], 4)
    hidden = counter.hidden_since(flags, since)
    return [f"Not settled, {days}: at most {hidden:,} strokes more. See the flags below."]


# ---- readings ----


def _readings(fleet: Fleet, serial: str | None, record: Record) -> Document:
    title = "Readings"
    if record.inspections is None:
        return _block(title, ["The readings could not be read."])
    asked = [
        f"Asked {words.day(each.raised_at, fleet.zone, fleet.now)}: "
        f"{words.sentence(each.words, fleet.zone, fleet.now)}"
        for each in record.questions or ()
        if each.serial == serial
    ]
    found = [each for each in record.inspections if each.serial == serial]
    found.sort(key=lambda each: (each.at, each.entered_at), reverse=True)
    if not found:
        return _block(title, ["No reading of this serial in this press is on record.", *asked])
    head = ["Looked at", "Found", "Limit", "By", "Entered"]
    rows = [_reading_row(fleet, each) for each in found[:MOST]]
    return _block(title, [*asked, _only(len(found))], {"head": head, "rows": rows})


def _reading_row(fleet: Fleet, each: Inspection) -> Document:
    reading = "" if each.value is None else _value(each)
    found = ", ".join(part for part in (reading, each.verdict or "") if part)
    limit = "" if each.limit is None else readings.figure(each.limit)
    return {
        "key": each.id,
        "gone": not each.stands,
        "cells": [
            words.moment(each.at, fleet.zone, fleet.now),
            found or "looked at",
            limit,
            each.by or "",
            _entered(fleet, each.at, each.entered_at, each.entered_by) + _status(each),
        ],
    }


def _value(each: Inspection) -> str:
    more = "" if each.uncertainty is None else f"{words.NB}±{words.NB}{each.uncertainty:.2g}"
    of_set = " of the set" if each.of_set else ""
    figure = readings.figure(each.value or 0.0)
    return (
        f"{each.quantity or 'reading'} {figure}{more}{words.NB}{readings.unit(each.unit)}{of_set}"
    )


# ---- range ----


def _range(fleet: Fleet, tool: Forecast | None) -> Document:
    title = "Range"
    if tool is None:
        return _block(title, ["No range without a tool."])
    rests = tool.basis
    return _block(
        title,
        [
            STATE_RULES[tool.state],
            _levels(fleet, tool),
            _lives(tool),
            _pace(fleet, tool),
            f"Counts up to {words.since(rests.as_of, fleet.zone, fleet.now)}."
            if rests.as_of
            else "No report is in it.",
            *(words.sentence(each, fleet.zone, fleet.now) for each in rests.cautions),
        ],
    )


def _levels(fleet: Fleet, tool: Forecast) -> str:
    parts = []
    for level in ("0.1", "0.5", "0.9"):
        left, due = tool.remaining_strokes.get(level), (tool.due or {}).get(level)
        if left is None:
            continue
        by = f" ({words.day(due, fleet.zone, fleet.now)})" if due and due > fleet.now else ""
        parts.append(f"{round(100 * float(level))}{words.NB}% {words.strokes(left)}{by}")
    return f"Strokes left: {', '.join(parts)}." if parts else ""


def _lives(tool: Forecast) -> str:
    rests = tool.basis
    fit = f" Fit {rests.fit}." if rests.fit else ""
    if rests.prior_only:
        return f"From the handbook life alone.{fit}"
    weights = ", ".join(
        f"{name} {round(100 * weight)}{words.NB}%" for name, weight in rests.families.items()
    )
    ended = f"{rests.failures:,} of them failed" if rests.failures else "none of them failed"
    return f"From {rests.lives:,} lives, {ended}{f'; {weights}' if weights else ''}.{fit}"


def _pace(fleet: Fleet, tool: Forecast) -> str:
    rate = tool.rate
    if rate is None:
        return "The press never moved, so no date follows."
    begin = words.day(rate.begins, fleet.zone, fleet.now)
    end = words.day(rate.ends, fleet.zone, fleet.now)
    return f"At {words.strokes(rate.strokes_per_day)} a running day, as from {begin} to {end}."


# ---- events ----


def _of_row(
    events: Sequence[Event] | None, position: str, serial: str | None
) -> list[Event] | None:
    if events is None:
        return None
    return [each for each in events if each.position == position or each.serial == serial]


def all_events(fleet: Fleet, events: Sequence[Event] | None) -> list[Document]:
    """Every event of the press, newest first, at most a hundred."""
    return [_events(fleet, "Events", None if events is None else list(events), None, most=100)]


def _events(
    fleet: Fleet,
    title: str,
    events: list[Event] | None,
    since: datetime | None,
    most: int = MOST,
) -> Document:
    if events is None:
        return _block(title, ["The ledger could not be read."])
    if not events:
        return _block(title, ["Nothing on record."])
    events.sort(key=lambda each: (each.at, each.entered_at), reverse=True)
    head = ["Done", "What", "Tool", "By", "Entered"]
    rows = [_event_row(fleet, each, since) for each in events[:most]]
    return _block(title, [_only(len(events), most)], {"head": head, "rows": rows})


def _event_row(fleet: Fleet, each: Event, since: datetime | None) -> Document:
    what = "taken back" if each.void else DONE.get(each.type, each.type)
    place = f" {'in' if each.type == 'fit' else 'from'} {each.position}" if each.position else ""
    reason = f", {words_of(each.reason)}" if each.reason else ""
    note = f". {each.note}" if each.note else ""
    return {
        "key": each.id,
        "gone": each.corrected_by is not None,
        "cells": [
            words.moment(each.at, fleet.zone, fleet.now),
            f"{what}{'' if each.type == 'service' else place}{reason}{note}",
            "" if each.type == "service" else each.serial,
            each.by or "",
            _entered(fleet, each.at, each.entered_at, each.entered_by) + _status(each),
        ],
    }


def words_of(reason: str) -> str:
    """A reason of the contract as words."""
    return reason.replace("-", " ")


def _entered(fleet: Fleet, done: datetime, entered: datetime, by: str) -> str:
    """When and by whom; how late where that was more than a shift after."""
    late = entered - done
    when = words.moment(entered, fleet.zone, fleet.now)
    if late <= LATE:
        return f"{when}, {by}"
    return f"{words.lasted(late.total_seconds() / 60)} late, {when}, {by}"


def _status(each: Event | Inspection) -> str:
    if each.corrected_by is not None:
        return "; no longer holds, see its correction"
    if each.corrects is not None:
        return "; takes an earlier entry back" if each.void else "; corrects an earlier entry"
    return ""


def of_days(days: Sequence[Day]) -> list[Document]:
    """The table behind the roughness figure, newest first."""
    rows = [
        {
            "key": day.day.isoformat(),
            "gone": False,
            "cells": [
                f"{day.day.day}{words.NB}{words.MONTHS[day.day.month - 1]}",
                f"{day.ratio:.3f}",
                f"{day.speed_mps:.2f}",
                f"{day.rate:.0f}",
            ],
        }
        for day in reversed(days)
    ]
    head = ["Day", "K", "Speed, m/s", "Rate a minute"]
    rule = (
        "K is peak acceleration over the product of crank speed and peak speed: 1 for a pure "
        "harmonic stroke. A day is the median of its hours; its rate is that of its full hours."
    )
    return [_block("Days", [rule], {"head": head, "rows": rows})]


def _only(count: int, most: int = MOST) -> str:
    return f"The newest {most} of {count}." if count > most else ""


def _block(title: str, says: Iterable[str], table: dict[str, Any] | None = None) -> Document:
    return {"title": title, "says": [each for each in says if each], "table": table}

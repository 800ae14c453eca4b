"""Words and figures of the board: state words, press ids, chances, strokes, plant time.

Figures keep together: a date, a number and its unit never break over a line.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, tzinfo
from typing import Final

from duestroke.times import parse_time

NB: Final = "\u00a0"
NARROW: Final = "\u202f"

STATE_WORDS: Final = {
    "fine": "fine",
    "plan": "plan",
    "this-stop": "this stop",
    "overdue": "overdue",
    "cant-tell": "can’t tell",
}
"""The contract's states, in the trade's words."""

STATE_MARKS: Final = {
    "fine": "fine",
    "plan": "plan",
    "this-stop": "stop",
    "overdue": "over",
    "cant-tell": "doubt",
}
"""The mark that stands beside the word: one of five shapes."""

DAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS: Final = (
    *("Jan", "Feb", "Mar", "Apr", "May", "Jun"),
    *("Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
)


def press_id(press: str) -> str:
    """`site/line/press` as stamped in the dome: line and press, held together."""
    _, line, name = press.split("/")
    return f"{line}{NARROW}{name}"


def line_of(press: str) -> str:
    """`site/line` of a press."""
    return press.rpartition("/")[0]


def chance(share: float) -> str:
    """A chance (0..1) in whole per cent; never 0 or 100, since neither is known."""
    per_cent = round(100 * share)
    if per_cent < 1:
        return f"<{NB}1{NB}%"
    if per_cent > 99:
        return f">{NB}99{NB}%"
    return f"{per_cent}{NB}%"


def strokes(count: float | None) -> str:
    """Strokes in millions to three figures (two decimals below one); empty where not known."""
    if count is None:
        return ""
    millions = count / 1e6
    decimals = 2 if round(millions, 2) < 10 else 1 if round(millions, 1) < 100 else 0
    return f"{millions:.{decimals}f}{NB}M"


def clock(at: datetime, zone: tzinfo) -> str:
    """`06:01` in plant time."""
    return f"{at.astimezone(zone):%H:%M}"


def day(at: datetime, zone: tzinfo, now: datetime) -> str:
    """`8 Dec` in plant time; with the year where it is not the current one and over 90 days off."""
    local = at.astimezone(zone)
    text = f"{local.day}{NB}{MONTHS[local.month - 1]}"
    far = abs((at - now).days) > 90 and local.year != now.astimezone(zone).year
    return f"{text}{NB}{local.year}" if far else text


def weekday(at: datetime, zone: tzinfo, now: datetime) -> str:
    """`Tue 8 Dec` in plant time."""
    return f"{DAYS[at.astimezone(zone).weekday()]}{NB}{day(at, zone, now)}"


def moment(at: datetime, zone: tzinfo, now: datetime) -> str:
    """`Tue 8 Dec 07:00` in plant time."""
    return f"{weekday(at, zone, now)}{NB}{clock(at, zone)}"


def since(at: datetime, zone: tzinfo, now: datetime) -> str:
    """`05:10` when that was today in plant time, else the day with it."""
    same = at.astimezone(zone).date() == now.astimezone(zone).date()
    return clock(at, zone) if same else moment(at, zone, now)


def offset(at: datetime, zone: tzinfo) -> str:
    """Plant time's offset from UTC, `+00:00`."""
    text = f"{at.astimezone(zone):%z}"
    return f"{text[:3]}:{text[3:5]}"


def days_ahead(at: datetime, zone: tzinfo, now: datetime) -> str:
    """`today`, `tomorrow` or `in 3 days`, by plant days."""
    ahead = (at.astimezone(zone).date() - now.astimezone(zone).date()).days
    return {0: "today", 1: "tomorrow"}.get(ahead, f"in {ahead}{NB}days")


def lasted(minutes: float) -> str:
    """A stretch of time in words: minutes up to two hours, hours up to two days, then days."""
    if minutes < 120:
        whole = max(1, round(minutes))
        return f"{whole}{NB}minute{'s' if whole > 1 else ''}"
    if minutes < 2880:
        return f"{round(minutes / 60)}{NB}hours"
    return f"{round(minutes / 1440)}{NB}days"


def listed(names: Sequence[str], most: int) -> str:
    """The first `most` names, and how many more there are."""
    shown = ", ".join(names[:most])
    rest = len(names) - most
    return f"{shown} and {rest}{NB}more" if rest > 0 else shown


_TIME: Final = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(?:\.\d+)?(?:Z|[+-]\d{2}:\d{2})")


_IDS: Final = re.compile(r" \((?:event|inspection|entry) [0-9a-f-]{32,36}\)")
_NAMED: Final = re.compile(r"\b[a-z0-9-]{1,32}/([a-z0-9-]{1,32})/([a-z0-9-]{1,32})\b")


def of_the_api(text: str, zone: tzinfo, now: datetime) -> str:
    """What the API said to an entry: without ids, presses as stamped, times as plant time."""
    plain = _NAMED.sub(lambda found: f"{found[1]}{NARROW}{found[2]}", _IDS.sub("", text))
    return sentence(plain, zone, now)


def sentence(text: str, zone: tzinfo, now: datetime) -> str:
    """A caution of the API as a sentence: capital first, full stop last, times as plant time."""
    text = _TIME.sub(lambda found: since(parse_time(found[0]), zone, now), text.strip())
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")

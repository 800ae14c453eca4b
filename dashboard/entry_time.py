"""Plant time of an entry: now, or a day and a time that somebody types, with their offset.

In the night when clocks go back an hour comes twice, and the page asks which; in the one when they
go forward an hour is missing, and the page says so.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Final

from dashboard import words
from dashboard.fleet import Document
from dashboard.pages import Ask

LATE: Final = timedelta(hours=2)
"""From here on an entry counts as late, and both its times are said."""

DAYS_BACK: Final = 4

_CLOCK: Final = re.compile(r"(\d{1,2})[:.h ]?(\d{2})")
"""A time as it is typed in haste: 05:41, 5.41, 0541."""


def time_field(ask: Ask) -> Document:
    """The field `at`: what `now` is, the days offered, and what the typed time means."""
    now, zone = ask.now, ask.zone
    typed = (ask.param("day"), ask.param("time"))
    return {
        "kind": "time",
        "name": "at",
        "label": "Done at (plant time)",
        "now": words.clock(now, zone),
        "small": f"{words.weekday(now, zone, now)} {words.offset(now, zone)}",
        "days": days(now, zone),
        "today": f"{now.astimezone(zone):%Y-%m-%d}",
        "echo": " ".join(typed),
        "zone": words.offset(now, zone),
        **meaning(typed[0], typed[1], ask.param("fold"), now, zone),
    }


def days(now: datetime, zone: tzinfo) -> list[Document]:
    """Today and the days before it, as buttons."""
    today = now.astimezone(zone).date()
    names = ["today", "yesterday"]
    made = []
    for back in range(DAYS_BACK):
        day = today - timedelta(days=back)
        word = names[back] if back < len(names) else words.DAYS[day.weekday()]
        small = f"{words.DAYS[day.weekday()]} {day.day}{words.NB}{words.MONTHS[day.month - 1]}"
        made.append({"value": day.isoformat(), "word": word, "small": small})
    return made


def meaning(day: str, clock: str, fold: str, now: datetime, zone: tzinfo) -> Document:
    """`offset` of a typed plant time, whether it came `twice`, and what is said of it."""
    given = _local(day, clock)
    if given is None:
        return {"offset": "", "twice": [], "says": "", "tone": "quiet"}
    first, second = (given.replace(tzinfo=zone, fold=each) for each in (0, 1))
    offsets = [words.offset(each, zone) for each in (first, second)]
    if not _exists(first, given, zone):
        says = "Clocks went forward: that hour was missing."
        return {"offset": "", "twice": [], "says": says, "tone": "no"}
    if offsets[0] == offsets[1]:
        return {"offset": offsets[0], "twice": [], **said(first, now, zone)}
    chosen = second if fold == "1" else first
    twice = [
        {"value": str(at), "word": word, "small": offsets[at]}
        for at, word in enumerate(("the first time", "the second time"))
    ]
    told = said(chosen, now, zone)
    told["says"] = f"Clocks went back: that hour came twice. {told['says']}"
    return {"offset": words.offset(chosen, zone), "twice": twice, **told, "tone": "ask"}


def _local(day: str, clock: str) -> datetime | None:
    found = _CLOCK.fullmatch(clock.strip())
    try:
        typed = time(int(found[1]), int(found[2])) if found else None
        return datetime.combine(date.fromisoformat(day), typed) if typed else None
    except ValueError:
        return None


def _exists(at: datetime, given: datetime, zone: tzinfo) -> bool:
    """Whether a plant time was shown by any clock: there and back again it is itself."""
    return at.astimezone(UTC).astimezone(zone).replace(tzinfo=None, fold=0) == given


def said(at: datetime, now: datetime, zone: tzinfo) -> dict[str, str]:
    """A typed time in words, and that it is to come, or long past. `tone`: how it is said."""
    text = f"{words.moment(at, zone, now)} {words.offset(at, zone)}."
    behind = now - at
    if behind < -timedelta(minutes=1):
        return {"says": f"{text} That is still to come.", "tone": "no"}
    if behind < LATE:
        return {"says": text, "tone": "quiet"}
    ago = words.lasted(behind.total_seconds() / 60)
    more = f"Entered {ago} late: both times stay on record, strokes are counted from then."
    return {"says": f"{text} {more}", "tone": "ask"}

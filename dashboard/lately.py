"""Since your last shift, in four lists: changes, jams, what waits for a word, counts in doubt."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, TypeVar

from dashboard import words
from dashboard.beside import Beside
from dashboard.entry_words import EVENT_WORDS, REASON_WORDS
from dashboard.fleet import Document, Fleet, site_of
from dashboard.reads import Told
from dashboard.record import Event
from dashboard.records import LATE, Asked, PressFlag
from dashboard.shifts import last_words
from dashboard.tool_room_facts import whole

MOST_SHOWN: Final = 3
NOTHING: Final = "No change, no jam; no entry awaits a word, and no flag is open."
SURPRISES: Final = ("broken", "can-defect")

Read = TypeVar("Read")


@dataclass(frozen=True, slots=True)
class Change:
    """What was done at one place at one time: a pull, a fit, both, or a service."""

    press: str
    position: str
    at: datetime
    pull: Event | None
    fit: Event | None

    @property
    def reason(self) -> str:
        """Why the old tool came out, empty where none did or nobody said."""
        return (self.pull.reason if self.pull else None) or ""

    @property
    def serial(self) -> str:
        """The tool that the entry tells most of: the one that broke, else the one that went in."""
        first = self.pull if self.reason in SURPRISES else self.fit
        event = first or self.pull or self.fit
        return event.serial if event else ""


@dataclass(frozen=True, slots=True)
class Jam:
    """Tools pulled as hurt by one jam: those of one press at one time."""

    press: str
    at: datetime
    positions: tuple[str, ...]


def section(fleet: Fleet, beside: Beside, opened: Collection[str]) -> Document:
    """The four lists with their titles; one that could not be read says so in its place."""
    since = beside.duty.since(fleet.now)
    mine = _of_site(fleet)
    lists = [
        _list(fleet, "changes", beside.events, lambda told: _changes(fleet, told, since, mine)),
        _list(fleet, "jams", beside.events, lambda told: _jams(fleet, told, since, mine)),
        _waiting(fleet, beside, since, mine),
        _list(fleet, "flags", beside.flags, lambda told: _flags(fleet, told, mine)),
    ]
    is_empty = not any(each["items"] or each["fault"] or each["old"] for each in lists)
    return {
        "say": last_words(beside.duty, fleet),
        "lists": [] if is_empty else [_cut(each, each["key"] in opened) for each in lists],
        "empty": NOTHING if is_empty else "",
    }


def _of_site(fleet: Fleet) -> Callable[[str | None], bool]:
    shown = site_of(fleet.presses[0].press) if fleet.presses else ""
    return lambda press: press is None or site_of(press) == shown


TITLES: Final = {
    "changes": "Changes",
    "jams": "Jams",
    "words": "Entries that await a word",
    "flags": "Open flags",
}


def _list(
    fleet: Fleet, key: str, told: Told[Read], draw: Callable[[Read], tuple[str, list[Document]]]
) -> Document:
    if told.value is None:
        return _unread(fleet, key, told.fault)
    title, items = draw(told.value)
    old = f"As of {words.since(told.at, fleet.zone, fleet.now)}." if told.is_old else ""
    return {"key": key, "title": title, "items": items, "fault": "", "old": old}


def _unread(fleet: Fleet, key: str, fault: str) -> Document:
    at = words.clock(fleet.now, fleet.zone)
    said = f"Could not be read at {at}: {fault}."
    return {"key": key, "title": TITLES[key], "items": [], "fault": said, "old": ""}


def _cut(made: Document, whole: bool) -> Document:
    count = len(made["items"])
    more = "" if count <= MOST_SHOWN else "fewer" if whole else f"all {count}"
    return made | {
        "items": made["items"] if whole else made["items"][:MOST_SHOWN],
        "more": more,
        "whole": whole,
    }


def counted(count: int, word: str, plural: str = "") -> str:
    """`no jam`, `1 jam`, `3 jams`."""
    if not count:
        return f"No {word}"
    return f"{count}{words.NB}{word if count == 1 else plural or word + 's'}"


# ---- changes and jams ----


def changes(events: Iterable[Event], since: datetime) -> list[Change]:
    """Changes done since a time, newest first; pulls by a jam are the jam's."""
    found: dict[tuple[str, str, datetime], dict[str, Event]] = {}
    for event in events:
        if not event.stands or event.at < since or event.type not in ("fit", "pull", "service"):
            continue
        if event.press and event.position:
            place = (event.press, event.position, event.at)
            found.setdefault(place, {})[event.type] = event
    made = [
        Change(press, position, at, held.get("pull"), held.get("fit") or held.get("service"))
        for (press, position, at), held in found.items()
    ]
    kept = [each for each in made if each.reason != "collateral"]
    return sorted(kept, key=lambda each: (each.at, each.press, each.position), reverse=True)


def jams(events: Iterable[Event], since: datetime) -> list[Jam]:
    """Jams since a time, newest first: collateral pulls of one time at one press are one."""
    found: dict[tuple[datetime, str], list[str]] = {}
    for event in events:
        is_hurt = event.stands and event.type == "pull" and event.reason == "collateral"
        if is_hurt and event.press and event.at >= since:
            found.setdefault((event.at, event.press), []).append(event.position or "")
    return [
        Jam(press, at, tuple(positions))
        for (at, press), positions in sorted(found.items(), reverse=True)
    ]


def _changes(
    fleet: Fleet, events: Sequence[Event], since: datetime, mine: Callable[[str | None], bool]
) -> tuple[str, list[Document]]:
    found = [each for each in changes(events, since) if mine(each.press)]
    found.sort(key=lambda each: each.reason not in SURPRISES)
    broken = [
        f"{count}{words.NB}{REASON_WORDS[reason]}"
        for reason in SURPRISES
        if (count := sum(each.reason == reason for each in found))
    ]
    title = ", ".join([counted(len(found), "change"), *broken])
    return title, [_change(fleet, each) for each in found]


def _change(fleet: Fleet, change: Change) -> Document:
    why = REASON_WORDS.get(change.reason, "")
    what = "serviced" if change.position == "press" else why or _done(change)
    place = "the press" if change.position == "press" else whole(change.position)
    href = f"/press/{change.press}" if "/" in change.serial else f"/tool/{change.serial}"
    return {
        "key": f"{change.press}:{change.position}:{change.at.isoformat()}",
        "id": words.press_id(change.press),
        "text": f"{place}, {what}, {words.since(change.at, fleet.zone, fleet.now)}",
        "href": href,
        "loud": change.reason in SURPRISES,
    }


def _done(change: Change) -> str:
    event = change.pull if change.fit is None else change.fit
    return EVENT_WORDS.get(event.type, event.type) if event else ""


def _jams(
    fleet: Fleet, events: Sequence[Event], since: datetime, mine: Callable[[str | None], bool]
) -> tuple[str, list[Document]]:
    found = [each for each in jams(events, since) if mine(each.press)]
    return counted(len(found), "jam"), [_jam(fleet, each) for each in found]


def _jam(fleet: Fleet, jam: Jam) -> Document:
    hurt = words.listed([whole(each) for each in jam.positions], 3)
    at = words.since(jam.at, fleet.zone, fleet.now)
    return {
        "key": f"{jam.press}:{jam.at.isoformat()}",
        "id": words.press_id(jam.press),
        "text": f"{at}, {counted(len(jam.positions), 'tool')} hurt: {hurt}",
        "href": f"/press/{jam.press}",
        "loud": False,
    }


# ---- what waits for a word, and counts in doubt ----


def late_ones(events: Iterable[Event], since: datetime) -> list[Event]:
    """Entries keyed since a time that tell of a shift before it, newest entry first."""
    found = [
        event
        for event in events
        if event.entered_at >= since and event.entered_at - event.at > LATE and not event.void
        and event.corrected_by is None
    ]  # fmt: skip
    return sorted(found, key=lambda each: (each.entered_at, each.id), reverse=True)


def _waiting(
    fleet: Fleet, beside: Beside, since: datetime, mine: Callable[[str | None], bool]
) -> Document:
    told = (beside.questions, beside.events)
    failed = next((each.fault for each in told if each.value is None), None)
    if failed is not None:
        return _unread(fleet, "words", failed)
    asked = [each for each in beside.questions.value or () if mine(each.press)]
    late = [each for each in late_ones(beside.events.value or (), since) if mine(each.press)]
    parts = [counted(len(asked), "question")] if asked else []
    parts += [counted(len(late), "late entry", "late entries")] if late else []
    items = [*(_question(fleet, each) for each in asked), *(_late(fleet, each) for each in late)]
    title = ", ".join(parts) or "No entry awaits a word"
    return {"key": "words", "title": title, "items": items, "fault": "", "old": ""}


def _question(fleet: Fleet, question: Asked) -> Document:
    place = whole(question.position or question.serial)
    return {
        "key": question.id,
        "id": words.press_id(question.press) if question.press else question.serial,
        "text": f"{place}: {words.of_the_api(question.words, fleet.zone, fleet.now)}",
        "href": "/records#h-questions",
        "loud": False,
    }


def _late(fleet: Fleet, event: Event) -> Document:
    late = words.lasted((event.entered_at - event.at).total_seconds() / 60)
    done = words.moment(event.at, fleet.zone, fleet.now)
    what = EVENT_WORDS.get(event.type, event.type)
    return {
        "key": event.id,
        "id": words.press_id(event.press) if event.press else event.serial,
        "text": f"{whole(event.position or '')} {what} {done}, entered {late} late by "
        f"{event.by or event.entered_by}".strip(),
        "href": "/records#h-late",
        "loud": False,
    }


def _flags(
    fleet: Fleet, flags: Sequence[PressFlag], mine: Callable[[str | None], bool]
) -> tuple[str, list[Document]]:
    found = [each for each in flags if each.settled is None and mine(each.press)]
    found.sort(key=lambda each: (-each.hidden_at_most, each.id))
    hidden = sum(each.hidden_at_most for each in found)
    more = f", at most {hidden:,} strokes" if found else ""
    return f"{counted(len(found), 'open flag')}{more}", [_flag(fleet, each) for each in found]


def _flag(fleet: Fleet, flag: PressFlag) -> Document:
    kinds = " and ".join(flag.kinds)
    at = words.since(flag.begins, fleet.zone, fleet.now)
    return {
        "key": flag.id,
        "id": words.press_id(flag.press),
        "text": f"{kinds} of {at}, may hide up to {flag.hidden_at_most:,}",
        "href": "/records#h-flags",
        "loud": False,
    }

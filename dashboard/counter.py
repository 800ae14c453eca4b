"""The counter record of a press: strokes a day, flags and their settling, what is missing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Any, Final

from dashboard import figures, words
from dashboard.client import Press
from dashboard.fleet import Document, Fleet
from dashboard.record import Bucket, DryWindow, Flag, Record

MOST_FLAGS: Final = 6

KINDS: Final = {
    "restart": "counter restarted",
    "clock": "clock set back",
    "jump": "jump",
    "reboot": "sender restarted",
    "wrap": "whole turns may hide",
}
RULES: Final = {
    "restart": "The counter fell, and the new reading alone is plausible: it was taken to have "
    "restarted at zero.",
    "clock": "The sender’s clock went back: ten minutes more were allowed for.",
    "jump": "No count between the two readings is plausible: nothing was counted.",
    "reboot": "The sender restarted and the counter went on: the difference was counted.",
    "wrap": "A whole turn of the counter more would be plausible too: the difference was counted.",
}
"""Which counting rule a flag comes from, in words."""


def hidden_since(flags: Iterable[Flag], since: datetime | None) -> int:
    """Strokes at most that flags nobody has settled may hide from a tool fitted at `since`."""
    return sum(
        flag.hidden_at_most
        for flag in flags
        if flag.settled is None and (since is None or flag.ends > since)
    )


def hidden_words(count: int) -> str:
    """`+ up to 0.10 M`, or nothing where nothing is hidden; small figures to the stroke."""
    if count <= 0:
        return ""
    figure = words.strokes(count) if count >= 10_000 else f"{count:,}"
    return f"+{words.NB}up{words.NB}to{words.NB}{figure}"


def section(
    fleet: Fleet,
    press: Press,
    record: Record,
    shown: figures.Days,
    opened: Iterable[str],
) -> Document:
    """Everything that the section *Counter record* shows."""
    days, flags = record.days, record.flags
    return {
        "figure": None if days is None else figure(fleet, days, shown),
        "empty": _without_figure(days),
        "flags": None if flags is None else flag_table(fleet, flags, "flags" in opened),
        "fault": "The flags could not be read." if flags is None else "",
        "stands": standing(fleet, press),
        "after": [each for each in (*_counter_words(press), _dry_words(fleet, record.dry)) if each],
    }


def _dry_words(fleet: Fleet, dry: Sequence[DryWindow] | None) -> str:
    """Windows marked dry, the newest in full; nothing where there is none."""
    if dry is None:
        return "Dry windows could not be read."
    if not dry:
        return ""
    last = max(dry, key=lambda each: each.begins)
    more = f"; {len(dry) - 1} more before" if len(dry) > 1 else ""
    when = _window(fleet, last.begins, last.ends)
    why = f"{last.reason} ({last.entered_by})"
    return f"Run dry, and counted: {last.strokes:,} strokes, {when}, {why}{more}."


def standing(fleet: Fleet, press: Press) -> str:
    """That the counter stands still while the ram moves, if it does."""
    stands = press.counter_stands
    if stands is None:
        return ""
    since = words.since(stands.since, fleet.zone, fleet.now)
    return (
        f"The counter stands still since {since} while the ram moves: at most "
        f"{stands.not_counted_at_most:,} strokes are not counted."
    )


def _without_figure(days: Sequence[Bucket] | None) -> str:
    if days is None:
        return "Strokes a day could not be read."
    return "" if any(day.strokes for day in days) else "No stroke was counted in these days."


def figure(fleet: Fleet, days: Sequence[Bucket], shown: figures.Days) -> Document | None:
    """Strokes a day as uprights; the day that is not over stands lighter. None without a stroke."""
    whole = [day for day in days if _is_whole(day)]
    today = [day for day in days if day.ends > fleet.now - timedelta(minutes=5)][-1:]
    counts = [day.strokes / 1e6 for day in (*whole, *today)]
    if not any(counts):
        return None
    scale = figures.heights(counts, least=0.01, low=0.0)
    decimals = 1 if scale.step >= 0.1 else 2
    return {
        "ticks": scale.ticks(decimals),
        "grid": scale.grid(),
        "days": shown.labels(),
        "bars": _uprights(fleet, whole, shown, scale),
        "light": _uprights(fleet, [day for day in today if day not in whole], shown, scale),
        "says": "strokes a day, M; the lighter one is today so far",
        "spoken": _spoken(whole),
    }


def _is_whole(day: Bucket) -> bool:
    """Whether a day lies wholly in the window (a plant day has 23 to 25 hours)."""
    return day.ends - day.begins > timedelta(hours=22)


def _uprights(
    fleet: Fleet, days: Iterable[Bucket], shown: figures.Days, scale: figures.Heights
) -> str:
    """Path data of the uprights of days that are shown and have a stroke."""
    parts = []
    for day in days:
        local = day.begins.astimezone(fleet.zone).date()
        if day.strokes > 0 and shown.first <= local <= shown.last:
            parts.append(f"M{shown.x(local):g} 100V{scale.y(day.strokes / 1e6):g}")
    return "".join(parts)


def _spoken(days: Sequence[Bucket]) -> str:
    counts = [day.strokes for day in days]
    if not counts:
        return "strokes of today so far"
    return (
        f"strokes a day over {len(counts)} days, from {words.strokes(min(counts))} "
        f"to {words.strokes(max(counts))}"
    )


def flag_table(fleet: Fleet, flags: Sequence[Flag], whole: bool) -> Document:
    """Flags, those that nobody has settled first, then the newest."""
    ordered = sorted(flags, key=lambda flag: (flag.settled is not None, -flag.ends.timestamp()))
    kept = ordered if whole else ordered[:MOST_FLAGS]
    return {
        "rows": [_flag_row(fleet, flag) for flag in kept],
        "more": _more(len(ordered), whole),
        "whole": whole,
        "empty": "" if flags else "No flag: between no two readings may strokes be hidden.",
    }


def _more(count: int, whole: bool) -> str:
    if count <= MOST_FLAGS:
        return ""
    return f"the first {MOST_FLAGS} only" if whole else f"all {count} flags"


def _flag_row(fleet: Fleet, flag: Flag) -> dict[str, Any]:
    is_open = flag.settled is None
    return {
        "key": flag.id,
        "name": ", ".join(KINDS.get(kind, kind) for kind in flag.kinds),
        "when": _window(fleet, flag.begins, flag.ends),
        "counted": f"{flag.counted:,}",
        "hides": f"{flag.hidden_at_most:,}" if is_open else "0",
        "open": is_open,
        "settled": _settled(fleet, flag),
        "rule": rule_words(flag) + _choices(flag),
    }


def rule_words(flag: Flag) -> str:
    """By which rules a flag was raised, in words."""
    return " ".join(RULES[kind] for kind in flag.kinds if kind in RULES)


def _choices(flag: Flag) -> str:
    if len(flag.candidates) < 2:
        return ""
    return f" It may have been {words.listed([f'{count:,}' for count in flag.candidates], 4)}."


def _window(fleet: Fleet, begin: datetime, end: datetime) -> str:
    zone, now = fleet.zone, fleet.now
    first = f"{words.day(begin, zone, now)} {words.clock(begin, zone)}"
    same = begin.astimezone(zone).date() == end.astimezone(zone).date()
    last = words.clock(end, zone)
    return f"{first}–{last}" if same else f"{first} – {words.day(end, zone, now)} {last}"


def _settled(fleet: Fleet, flag: Flag) -> str:
    settled = flag.settled
    if settled is None:
        return "not settled"
    added = f"{settled.strokes:+,}".replace("-", "−")
    at = words.day(settled.at, fleet.zone, fleet.now)
    return f"{added}: {settled.reason} ({settled.by}, {at})"


def _counter_words(press: Press) -> list[str]:
    """The counter's size and pace, the total, and what is missing, in sentences."""
    missing = press.missing
    gaps = "1 report is" if missing == 1 else f"{missing:,} reports are"
    return [
        f"Counter turns at {press.modulus:,}; {press.max_spm} a minute at most.",
        f"Total {words.strokes(press.strokes)} since its first report."
        if press.strokes
        else "Nothing is counted yet.",
        f"{gaps} missing by number; the counter carries their strokes."
        if missing
        else "No report is missing by number.",
    ]

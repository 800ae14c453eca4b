"""How rough the ram of one press runs: the figure of K by day, and what is said of it."""

from __future__ import annotations

from typing import Any

from dashboard import figures, origins, rough, words
from dashboard.client import Press
from dashboard.fleet import Document
from dashboard.record import Event
from dashboard.sight import DAYS_SHOWN, MOST_NAMED, Sight
from duestroke.stroke import Drive, drive_ram_ratio


def roughness(sight: Sight) -> rough.Rough | None:
    """K by day and its levels; None where the hours could not be read."""
    if sight.record.hours is None:
        return None
    return rough.of_hours(sight.record.hours, sight.fleet.zone, sight.fleet.now, DAYS_SHOWN)


def ratio_words(ratio: rough.Rough | None) -> str:
    """The recent level of K, and its own, for the row of the press itself."""
    if ratio is None or ratio.recent is None:
        return ""
    own = "" if ratio.own is None else f", its own {ratio.own:.2f}"
    return f"K {ratio.recent:.2f}{own}"


def part(sight: Sight, ratio: rough.Rough | None) -> Document:
    """The part of the page about roughness, with what stands opened in it."""
    shown = sight.shown
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

"""One row of the page: press id, state, tool, figures, reason, ramp, and the same in words."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import timedelta
from typing import Any, Final

from dashboard import axis as axes
from dashboard import ramp, words
from dashboard.client import Chance, Forecast, Press
from dashboard.fleet import Fleet, ahead, has_range, is_silent, usable_due

NEEDS_SOMEONE: Final = ("overdue", "cant-tell", "this-stop")
QUIET: Final = ("plan", "fine")
RISE_DO: Final = 55.6
RISE_FLEET: Final = 77.8
ROOM_NEXT: Final = 9.5
ROOM_LATER: Final = 8.0

WEEKDAYS: Final = (
    *("Monday", "Tuesday", "Wednesday", "Thursday"),
    *("Friday", "Saturday", "Sunday"),
)


def state(forecast: Forecast | None) -> dict[str, str]:
    """Word and mark, always together; neither where the engine has given no state."""
    if forecast is None:
        return {"word": "", "mark": ""}
    return {
        "word": words.STATE_WORDS[forecast.state],
        "mark": words.STATE_MARKS[forecast.state],
    }


def drawn(fleet: Fleet, press: str, forecast: Forecast | None, rise: float) -> dict[str, Any]:
    """Paths of the tool's run line and ramp, and whether the row is quiet ink or calls someone."""
    if forecast is None:
        return {"paths": {}, "quiet": True}
    scale = ramp.Scale(now=fleet.now, span=fleet.axis.span, rise=rise)
    due = usable_due(forecast)
    if forecast.state == "cant-tell":
        return {"paths": ramp.ghost(due, scale), "quiet": False}
    chances = [(each.at, each.chance) for each in forecast.chance_before]
    quiet = forecast.state in QUIET
    paths = ramp.paths(due, chances, None if quiet else _next_x(fleet, press, forecast), scale)
    return {"paths": paths, "quiet": quiet}


def _next_x(fleet: Fleet, press: str, forecast: Forecast) -> float | None:
    chances = ahead(forecast, fleet.now)
    if chances:
        return fleet.axis.x(chances[0].at)
    stops = axes.coming(axes.of_press(fleet.stops, press), fleet.now)
    return fleet.axis.x(stops[0].begins) if stops else None


def own_stops(fleet: Fleet, press: str) -> dict[str, str] | None:
    """Stop lines of a press that has stops of its own beside its line's, else None."""
    if not any(stop.scope == press for stop in fleet.stops):
        return None
    return axes.stop_lines(fleet.axis, axes.of_press(fleet.stops, press))


def chance_words(fleet: Fleet, forecast: Forecast | None) -> str:
    """Chance of ending before the stop ahead, as a figure; none where we can't tell."""
    if forecast is None or forecast.state == "cant-tell":
        return ""
    chances = ahead(forecast, fleet.now)
    return words.chance(chances[0].chance) if chances else ""


def chance_figures(fleet: Fleet, forecast: Forecast) -> list[dict[str, Any]]:
    """Figures at the first three stop lines, until one has passed 95 % or has no room."""
    if forecast.state == "cant-tell":
        return []
    shown: list[dict[str, Any]] = []
    free_from = 0.0
    for place, each in enumerate(ahead(forecast, fleet.now)[:3]):
        left = fleet.axis.left(each.at)
        if free_from <= left <= axes.LABEL_TO:
            shown.append({"left": left, "text": words.chance(each.chance), "next": place == 0})
            free_from = left + (ROOM_LATER if place else ROOM_NEXT)
        if each.chance > 0.95:
            break
    return shown


def as_of(fleet: Fleet, forecast: Forecast) -> str:
    """`as of 05:10`: the last report in a range that can't be told now."""
    if forecast.basis.as_of is None:
        return "no report in it"
    return f"as of{words.NB}{words.since(forecast.basis.as_of, fleet.zone, fleet.now)}"


def pace(fleet: Fleet, press: Press) -> dict[str, str]:
    """How the press runs, in words: its rate, or that it stands, or that it is silent."""
    if press.last_report is None:
        return {"text": "never reported", "tone": "gap"}
    if is_silent(press, fleet.now):
        return {"text": "silent", "tone": "gap"}
    rate = round(press.strokes_per_minute or 0)
    if rate > 0:
        return {"text": f"{rate}{words.NB}a minute", "tone": ""}
    return {"text": "stopped" if press.state == "stopped" else "no strokes", "tone": ""}


def due_range(fleet: Fleet, forecast: Forecast) -> str:
    """The range as dates, 10 to 90 %; a bound that has passed is left out, never shown."""
    due = usable_due(forecast)
    first, last = due.get("0.1"), due.get("0.9")
    if last is None:
        begin = f"from {words.weekday(first, fleet.zone, fleet.now)}" if first else ""
        return f"{begin}, no end within 50{words.NB}years" if first else "no range"
    end = words.day(last, fleet.zone, fleet.now)
    if first is None or first <= fleet.now:
        return f"now to {end}"
    begin = words.day(first, fleet.zone, fleet.now)
    return end if begin == end else f"{begin} to {end}"


def middle(fleet: Fleet, forecast: Forecast) -> str:
    """The middle of the range in words, or nothing when it has passed."""
    half = usable_due(forecast).get("0.5")
    if half is None or half <= fleet.now:
        return ""
    if words.day(half, fleet.zone, fleet.now) == due_range(fleet, forecast):
        return ""
    return f"half by {words.day(half, fleet.zone, fleet.now)}"


def basis(forecast: Forecast) -> str:
    """What the range rests on, in a few words."""
    rests = forecast.basis
    if rests.prior_only:
        return "from the handbook alone"
    ended = f"{rests.failures:,} failed" if rests.failures else "none failed"
    return f"from {rests.lives:,}{words.NB}lives, {ended}"


def spoken(fleet: Fleet, forecast: Forecast | None) -> str:
    """The ramp in words, for who can't see it."""
    if forecast is None:
        return "no range yet"
    if forecast.state == "cant-tell":
        return f"range can’t be told now; last one {as_of(fleet, forecast)}"
    parts = [f"range {due_range(fleet, forecast)}", middle(fleet, forecast)]
    chances = ahead(forecast, fleet.now)
    if chances:
        first = chances[0]
        parts.append(f"{words.chance(first.chance)} before {stop_name(fleet, first)}")
    return "; ".join(part for part in parts if part)


def stop_name(fleet: Fleet, each: Chance) -> str:
    """`Thursday’s stop`, `the stop of Thu 3 Dec`, or the days that stand in for a stop."""
    days = (each.at - fleet.now) / timedelta(days=1)
    if each.stop is None:
        return f"{round(days)}{words.NB}days from now"
    local, today = each.at.astimezone(fleet.zone), fleet.now.astimezone(fleet.zone)
    away = (local.date() - today.date()).days
    if away == 0:
        return "today’s stop"
    if away == 1:
        return "tomorrow’s stop"
    if away < 7:
        return f"{WEEKDAYS[local.weekday()]}’s stop"
    return f"the stop of {words.weekday(each.at, fleet.zone, fleet.now)}"


def reason(fleet: Fleet, forecast: Forecast, said: Collection[str] = ()) -> str:
    """Why the row stands where it does, in plain sentences made of what the engine gave.

    `said`: cautions that the section has said for all its rows.
    """
    more = cautions(fleet, [each for each in forecast.basis.cautions if each not in said])
    if forecast.state == "cant-tell":
        sentences = [*(more or ["No basis for a range."]), _broken(fleet, forecast)]
    else:
        lead = _overdue if forecast.state == "overdue" else _by_stops
        sentences = [lead(fleet, forecast), _interval(forecast), *more[:2]]
    return " ".join(sentence for sentence in sentences if sentence)


def cautions(fleet: Fleet, given: Iterable[str]) -> list[str]:
    """The engine's cautions as sentences."""
    return [words.sentence(each, fleet.zone, fleet.now) for each in given]


def _overdue(fleet: Fleet, forecast: Forecast) -> str:
    half = usable_due(forecast).get("0.5")
    interval = forecast.interval
    if interval and interval.strokes_left is not None and interval.strokes_left <= 0:
        return f"Its fixed interval is reached. {_out_by(fleet, forecast)}".strip()
    past = "More likely past its end than not." if half and half <= fleet.now else "Past its limit."
    return f"{past} Measure it now. {_out_by(fleet, forecast)}".strip()


def _out_by(fleet: Fleet, forecast: Forecast) -> str:
    standing = _standing(fleet, forecast)
    if standing:
        return f"{standing}: change it now."
    chances = ahead(forecast, fleet.now)
    return f"Out by {stop_name(fleet, chances[0])} at the latest." if chances else ""


def _standing(fleet: Fleet, forecast: Forecast) -> str:
    stop = axes.running(axes.of_press(fleet.stops, forecast.press), fleet.now)
    if stop is None:
        return ""
    return f"It stands until {words.since(stop.ends, fleet.zone, fleet.now)}"


def _broken(fleet: Fleet, forecast: Forecast) -> str:
    if not has_range(forecast):
        return ""
    return f"The last range, {as_of(fleet, forecast)}, is drawn broken."


def _by_stops(fleet: Fleet, forecast: Forecast) -> str:
    chances = ahead(forecast, fleet.now)
    if not chances:
        return f"Range {due_range(fleet, forecast)}."
    first = f"{words.chance(chances[0].chance)} chance that it won’t reach "
    first += stop_name(fleet, chances[0])
    if len(chances) > 1:
        first += f", {words.chance(chances[1].chance)} by {_then(fleet, chances[1])}"
    standing = _standing(fleet, forecast) if forecast.state == "this-stop" else ""
    return f"{standing}: change it now. {first}." if standing else f"{first}."


def _then(fleet: Fleet, each: Chance) -> str:
    return "the one after" if each.stop is not None else stop_name(fleet, each)


def _interval(forecast: Forecast) -> str:
    interval = forecast.interval
    if interval is None or interval.strokes_left is None or interval.strokes_left <= 0:
        return ""
    return f"{words.strokes(interval.strokes_left)} strokes left of its fixed interval."

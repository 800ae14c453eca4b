"""One tool's whole life: where it sat, its strokes, its readings, its ledger, what moved."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from dashboard import fleet as fleets
from dashboard import panels, tool_past, tool_record, tool_wear, words
from dashboard.client import Forecast
from dashboard.fleet import Document, Fleet
from dashboard.pages import Ask, Page
from dashboard.reads import Told
from dashboard.tool_facts import Tool

STATES: Final = {
    "shelf": "on the shelf",
    "fitted": "fitted",
    "bench": "on the bench",
    "out": "out for rework",
    "scrapped": "scrapped",
}
Draw = Callable[[Ask, Tool], Document]


def document(ask: Ask) -> Document:
    """The page of the tool that the address names."""
    fleet = ask.arranged()
    serial = ask.param("serial")
    told = ask.sources.reads.one(f"/tools/{serial}", Tool)
    missing = f"No tool has the serial {serial}."
    made: Document = {**ask.frame("tool", serial, fleet), "serial": serial}

    shown = [_panel(ask, told, missing, *_PANELS[0])]
    if told.value is not None:
        shown += [_panel(ask, told, missing, *each) for each in _PANELS[1:]]
        shown.insert(2, tool_past.panel(ask, serial))
    return made | {"top": _top(ask, fleet, told.value), "panels": shown}


def _panel(
    ask: Ask, told: Told[Tool], missing: str, key: str, title: str, draw: Draw, say: str = ""
) -> Document:
    return panels.panel(ask, key, title, told, lambda t: draw(ask, t), say=say, missing=missing)


# ---- title ----


def _top(ask: Ask, fleet: Fleet, tool: Tool | None) -> Document | None:
    if tool is None:
        return None
    forecast = _forecast(fleet, tool)
    state = forecast.state if forecast else None
    return {
        "serial": tool.serial,
        "name": _named(tool),
        "mark": words.STATE_MARKS[state] if state else "",
        "word": words.STATE_WORDS[state] if state else STATES.get(tool.state, tool.state),
        "lead": _place_words(ask, tool),
        "rest": _rest(ask, tool, forecast),
        "figures": _ages(tool),
        "press": f"/press/{tool.press}" if tool.press else "",
        "press_id": words.press_id(tool.press) if tool.press else "",
        "life": _lives(tool),
        "entry": f"/entry?serial={tool.serial}" if ask.who.may("crew") else "",
    }


def _lives(tool: Tool) -> str:
    """The lives of its kind at the place where it is or was last, its own marked among them."""
    position = tool.position or (tool.fits[-1].position if tool.fits else None)
    if position is None:
        return ""
    return f"/life?kind={tool.kind}&position={position}&serial={tool.serial}"


def _named(tool: Tool) -> str:
    size = "" if tool.size_mm is None else f", {tool.size_mm:g}{words.NB}mm"
    batch = f", batch {tool.batch}" if tool.batch else ""
    return f"{tool.kind}{size}{batch}"


def _forecast(fleet: Fleet, tool: Tool) -> Forecast | None:
    own = fleet.tools.get(tool.press or "", ())
    return next((each for each in own if each.serial == tool.serial), None)


def _place_words(ask: Ask, tool: Tool) -> str:
    if tool.press is None or tool.position is None:
        back = tool.back_at
        when = "" if back is None else f", promised {words.moment(back, ask.zone, ask.now)}"
        return f"{STATES.get(tool.state, tool.state).capitalize()}{when}."
    since = next((fit.fitted_at for fit in reversed(tool.fits) if fit.pulled_at is None), None)
    when = "" if since is None else f" since {words.moment(since, ask.zone, ask.now)}"
    return f"In {words.press_id(tool.press)}, {tool.position}{when}."


def _rest(ask: Ask, tool: Tool, forecast: Forecast | None) -> str:
    number = f"Its {_ordinal(tool.reworks + 1)} life." if tool.reworks else "Never reworked."
    if forecast is None or not fleets.has_range(forecast) or forecast.due is None:
        return number
    low, middle, high = (forecast.due.get(level) for level in ("0.1", "0.5", "0.9"))
    if low is None or middle is None:
        return number
    late = "later" if high is None else words.day(high, ask.zone, ask.now)
    spans = f"{words.day(low, ask.zone, ask.now)} to {late}"
    return f"{number} Due {spans}, half by {words.day(middle, ask.zone, ask.now)}."


def _ordinal(number: int) -> str:
    suffix = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}th" if 10 < number % 100 < 14 else f"{number}{suffix}"


def _ages(tool: Tool) -> list[str]:
    ages = (
        ("since fit", tool.strokes.since_fit),
        ("since rework", tool.strokes.since_rework),
        ("since new", tool.strokes.since_new),
    )
    said = [f"{words.strokes(age)} {word}" for word, age in ages if age is not None]
    if tool.strokes.since_rework is None:
        said.append("strokes since rework not known")
    return said


_PANELS: Final = (
    ("record", "Where it sat", tool_record.where),
    ("wear", "Readings", tool_wear.wear),
    ("ledger", "Ledger", tool_record.ledger, "corrections stay, struck through"),
    ("moves", "Figures that moved", tool_record.moves),
)

PAGE: Final = Page(
    view="tool",
    path="/tool/{serial}",
    title="Tool",
    document=document,
    assets=("parts.lazy.js", "parts.lazy.css", "tool.lazy.js", "tool.lazy.css"),
)

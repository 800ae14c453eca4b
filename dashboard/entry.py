"""Entry on a tablet with gloves: what was done, to which tool, when and by whom.

The page is one form at a time. Nothing is judged here: the API refuses or takes an entry, and the
page says in its place what it said.
"""

from __future__ import annotations

from typing import Any, Final

from dashboard import entry_lately as lately
from dashboard import entry_moves as moves
from dashboard import entry_press as places
from dashboard import entry_tools as tools
from dashboard import fleet as fleets
from dashboard import words
from dashboard.entry_forms import Form, nothing
from dashboard.entry_tools import Seat
from dashboard.entry_words import CARE, KINDS, LAW, VOID, Kind
from dashboard.fleet import Document
from dashboard.pages import Ask, Page

WIDTHS: Final = {"redraw-sleeve": 16, "redraw-die": 22, "punch": 24, "dome-die": 18, "stripper": 16}
"""How wide the block beside a place is drawn, px; rings grow narrower."""

RING_WIDTHS: Final = (13, 10, 7)
NO_PLACE: Final = ("service", "lately", "void")


def document(ask: Ask) -> Document:
    """The whole page for what the form holds."""
    fleet = ask.arranged()
    kind_name = _kind_name(ask)
    kind = KINDS.get(kind_name, VOID)
    press = _press(ask)
    made = {**ask.frame("entry", "Enter a change", fleet), "care": CARE, "law": LAW}
    made |= {"form": {"do": kind_name, "press": press}, "echo": ask.param("n"), "kinds": _kinds()}
    zone = getattr(ask.zone, "key", "UTC")
    made |= {"back": _back(press), "presses": _presses(ask), "zone": zone}
    if ask.param("choose") == "entry":
        return made | {"choose": "entry", "heading": "What was done?", "id": "", "of_press": False}
    if kind.of_press and (not press or ask.param("choose") == "press"):
        return made | {"choose": "press", "heading": "Which press?", "id": "", "of_press": True}
    return made | _shown(ask, kind_name, kind, press)


def _kind_name(ask: Ask) -> str:
    given = ask.param("do")
    return given if given in KINDS or given == "void" else "exchange"


def _press(ask: Ask) -> str:
    given = ask.param("press")
    known = {each.press for each in ask.arranged(site=fleets.site_of(given)).presses}
    return given if given in known else ""


def _kinds() -> list[dict[str, str]]:
    return [{"value": name, "word": k.word, "small": k.small} for name, k in KINDS.items()]


def _presses(ask: Ask) -> list[Document]:
    """Lines with their presses in stamped order, as buttons."""
    fleet = ask.arranged(site=fleets.site_of(ask.param("press")))
    return [
        {
            "line": f"Line {line.rpartition('/')[2]}",
            "presses": [
                {"value": each.press, "word": words.press_id(each.press)}
                for each in fleet.presses
                if words.line_of(each.press) == line
            ],
        }
        for line in fleet.lines
    ]


def _back(press: str) -> Document:
    if press:
        return {"href": f"/press/{press}", "word": f"Press {words.press_id(press)}"}
    return {"href": "/", "word": "Shift"}


def _shown(ask: Ask, name: str, kind: Kind, press: str) -> Document:
    there = tools.seats(ask, press) if kind.of_press and name not in NO_PLACE else []
    form = _form(ask, name, press, there)
    return {
        "choose": "",
        "heading": kind.title,
        "id": words.press_id(press) if kind.of_press else "",
        "seats": [_seat(seat, at) for at, seat in enumerate(there)],
        "seats_label": "Which one, from cup to dome; punch last",
        "fields": form.fields,
        "lead": form.lead,
        "of_press": kind.of_press,
        "more_care": form.care,
        "template": form.template,
        "needs": [{"names": needed.split(), "says": says} for needed, says in form.needs],
        "send": {"word": _send(ask, name, kind), "repeat": form.repeat} if form.template else None,
        "call": form.call,
        "open": [key for key in ("age", "note") if key in ask.opened],
        "more": _more(ask, name, has_form=bool(form.template)),
    }


def _send(ask: Ask, name: str, kind: Kind) -> str:
    if name in ("register", "void"):
        return {"register": "Register it", "void": "Take it back"}[name]
    return "Enter the correction" if ask.param("event") else f"Enter the {kind.send}"


def _more(ask: Ask, name: str, *, has_form: bool) -> list[Document]:
    """Fields that are there at a word."""
    offered = []
    if name == "exchange":
        offered.append({"key": "age", "word": "Strokes it had before"})
    if name not in ("lately", "void", "register"):
        offered.append({"key": "note", "word": "Add a note"})
    return [each for each in offered if each["key"] not in ask.opened] if has_form else []


def _seat(seat: Seat, at: int) -> Document:
    rings = [int(part) for part in seat.place.position.split("-") if part.isdecimal()]
    width = WIDTHS.get(seat.place.kind, 14)
    if seat.place.kind == "ironing-ring" and rings:
        width = RING_WIDTHS[min(rings[0], len(RING_WIDTHS)) - 1]
    small = words.strokes(seat.strokes) if seat.tool else "empty"
    return {"value": seat.place.position, "small": small, "width": width}


def _form(ask: Ask, name: str, press: str, there: list[Seat]) -> Form:
    event = ask.param("event")
    if name == "lately":
        return lately.lately(ask, press)
    if name == "void":
        return lately.void(ask, press, event)
    form = _of_kind(ask, name, press, there)
    return lately.correcting(ask, form, press, event) if event else form


def _of_kind(ask: Ask, name: str, press: str, there: list[Seat]) -> Form:
    if name == "service":
        return places.service(ask, press)
    if name == "register":
        return moves.register(ask)
    if name in moves.FROM:
        return moves.moved(ask, name)
    seat = next((each for each in there if each.place.position == ask.param("position")), None)
    if seat is None:
        return nothing("Choose the place on the left." if there else _unread(ask))
    if ask.param("event"):
        seat = lately.at_stake(ask, press, ask.param("event"), seat)
    make = {"exchange": places.exchange, "pull": places.pull, "inspect": places.inspect}[name]
    return make(ask, press, seat)


def _unread(ask: Ask) -> str:
    told: Any = ask.sources.reads.items("/positions", tools.Place)
    return f"The places could not be read: {told.fault}." if told.fault else "No place is defined."


PAGE: Final = Page(
    view="entry",
    path="/entry",
    title="Enter a change",
    document=document,
    word="Enter",
    role="crew",
    assets=("entry.lazy.css", "entry.lazy.js"),
    keeps=("press", "position", "serial"),
)

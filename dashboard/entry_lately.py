"""What was entered lately in a press, to be corrected or taken back: both stay on record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta
from typing import Any, Final

from dashboard import entry_tools as tools
from dashboard import words
from dashboard.entry_forms import Form, nothing, person, text
from dashboard.entry_tools import Seat
from dashboard.entry_words import EVENT_WORDS, REASON_WORDS
from dashboard.fleet import Document
from dashboard.pages import Ask
from dashboard.record import PlacedInspection, WholeEvent
from duestroke.times import format_time

BACK: Final = timedelta(days=21)
MOST: Final = 14

FORM_OF: Final = {
    "fit": "exchange",
    "pull": "pull",
    "service": "service",
    "send": "send",
    "rework": "rework",
    "shelve": "shelve",
    "scrap": "scrap",
}
"""The form in which an event of each type is corrected."""


def lately(ask: Ask, press: str) -> Form:
    """The entries of the last weeks, the one entered last first."""
    found = _both(ask, {"press": press})
    found.sort(key=lambda each: each.entered_at, reverse=True)
    if not found:
        days = BACK // timedelta(days=1)
        return nothing(f"Nothing was entered for the last {days} days of this press.")
    rows = [_row(ask, each) for each in found[:MOST]]
    field: Document = {
        "kind": "entries",
        "name": "event",
        "label": "Which entry? The one entered last stands first.",
        "rows": rows,
    }
    return Form([field], {}, [])


def _both(ask: Ask, asked: Mapping[str, str]) -> list[WholeEvent | PlacedInspection]:
    # A pull that follows from an exchange is corrected by correcting the exchange.
    events = [each for each in _told(ask, asked) if each.stands and each.implied_by is None]
    return [*events, *_looks(ask, asked)]


def _told(ask: Ask, asked: Mapping[str, str]) -> tuple[WholeEvent, ...]:
    query = {**asked, "from": format_time(ask.now - BACK)}
    told = ask.sources.reads.items("/tool-events", WholeEvent, query, fresh_for=tools.FRESH)
    return told.value or ()


def _looks(ask: Ask, asked: Mapping[str, str]) -> list[PlacedInspection]:
    query = {**asked, "from": format_time(ask.now - BACK)}
    told = ask.sources.reads.items("/inspections", PlacedInspection, query, fresh_for=tools.FRESH)
    return [each for each in told.value or () if each.stands]


def _row(ask: Ask, each: WholeEvent | PlacedInspection) -> Document:
    zone, now = ask.zone, ask.now
    by = each.by or each.entered_by
    entered = f"entered {words.since(each.entered_at, zone, now)} by {each.entered_by}"
    return {
        "value": each.id,
        "word": told(each),
        "small": f"done {words.since(each.at, zone, now)} by {by}, {entered}",
        "form": "inspect" if isinstance(each, PlacedInspection) else FORM_OF[each.type],
        "fill": fill(ask, each),
    }


def told(each: WholeEvent | PlacedInspection) -> str:
    """An entry in a few words."""
    where = each.position or ""
    if isinstance(each, PlacedInspection):
        reading = f"{each.quantity} {each.value:g} {each.unit}" if each.value is not None else ""
        parts = (f"{each.serial} {where}".strip(), each.verdict or "", reading)
        return ", ".join(part for part in parts if part)
    if each.type == "service":
        return "the press was serviced"
    why = REASON_WORDS.get(each.reason or "", "")
    word = EVENT_WORDS[each.type]
    at = f"{'at' if each.type == 'fit' else 'from'} {where}" if where else ""
    subject = f"{where}: {each.serial} in" if each.replaces else f"{each.serial} {word} {at}"
    return ", ".join(part for part in (subject.strip(), why) if part)


def fill(ask: Ask, each: WholeEvent | PlacedInspection) -> dict[str, str]:
    """What a form begins with when this entry is corrected."""
    local = each.at.astimezone(ask.zone)
    filled = {
        "press": each.press,
        "position": each.position,
        "serial": each.serial,
        "by": each.by,
        "note": each.note,
        "at": "earlier",
        "day": f"{local:%Y-%m-%d}",
        "time": f"{local:%H:%M}",
        "fold": str(local.fold),
    }
    filled |= _of_look(each) if isinstance(each, PlacedInspection) else _of_event(each)
    return {name: value for name, value in filled.items() if value}


def _of_look(look: PlacedInspection) -> dict[str, str | None]:
    return {"verdict": look.verdict, "value": None if look.value is None else f"{look.value:g}"}


def _of_event(event: WholeEvent) -> dict[str, str | None]:
    size = None if event.size_mm is None else f"{event.size_mm:g}"
    return {"reason": event.reason, "size": size}


# ---- one entry ----


def find(ask: Ask, press: str, event: str) -> WholeEvent | PlacedInspection | None:
    """An entry of the last weeks by its id: of the press, or of the tool where one is named."""
    asked = {"press": press} if press else {"serial": ask.param("of")}
    return next((each for each in _both(ask, asked) if each.id == event), None)


def at_stake(ask: Ask, press: str, event: str, seat: Seat) -> Seat:
    """A place as it was for an entry: with the tool that it pulled, looked at, or put out."""
    each = find(ask, press, event)
    if each is None:
        return seat
    serial = each.serial
    if isinstance(each, WholeEvent) and each.type == "fit":
        serial = _put_out(ask, press, event)
    found = tools.tool_of(ask, serial).value if serial else None
    return Seat(seat.place, found, None)


def _put_out(ask: Ask, press: str, event: str) -> str:
    pulls = [each for each in _told(ask, {"press": press}) if each.implied_by == event]
    return pulls[0].serial if pulls else ""


def void(ask: Ask, press: str, event: str) -> Form:
    """An entry is taken back; it stays on record, struck through."""
    each = find(ask, press, event)
    if each is None:
        return nothing("There is no such entry, or it was corrected or taken back already.")
    same: dict[str, Any] = {"serial": each.serial, "at": format_time(each.at)}
    if isinstance(each, WholeEvent):
        same |= {"type": each.type, "press": each.press, "position": each.position}
        same |= {"serial": None} if each.type == "service" else {}
    return Form(
        [text("note", "Why is it taken back?"), person()],
        same | {"corrects": event, "void": True, "by": "$by", "note": "$note"},
        [],
        repeat=f"{told(each)}: did not happen",
        call="inspections" if isinstance(each, PlacedInspection) else "tool-events",
        lead=f"{told(each)}, done {words.since(each.at, ask.zone, ask.now)}. "
        "It stays on record, struck through; what followed from it is reckoned anew.",
    )


def correcting(ask: Ask, form: Form, press: str, event: str) -> Form:
    """The same form for an entry that stands instead of an earlier one."""
    each = find(ask, press, event)
    if each is None:
        return form
    template = {**form.template, "corrects": event}
    if isinstance(each, WholeEvent) and each.type == "fit":
        # What sits there now is the very tool: the correction is a fit in its place.
        template = _fit_again(each, template)
    lead = f"Instead of: {told(each)}, done {words.since(each.at, ask.zone, ask.now)}."
    return replace(form, template=template, lead=lead)


def _fit_again(each: WholeEvent, template: Mapping[str, Any]) -> dict[str, Any]:
    kept = {name: value for name, value in template.items() if name not in ("reason", "replaces")}
    return kept | ({"replaces": True, "reason": "$reason"} if each.replaces else {})

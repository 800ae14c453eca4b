"""Forms about a place in a press: exchange, fit, pull, inspection, and the press's own service."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from dashboard import entry_says as say
from dashboard import entry_tools as tools
from dashboard import words
from dashboard.entry_forms import (
    COMMON,
    Fields,
    Form,
    choice,
    done,
    noted,
    nothing,
    number,
    serial,
    shelf_words,
    why,
)
from dashboard.entry_tools import Place, Seat, Tool
from dashboard.entry_words import REASON_WORDS
from dashboard.pages import Ask

ENDS: Final = (
    ("planned", "planned", "serviced by plan"),
    ("worn", "worn", "at its limit"),
    ("broken", "broken", "it failed"),
    ("other", "other", "say what"),
)
"""How a press's own life ends, in the API's words and ours."""

VERDICTS: Final = (
    ("good", "good", "goes on"),
    ("worn", "worn", "at its limit"),
    ("", "no verdict", "a reading only"),
)


def exchange(ask: Ask, press: str, seat: Seat) -> Form:
    """A tool comes out and another goes in, in one entry; or one goes into an empty place."""
    place, out = seat.place, seat.tool
    says, tool = say.of_serial(
        ask,
        ask.param("serial"),
        lambda found: say.to_fit(found, place, press, is_correction=ask.param("event") != ""),
        kind=place.kind,
    )
    label = "Goes in: scan or type the serial"
    picks = _for_place(ask, place, press)
    fields = [serial(ask, label, says, picks, _shelf(picks, place, press)), *_age(ask)]
    template = {"type": "fit", "serial": "$serial", "press": press, "position": place.position}
    template |= _age_template(ask)
    needs = [("serial", "Say which tool goes in.")]
    if out is None:
        goes = ask.param("serial")
        return Form(
            [*fields, *noted(ask), *done(ask)],
            template | COMMON,
            needs,
            repeat=f"{goes} into {place.position}{_begins(tool)}" if goes else "",
            lead=f"Nothing is recorded at {place.position}.",
        )
    return Form(
        [why(f"Comes out: {_out_words(seat)}. Why?"), *fields, *noted(ask), *done(ask)],
        template | {"replaces": True, "reason": "$reason"} | COMMON,
        [("reason", "Say why it comes out."), *needs],
        repeat=_exchanged(ask, out, tool),
    )


def _exchanged(ask: Ask, out: Tool, tool: tools.ToolWhole | None) -> str:
    reason = REASON_WORDS.get(ask.param("reason"), "")
    goes = ask.param("serial")
    leaves = ", ".join(part for part in (f"{out.serial} out", reason) if part)
    return f"{leaves} · {goes} in{_begins(tool)}" if goes else leaves


def _begins(tool: tools.ToolWhole | None) -> str:
    if tool is None or tool.strokes.since_rework is None:
        return ""
    ran = tool.strokes.since_rework
    return f", starts at {words.strokes(ran) if ran else 0}"


def _out_words(seat: Seat) -> str:
    if seat.tool is None:
        return "nothing"
    ran = f", {words.strokes(seat.strokes)} strokes" if seat.strokes is not None else ""
    return f"{seat.tool.serial}, {seat.place.position}{ran}"


def _for_place(ask: Ask, place: Place, press: str) -> list[tuple[Tool, str]]:
    """Tools of the right kind on the shelf or the bench; those of the right size first."""
    found = [
        *tools.in_state(ask, "shelf", place.kind),
        *tools.in_state(ask, "bench", place.kind),
    ]
    order = {True: 0, None: 1, False: 2}
    found.sort(key=lambda tool: (order[place.suits(tool, press)], tool.state == "bench"))
    return [(tool, _pick_words(tool, place, press)) for tool in found]


def _pick_words(tool: Tool, place: Place, press: str) -> str:
    size = tools.millimetres(tool.size_mm) if place.size_in(press)[0] or tool.size_mm else ""
    fits = {True: "", None: "size not known", False: "another size"}[place.suits(tool, press)]
    where = "on the bench" if tool.state == "bench" else "on the shelf"
    return ", ".join(part for part in (where, size, fits) if part)


def _shelf(picks: Sequence[tuple[Tool, str]], place: Place, press: str) -> str:
    fit = sum(place.suits(tool, press) is True for tool, _ in picks)
    size, _ = place.size_in(press)
    return f"Pick: {fit} of its size" if picks and size is not None else shelf_words(picks)


def _age(ask: Ask) -> Fields:
    """Strokes that the tool had before: as the ledger knows them, unless somebody says more."""
    if "age" not in ask.opened:
        return []
    options = (
        ("", "as recorded", "what the ledger knows"),
        ("said", "about so many", "said by somebody"),
        ("unknown", "not known", "nobody knows"),
    )
    fields = [choice("age", "Strokes since its last rework", options, 3)]
    if ask.param("age") == "said":
        fields.append(number("before", "Strokes before, in M"))
        fields.append(number("margin", "May be off by, in M"))
    return fields


def _age_template(ask: Ask) -> dict[str, Any]:
    if "age" not in ask.opened:
        return {}
    if ask.param("age") == "unknown":
        return {"before_unknown": True}
    if ask.param("age") == "said":
        return {"strokes_before": "$millions:before", "strokes_before_margin": "$millions:margin"}
    return {}


def pull(ask: Ask, press: str, seat: Seat) -> Form:
    """A tool comes out and none goes in."""
    if seat.tool is None:
        return nothing(f"Nothing is recorded at {seat.place.position}: there is nothing to pull.")
    reason = REASON_WORDS.get(ask.param("reason"), "")
    template = {
        "type": "pull",
        "serial": seat.tool.serial,
        "press": press,
        "position": seat.place.position,
        "reason": "$reason",
    }
    return Form(
        [why(f"Comes out: {_out_words(seat)}. Why?"), *noted(ask), *done(ask)],
        template | COMMON,
        [("reason", "Say why it comes out.")],
        repeat=", ".join(part for part in (f"{seat.tool.serial} out", reason) if part),
    )


def inspect(ask: Ask, press: str, seat: Seat) -> Form:
    """A look, a reading, or both, at the tool in a place."""
    if seat.tool is None:
        return nothing(
            f"Nothing is recorded at {seat.place.position}: there is nothing to inspect."
        )
    place = seat.place
    verdicts = (
        ("good", "good", "goes on"),
        ("worn", "worn", "at its limit"),
        ("", "no verdict", ""),
    )
    fields = [choice("verdict", f"{_out_words(seat)}: how does it look?", verdicts, 3)]
    template: dict[str, Any] = {"serial": seat.tool.serial, "verdict": "$verdict"}
    if place.quantity and place.unit:
        unit = "µm" if place.unit == "um" else place.unit
        limit = f"Its limit is {place.limit:g}{words.NB}{unit}." if place.limit is not None else ""
        says = f"Change since fit or rework. {limit}".strip()
        fields.append(
            number("value", f"Reading of its {place.quantity}, {unit}", says, signed=True)
        )
        fields.append(number("uncertainty", f"Uncertainty (95 %), ± {unit}"))
        template |= {
            "quantity": "$with:value " + place.quantity,
            "value": "$number:value",
            "unit": "$with:value " + place.unit,
            "uncertainty": "$number:uncertainty",
        }
    return Form(
        [*fields, *noted(ask), *done(ask)],
        template | COMMON,
        [("verdict value", "Give a verdict, a reading, or both.")],
        repeat=_looked(ask, seat),
        call="inspections",
    )


def _looked(ask: Ask, seat: Seat) -> str:
    value = ask.param("value")
    unit = "µm" if seat.place.unit == "um" else seat.place.unit or ""
    reading = f"{value}{words.NB}{unit}" if value else ""
    serial_ = seat.tool.serial if seat.tool else ""
    return ", ".join(part for part in (serial_, ask.param("verdict"), reading) if part)


def service(ask: Ask, press: str) -> Form:
    """The press's own life begins anew."""
    return Form(
        [choice("reason", "How did the press’s last stretch end?", ENDS), *noted(ask), *done(ask)],
        {"type": "service", "press": press, "reason": "$reason"} | COMMON,
        [("reason", "Say how the last stretch ended.")],
        repeat=f"{words.press_id(press)} serviced: its own strokes begin anew",
    )

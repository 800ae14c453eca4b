"""Random tool events, and a plain model of the ledger that is too slow and simple to be wrong."""

from __future__ import annotations

import random
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from duestroke.ledger import Tool, ToolEvent

START = datetime(2026, 1, 1, tzinfo=UTC)
PRESSES = ("works/1/01", "works/1/02")
KINDS = {"ring-2": "ironing-ring", "ring-3": "ironing-ring", "punch": "punch"}
TOOLS = {
    tool.serial: tool
    for tool in (
        Tool("R1", "ironing-ring"),
        Tool("R2", "ironing-ring"),
        Tool("R3", "ironing-ring", 66.1),
        Tool("P1", "punch"),
        Tool("P2", "punch"),
    )
}
TYPES = ("fit",) * 6 + ("pull",) * 4 + ("shelve", "send", "rework", "scrap", "service")


def at_hour(hour: float) -> datetime:
    """A time so many hours after the start."""
    return START + timedelta(hours=hour)


def random_event(rng: random.Random, hours: int = 30) -> ToolEvent:
    """Any event that could be entered; most histories of them hold many that cannot stand."""
    kind = rng.choice(TYPES)
    press = rng.choice(PRESSES)
    serial = press if kind == "service" else rng.choice(list(TOOLS))
    fit = kind == "fit"
    named = kind == "pull" and rng.random() < 0.3
    replaces = fit and rng.random() < 0.5
    return ToolEvent(
        id=uuid.UUID(int=rng.getrandbits(128), version=4),
        type=kind,
        serial=serial,
        at=at_hour(rng.randrange(hours)),
        press=press if fit or named or kind == "service" else None,
        position=rng.choice(list(KINDS)) if fit or named else None,
        reason=rng.choice(["worn", "planned"]) if kind == "pull" or replaces else None,
        strokes_before=rng.choice([None, None, 0, 5_000]) if fit else None,
        size_mm=rng.choice([None, 66.2]) if kind in ("rework", "shelve") else None,
        replaces=replaces,
        before_unknown=fit and rng.random() < 0.15,
        back_at=at_hour(99) if kind == "send" else None,
    )


@dataclass
class Model:
    """State of each tool, who sits where, and each stretch as (serial, place, from, to).

    size, reworks, back: of each tool.  ages: the stretch of that number began with strokes counted
    from the fit of an id, which stated so many; None where nobody knows.
    """

    state: dict[str, str]
    place: dict[tuple[str, str], str]
    stretches: list[list[object]]
    size: dict[str, float | None]
    reworks: dict[str, int]
    back: dict[str, datetime | None]
    ages: list[tuple[uuid.UUID, int | None, int]]
    anchor: dict[str, tuple[uuid.UUID, int | None]]


def plain_ledger(entered: Sequence[ToolEvent]) -> Model | None:
    """The events in order of entry, played in order of time. None where they contradict."""
    sizes = {serial: tool.size_mm for serial, tool in TOOLS.items()}
    nothing: dict[str, datetime | None] = dict.fromkeys(TOOLS)
    state = dict.fromkeys(TOOLS, "new")
    model = Model(state, {}, [], sizes, dict.fromkeys(TOOLS, 0), nothing, [], {})
    order = sorted(range(len(entered)), key=lambda i: (entered[i].at, i))
    for number in order:
        if not _stands(model, entered[number]):
            return None
    return model


def _stands(model: Model, event: ToolEvent) -> bool:
    if event.type == "service":
        return True
    if event.type == "fit":
        return _fit(model, event)
    if event.type == "pull":
        return _pull(model, event)
    allowed = {
        "shelve": {"new": "shelf", "bench": "shelf", "out": "shelf"},
        "send": {"new": "out", "bench": "out", "shelf": "out"},
        "rework": {"new": "shelf", "bench": "shelf", "out": "shelf", "shelf": "shelf"},
        "scrap": {"new": "scrapped", "bench": "scrapped", "out": "scrapped", "shelf": "scrapped"},
    }[event.type]
    was = model.state[event.serial]
    if was not in allowed:
        return False
    model.state[event.serial] = allowed[was]
    model.back[event.serial] = event.back_at
    if event.type == "rework":
        model.reworks[event.serial] += 1
        model.anchor.pop(event.serial, None)
        model.size[event.serial] = event.size_mm
    elif event.type == "shelve" and event.size_mm is not None:
        model.size[event.serial] = event.size_mm
    return True


def _fit(model: Model, event: ToolEvent) -> bool:
    place = (event.press or "", event.position or "")
    if KINDS[place[1]] != TOOLS[event.serial].kind:
        return False
    if model.state[event.serial] not in ("new", "shelf", "bench"):
        return False
    if place in model.place:
        if not event.replaces:
            return False
        _out(model, model.place[place], event)
    model.place[place] = event.serial
    model.state[event.serial] = "fitted"
    model.stretches.append([event.serial, place, event.at, None])
    stated = event.strokes_before is not None or event.before_unknown
    if stated or event.serial not in model.anchor:
        strokes = None if event.before_unknown else event.strokes_before or 0
        model.anchor[event.serial] = (event.id, strokes)
    model.ages.append((*model.anchor[event.serial], model.reworks[event.serial]))
    return True


def _pull(model: Model, event: ToolEvent) -> bool:
    if model.state[event.serial] != "fitted":
        return False
    place = next(place for place, serial in model.place.items() if serial == event.serial)
    if event.press not in (None, place[0]) or event.position not in (None, place[1]):
        return False
    _out(model, event.serial, event)
    return True


def _out(model: Model, serial: str, event: ToolEvent) -> None:
    model.place = {place: other for place, other in model.place.items() if other != serial}
    model.state[serial] = "bench"
    for stretch in model.stretches:
        if stretch[0] == serial and stretch[3] is None:
            stretch[3] = event.at

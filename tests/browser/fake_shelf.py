"""Tools as `GET /tools` lists them: those in the presses, and rings on the shelf."""

from __future__ import annotations

from typing import Any

from tests.browser import fake_api, fake_record

RINGS = tuple(
    f"IR26-{number:04d}-{letter}" for number, letter in ((231, "5"), (232, "T"), (240, "K"))
)
KINDS = {name: kind for name, kind, *_ in fake_record.POSITIONS}


def tools(plant: fake_api.Plant, asked: dict[str, str]) -> list[dict[str, Any]]:
    """By serial, as far as the question wants them."""
    fitted = [
        _tool(fake_api.serial_of(tool), KINDS[tool.position], "fitted", tool.press, tool.position)
        for tool in plant.tools
        if tool.position != "press"
    ]
    found = [*fitted, *(_tool(serial, "ironing-ring", "shelf") for serial in RINGS)]
    kept = [tool for tool in found if all(tool[n] == asked.get(n, tool[n]) for n in FILTERS)]
    return sorted(kept, key=lambda tool: str(tool["serial"]))


FILTERS = ("kind", "press", "state")


def ring(serial: str) -> dict[str, Any] | None:
    """A ring on the shelf as `GET /tools/{serial}` gives it; None for any other serial."""
    if serial not in RINGS:
        return None
    ages = {"since_fit": None, "since_rework": 0, "since_new": 0}
    none: dict[str, list[Any]] = {"fits": [], "history": [], "inspections": [], "moves": []}
    return _tool(serial, "ironing-ring", "shelf") | {"strokes": ages} | none


def _tool(
    serial: str, kind: str, state: str, press: str | None = None, position: str | None = None
) -> dict[str, Any]:
    return {
        "serial": serial,
        "kind": kind,
        "batch": None,
        "size_mm": 66.15 if kind == "ironing-ring" else None,
        "registered_size_mm": 66.15 if kind == "ironing-ring" else None,
        "note": None,
        "state": state,
        "press": press,
        "position": position,
        "reworks": 0,
        "back_at": None,
        "registered_at": "2026-01-06T09:00:00Z",
        "registered_by": "tool room",
    }

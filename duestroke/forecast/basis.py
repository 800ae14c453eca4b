"""What a forecast rests on, as it is told with it, and all that it was made from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, astuple, dataclass, fields
from datetime import datetime
from typing import Any, Final

from duestroke.forecast.cautions import cautions
from duestroke.forecast.digest import digest
from duestroke.forecast.facts import MODEL_VERSION, PressFacts, ToolFacts
from duestroke.forecast.futures import Ahead, Seat, record_of
from duestroke.forecast.view import View
from duestroke.inference.ahead import misfits
from duestroke.inference.wear import WearPaths, readings_alone
from duestroke.times import format_time

_OF_TOOL: Final = tuple(field.name for field in fields(ToolFacts))


@dataclass(frozen=True)
class Basis:
    """Content of many forecasts. wear: what the readings of a seat's tool say alone, by its id."""

    wear: Mapping[int, Mapping[str, object]]
    presses: dict[int, tuple[Mapping[str, object], View]]

    @staticmethod
    def of(seats: Sequence[Seat]) -> Basis:
        """What can be told of many at once: the readings of the tools of a place."""
        return Basis(_readings(seats), {})

    def of_tool(self, seat: Seat, ahead: Ahead | None) -> dict[str, object]:
        """The contract's `basis`; beside it `modes` where two modes end the tool's life."""
        view, tool, basis = seat.view, seat.tool, seat.basis
        wear = self.wear.get(id(seat))
        told = {
            "lives": basis.lives,
            "failures": basis.failures,
            "families": dict(basis.families or {}),
            "wear": wear,
            "prior_only": basis.prior_only,
            "fit": basis.fit,
            "as_of": self._of_view(view)["as_of"],
            "cautions": cautions(view, tool, basis, wear),
        }
        if ahead is not None and ahead.wear is not None:
            part = round(ahead.wear, 4)
            told["modes"] = {"wear": part, "sudden": round(1 - part, 4)}
        return told

    def inputs(self, seat: Seat) -> tuple[dict[str, object], str]:
        """All that the forecast was made from, and its digest.

        With the fit of that name it can be made again.
        """
        tool, basis = seat.tool, seat.basis
        told = {name: getattr(tool, name) for name in _OF_TOOL}
        told |= self._of_view(seat.view)
        told["readings"] = [astuple(reading) for reading in tool.readings]
        told["began"] = format_time(tool.began)
        told["fit"] = basis.fit
        told["planned_close"] = [basis.planned_close, basis.ends]
        return told, digest(told)

    def _of_view(self, view: View) -> Mapping[str, object]:
        known = self.presses.get(id(view))
        if known is None:
            content = {
                "model_version": MODEL_VERSION,
                "now": format_time(view.now),
                "calendar": view.calendar_version,
                **_of_press(view.press),
            }
            known = self.presses[id(view)] = (content, view)
        return known[0]


def _of_press(press: PressFacts) -> dict[str, object]:
    stands = press.counter_stands_since
    rate = press.rate
    return {
        "press": press.press,
        "as_of": None if press.as_of is None else format_time(press.as_of),
        "max_spm": press.max_spm,
        "registered": format_time(press.registered),
        "counter_stands_since": None if stands is None else format_time(stands),
        "rate": None if rate is None else _plain(asdict(rate)),
    }


def _plain(rate: dict[str, object]) -> dict[str, object]:
    return {
        name: format_time(value) if isinstance(value, datetime) else value
        for name, value in rate.items()
    }


def _readings(seats: Sequence[Seat]) -> dict[int, Mapping[str, object]]:
    """What the readings of each tool say alone, by the seat's id."""
    places: dict[int, list[Seat]] = {}
    for seat in seats:
        if seat.tool.readings and seat.tool.strokes is not None:
            places.setdefault(id(seat.basis), []).append(seat)
    told: dict[int, Mapping[str, object]] = {}
    for of_place in places.values():
        desk = of_place[0].basis.desk
        paths = None if desk is None else desk.place.paths
        if desk is None or paths is None:
            continue
        chances = misfits(desk, [record_of(seat.view.press, seat.tool) for seat in of_place])
        for seat, chance in zip(of_place, chances.tolist(), strict=True):
            told[id(seat)] = _alone(paths, seat.tool, chance)
    return told


def _alone(paths: WearPaths, tool: ToolFacts, misfit: float) -> Mapping[str, object]:
    told = readings_alone(paths, tool.readings, age=tool.strokes or 0.0, misfit=misfit)
    return {**told, "alone": _rounded(told["alone"], 1), "trend": _rounded(told["trend"], 9)}


def _rounded(figures: Mapping[str, Any] | None, digits: int) -> dict[str, float | None] | None:
    """Figures as kept: last digits may differ from one process to the next."""
    if figures is None:
        return None
    return {name: None if x is None else round(x, digits) for name, x in figures.items()}

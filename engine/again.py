"""A forecast on record made again from what was kept with it: the same facts, the same bytes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from duestroke.forecast import (
    Forecast,
    LifeBasis,
    PressFacts,
    Rate,
    ToolFacts,
    answer,
    forecast_press,
    remaining_at,
)
from duestroke.forecast.digest import canonical
from duestroke.lives import WearReading
from duestroke.times import parse_time
from engine.chunks import digest_of_chunk, digest_of_fit, unpack
from engine.models import PROGRAM, fitted
from engine.stops import StopCalendar
from store.forecasts import LifeModel
from store.unit import Unit

Inputs = Mapping[str, Any]


class NotKept(Exception):
    """What a forecast was made from is not on record, or was made by another program."""


@dataclass(frozen=True, slots=True)
class Again:
    """A forecast as it stands on record, and as it comes out now.

    program: version of the program that fitted the lives then.
    """

    kept: Forecast
    made: Forecast
    program: str

    @property
    def is_same(self) -> bool:
        """Whether both are the same to the byte."""
        return content_of(self.kept) == content_of(self.made)

    @property
    def words(self) -> str:
        """What came out, in a line."""
        made = self.made
        place = f"{made.serial} in {made.position} of {made.press}"
        if self.is_same:
            return f"{place}: the same to the byte, inputs {made.digest[:12]}"
        said = [f"{each.state}, {_median(each)} left" for each in (self.kept, made)]
        other = "" if self.program == PROGRAM else f" (program {self.program}, this is {PROGRAM})"
        return f"{place}: not the same: {said[0]} on record, {said[1]} now{other}"


def _median(forecast: Forecast) -> str:
    (left,) = remaining_at(forecast, [0.5])
    return "nothing known" if left is None else f"{left:,.0f} strokes"


def content_of(forecast: Forecast) -> bytes:
    """All that a forecast says, as canonical bytes."""
    return canonical(
        [
            *(answer(forecast), forecast.remaining, forecast.due_us, forecast.digest),
            *(forecast.made_at, forecast.kind, forecast.inputs),
        ]
    )


def recompute(unit: Unit, number: int) -> Again:
    """Make the forecast on record of that number again, from its inputs and its fit's lives.

    Raises KeyError for a number that is not on record, NotKept where its fit or stops are not.
    """
    kept = unit.forecasts.of_id(number)
    if kept is None:
        raise KeyError(number)
    inputs: Inputs = kept.inputs
    basis, program = _basis(unit, kept, inputs)
    press, tool = _press(unit, inputs), _tool(inputs)
    (made,) = forecast_press(press, [(tool, basis)], _time(inputs["now"]))
    return Again(kept, made, program)


def _basis(unit: Unit, kept: Forecast, inputs: Inputs) -> tuple[LifeBasis, str]:
    reference = inputs["fit"]
    if reference == "none":
        none = LifeBasis(kind=kept.kind, position=kept.position, law=None, fit=reference)
        return none, PROGRAM
    model = unit.forecasts.model_named(reference)
    if model is None or not model.chunks:
        raise NotKept(f"the lives of the fit {reference} are not on record")
    return _fit_again(unit, model)


def _fit_again(unit: Unit, model: LifeModel) -> tuple[LifeBasis, str]:
    settings = model.content["settings"]
    if digest_of_fit(model.chunks, settings) != model.digest:
        raise NotKept(f"the fit {model.digest[:12]} was kept with other lives or settings")
    chunks = unit.forecasts.lives_of(model)
    if sorted(map(digest_of_chunk, chunks)) != sorted(model.chunks):
        raise NotKept(f"the lives of the fit {model.digest[:12]} are not on record as they were")
    return fitted(settings, unpack(chunks), model.digest)[1], settings["program"]


def _press(unit: Unit, inputs: Inputs) -> PressFacts:
    stops = unit.forecasts.calendar(inputs["calendar"])
    if stops is None:
        raise NotKept(f"the stops of calendar {inputs['calendar']} are not on record")
    return PressFacts(
        press=inputs["press"],
        as_of=_time_or_none(inputs["as_of"]),
        max_spm=inputs["max_spm"],
        rate=_rate(inputs["rate"]),
        calendar=StopCalendar.kept(stops).calendar,
        registered=_time(inputs["registered"]),
        counter_stands_since=_time_or_none(inputs["counter_stands_since"]),
    )


def _rate(content: Inputs | None) -> Rate | None:
    if content is None:
        return None
    times = {name: _time_or_none(content[name]) for name in ("start", "end", "stood_since")}
    return Rate(**{**content, **times})


def _tool(inputs: Inputs) -> ToolFacts:
    own = {field.name: inputs[field.name] for field in fields(ToolFacts)}
    readings = tuple(WearReading(*reading) for reading in inputs["readings"])
    return ToolFacts(**{**own, "began": _time(inputs["began"]), "readings": readings})


def _time(said: str | datetime) -> datetime:
    return said if isinstance(said, datetime) else parse_time(said)


def _time_or_none(said: str | datetime | None) -> datetime | None:
    return None if said is None else _time(said)

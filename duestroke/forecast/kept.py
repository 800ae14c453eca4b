"""Facts read back from what is kept with a forecast and with a fit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import datetime
from typing import Any

from duestroke.calendar import Calendar
from duestroke.forecast.facts import PressFacts, ToolFacts
from duestroke.forecast.rate import Rate
from duestroke.lives import Life, WearReading
from duestroke.times import parse_time

Kept = Mapping[str, Any]


def press_of(inputs: Kept, calendar: Calendar) -> PressFacts:
    """The press of a forecast's inputs, with the planned stops of a calendar."""
    return PressFacts(
        press=inputs["press"],
        as_of=_time_or_none(inputs["as_of"]),
        max_spm=inputs["max_spm"],
        rate=rate_of_content(inputs["rate"]),
        calendar=calendar,
        registered=_time(inputs["registered"]),
        counter_stands_since=_time_or_none(inputs["counter_stands_since"]),
    )


def rate_of_content(content: Kept | None) -> Rate | None:
    """The rate of a press as a forecast's inputs hold it."""
    if content is None:
        return None
    times = {name: _time_or_none(content[name]) for name in ("start", "end", "stood_since")}
    return Rate(**{**content, **times})


def tool_of(inputs: Kept) -> ToolFacts:
    """The tool of a forecast's inputs."""
    own = {field.name: inputs[field.name] for field in fields(ToolFacts)}
    readings = tuple(WearReading(*reading) for reading in inputs["readings"])
    return ToolFacts(**{**own, "began": _time(inputs["began"]), "readings": readings})


def life_of(content: Kept) -> Life:
    """A life as it is kept with a fit."""
    return Life(
        **{
            **content,
            "ended_at": _time_or_none(content["ended_at"]),
            "readings": tuple(WearReading(**reading) for reading in content["readings"]),
        }
    )


def _time(said: str | datetime) -> datetime:
    return said if isinstance(said, datetime) else parse_time(said)


def _time_or_none(said: str | datetime | None) -> datetime | None:
    return None if said is None else _time(said)

"""The whole plant of a demo: its state file, its presses with their truth, tools with serials."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from duestroke.errors import BadField
from duestroke.times import format_time, from_micros, parse_time
from simulators.crew import play
from simulators.plant import HARLOW_MERE, HOUR, Press
from simulators.plants import plant_of
from simulators.played import Played, name_tools
from simulators.reports import Sent, history
from simulators.stockroom import settle
from simulators.stories import Demo
from simulators.truth import PressTruth

SEED: Final = 20_260
STATE_FILE: Final = "demo.json"
HISTORY: Final = 2
"""Grows whenever the same seed begins to tell another history."""
LAST_HOURS: Final = 2
"""So many hours before the demo's first day the loaded history ends; the rest comes over MQTT."""


def state_of(data_dir: Path) -> Demo | None:
    """The demo that was begun in a data dir, or None.

    Raises BadField for one whose history this version tells otherwise: what is loaded and what its
    presses would go on with would be two plants.
    """
    file = data_dir / STATE_FILE
    if not file.exists():
        return None
    held = json.loads(file.read_text(encoding="utf-8"))
    history_of = held.get("history", 1)
    if history_of != HISTORY:
        allowed = f"{HISTORY}; another version began this demo: begin a new one in another data dir"
        raise BadField(f"{file}: history", history_of, allowed)
    seed, plant = int(held["seed"]), HARLOW_MERE
    if held.get("plant") is not None:
        seed, plant = plant_of(held["plant"])
    return Demo(seed, parse_time(held["first_day"]), plant)


def begin(
    data_dir: Path, now: datetime, seed: int = SEED, said: Mapping[str, Any] | None = None
) -> Demo:
    """The demo of a data dir, begun at `now` (to the minute) where there is none.

    said: another plant than the demo's, as its settings file says.  Raises BadField where the data
    dir holds another one already.
    """
    seed, plant = (seed, HARLOW_MERE) if said is None else plant_of(said)
    found = state_of(data_dir)
    if found is not None and said is not None and (found.seed, found.plant) != (seed, plant):
        raise BadField("plant", str(data_dir), "a data dir that holds no other plant")
    if found is not None:
        return found
    demo = Demo(seed, now.replace(second=0, microsecond=0), plant)
    first_day = format_time(demo.first_day)
    state = {"history": HISTORY, "seed": seed, "first_day": first_day, "plant": said}
    text = json.dumps(state)
    data_dir.mkdir(parents=True, exist_ok=True)
    part = data_dir / f"{STATE_FILE}.part"
    part.write_text(text + "\n", encoding="utf-8")
    part.replace(data_dir / STATE_FILE)
    return demo


def loaded_to(demo: Demo) -> int:
    """Where the loaded history ends and reports over MQTT begin."""
    return demo.d0 - LAST_HOURS * HOUR


class Works:
    """Presses of a demo, all of them unless told otherwise, with what their crews did.

    The whole plant is played in any case: its shelf, its batches and its serials belong to all.
    """

    def __init__(self, demo: Demo, presses: Sequence[Press] | None = None) -> None:
        self.demo = demo
        until = loaded_to(demo) - HOUR
        plant = [play(demo, press, until) for press in demo.plant.presses]
        if demo.plant.has_stories:
            settle(demo, plant, until)
        tools = [tool for played in plant for tool in played.tools]
        name_tools(tools, [from_micros(tool.bought).year for tool in tools])
        names = None if presses is None else {press.name for press in presses}
        self.played: list[Played] = [
            played for played in plant if names is None or played.press.name in names
        ]

    def truths(self, horizon: int) -> list[PressTruth]:
        """Every press with its truth up to a time; the same figures whatever that time is."""
        return [PressTruth(self.demo, one.press, one, horizon) for one in self.played]

    def last_loaded(self, press: PressTruth) -> Sent:
        """The last report of a press in the loaded history."""
        return history(press, loaded_to(self.demo))[1]

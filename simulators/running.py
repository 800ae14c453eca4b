"""When a press of the plant stands: planned stops, a power dip, and short stops by chance."""

from __future__ import annotations

import numpy as np

from simulators import noise, stories
from simulators.plant import HOUR, MINUTE, SECOND, Press
from simulators.stops import planned_stops
from simulators.stories import Demo
from simulators.timeline import Micros, Timeline, build, merge_stands

Stands = tuple[Micros, Micros]


def chance_timeline(demo: Demo, press: Press, to: int) -> Timeline:
    """The press from D-730 to `to` without what its tools do: no tool ever breaks in it."""
    starts, ends = base_stands(demo, press, to)
    return build(demo.begin, starts, ends, stories.rates(demo, press))


def base_stands(demo: Demo, press: Press, to: int) -> Stands:
    """Stretches of standing, merged. What lies before a time does not depend on `to`."""
    starts, ends = _short_stops(demo, press, to)
    for low, high in stories.protected(demo, press):
        clear = (ends <= low) | (starts >= high)
        starts, ends = starts[clear], ends[clear]
    planned = _planned(demo, press, to)
    return merge_stands(np.concatenate([starts, planned[0]]), np.concatenate([ends, planned[1]]))


def _short_stops(demo: Demo, press: Press, to: int) -> Stands:
    """Cup starvation, jams that hurt nothing, looks: at most one an hour, minutes each."""
    stream = [noise.key(demo.seed, press.name, "short-stop", part) for part in range(4)]
    chance = 0.30 + 0.35 * float(noise.uniform(stream[3], 0))
    hours = np.arange((to - demo.begin) // HOUR + 1, dtype=np.int64)
    hours = hours[noise.uniform(stream[0], hours) < chance]
    starts = demo.begin + ((hours + noise.uniform(stream[1], hours)) * HOUR).astype(np.int64)
    minutes = np.exp(np.log(6.5) + 0.9 * noise.normal(stream[2], hours))
    lengths = (np.clip(minutes, 0.3, 120.0) * MINUTE).astype(np.int64)
    return starts, starts + lengths


def _planned(demo: Demo, press: Press, to: int) -> Stands:
    """A press stands from the start of its line's stop until its own work there is done."""
    stream = noise.key(demo.seed, press.name, "back-early")
    story, dip = stories.download(demo, press), stories.power_dip(demo, press)
    found = [] if dip is None else [dip]
    for stop in planned_stops(press.line, demo.first_day, demo.begin - 2 * 24 * HOUR, to):
        early = float(noise.uniform(stream, stop.week)) * 75 * MINUTE
        end = stop.end - int(early) // SECOND * SECOND
        if story is not None and stop.start == story.stop:
            end = story.restart
        found.append((stop.start, end))
    starts, ends = np.array(found, dtype=np.int64).reshape(-1, 2).T
    return starts, ends

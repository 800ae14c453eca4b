"""What goes wrong at Harlow Mere and when: offsets from the demo's first day, figures exact.

The stories are the demo's own invention. Times are microseconds since 1970, true plant time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Final

from duestroke.times import from_micros, to_micros
from simulators import noise
from simulators.plant import DAY, HARLOW_MERE, HOUR, MINUTE, SECOND, Plant, Press
from simulators.stops import Stop, local_day, local_time, planned_stops

TEN_MINUTES: Final = 10 * MINUTE

DOWNLOAD_STROKES_BEFORE: Final = 12
DOWNLOAD_COUNTER: Final = 131_204_877
DOWNLOAD_FIRST_READING: Final = 1_930
DOWNLOAD_GAP: Final = 170 * MINUTE
LONG_GAP: Final = 240 * MINUTE
FASTER_SPM: Final = 432
CLOCK_FAST: Final = 7 * MINUTE
DEAF_REPEATS: Final = 300
ROUGHEST: Final = 1.21
"""K of 2/05 from D-9 on; as new it is 1.116."""
DRY_STROKES: Final = 9_000


@dataclass(frozen=True)
class Demo:
    """Seed, first day (D0, aware) and plant: with the time, all that the truth depends on."""

    seed: int
    first_day: datetime
    plant: Plant = HARLOW_MERE

    @property
    def d0(self) -> int:
        return to_micros(self.first_day)

    @property
    def begin(self) -> int:
        """The start of the history, D-730."""
        return self.d0 - self.plant.days * DAY

    def is_at(self, press: Press, place: str) -> bool:
        """Whether stories are told here and this is the press `line/number` of one."""
        return self.plant.has_stories and press.name.endswith(f"/{place}")

    def is_line(self, press: Press, line: str) -> bool:
        """Whether stories are told here and this press is of that line."""
        return self.plant.has_stories and press.line.name == line

    def on_day(self, offset: int, at: time) -> int:
        """A wall-clock time of the plant on day D+offset."""
        return local_time(local_day(self.first_day) + timedelta(days=offset), at)


@dataclass(frozen=True)
class Schedule:
    """When a press reports: every ten minutes in history, every minute live.

    minute: of each ten, 0..9.  second: microseconds into the minute.
    """

    minute: int
    second: int

    def times(self, frm: int, to: int, every: int) -> tuple[int, int, int]:
        """First time at or after `frm`, step, and number of times before `to`."""
        phase = (self.minute * MINUTE + self.second) % every
        first = frm + (phase - frm) % every
        return first, every, max(0, -(-(to - first) // every))

    def next(self, after: int, every: int) -> int:
        """The first report time later than `after`."""
        return self.times(after + 1, after + 1, every)[0]


@dataclass(frozen=True)
class Download:
    """Story 3: a program download in the weekly clean sets the counter to zero."""

    last_report: int
    stop: int
    restart: int

    @property
    def first_report(self) -> int:
        return self.last_report + DOWNLOAD_GAP


@dataclass(frozen=True)
class Deaf:
    """Story 4: the ingestor hears nothing from `start` to `end`; gateways keep their reports."""

    start: int
    end: int


def schedule(demo: Demo, press: Press) -> Schedule:
    """3/02 reports 1.8 s before each tenth minute: 12 strokes fall after its last report."""
    if demo.is_at(press, "3/02"):
        return Schedule(9, 60 * SECOND - DOWNLOAD_STROKES_BEFORE * MINUTE // 400)
    picks = noise.uniform(noise.key(demo.seed, press.name, "schedule"), [0, 1])
    return Schedule(int(picks[0] * 10), int(picks[1] * 600) * SECOND // 10)


def stop_near(demo: Demo, press: Press, offset: int) -> Stop:
    """The weekly clean of a press's line that lies nearest to day D+offset."""
    middle = demo.on_day(offset, time(7, 0))
    near = planned_stops(press.line, demo.first_day, middle - 8 * DAY, middle + 8 * DAY)
    cleans: Sequence[Stop] = [stop for stop in near if stop.end - stop.start < 12 * HOUR]
    return min(cleans, key=lambda stop: abs(stop.start - middle))


def download(demo: Demo, press: Press) -> Download | None:
    """D-112, 3/02: 12 strokes after the last report, then the download, then 1,930 strokes."""
    if not demo.is_at(press, "3/02"):
        return None
    spm = press.line.strokes_a_minute
    stop = stop_near(demo, press, -112).start
    last = stop - DOWNLOAD_STROKES_BEFORE * MINUTE // spm
    return Download(last, stop, last + DOWNLOAD_GAP - DOWNLOAD_FIRST_READING * MINUTE // spm)


def long_gap(demo: Demo, press: Press) -> tuple[int, int] | None:
    """D-75, 1/02: no report for 240 minutes while the press ran through."""
    if not demo.is_at(press, "1/02"):
        return None
    noon = demo.on_day(-75, time(12, 0))
    start = schedule(demo, press).times(noon, noon, TEN_MINUTES)[0]
    return start, start + LONG_GAP


def power_dip(demo: Demo, press: Press) -> tuple[int, int] | None:
    """D-200: line 2 loses power for 25 minutes; its counters keep their value."""
    if not demo.is_line(press, "2"):
        return None
    start = demo.on_day(-200, time(14, 20))
    return start, start + 25 * MINUTE


def fast_clock(demo: Demo, press: Press) -> tuple[int, int] | None:
    """D-330 to D-300: the clock of line 1's gateway goes seven minutes fast."""
    if not demo.is_line(press, "1"):
        return None
    return demo.on_day(-330, time(12, 0)), demo.on_day(-300, time(12, 0))


def deaf(demo: Demo) -> Deaf:
    """D-61, 02:10 to 11:30."""
    return Deaf(demo.on_day(-61, time(2, 10)), demo.on_day(-61, time(11, 30)))


def faster_from(demo: Demo, press: Press) -> int | None:
    """Story 5: 3/06 runs 8 % faster from the clean nearest to D-240 on."""
    return stop_near(demo, press, -240).start if demo.is_at(press, "3/06") else None


def rates(demo: Demo, press: Press) -> list[tuple[int, int]]:
    """Set rates of a press as (from time, strokes a minute)."""
    usual = [(demo.begin, press.line.strokes_a_minute)]
    faster = faster_from(demo, press)
    return usual if faster is None else [*usual, (faster, FASTER_SPM)]


def protected(demo: Demo, press: Press) -> list[tuple[int, int]]:
    """Stretches whose strokes a story fixes: no stop of chance falls into them."""
    found = [stretch for stretch in [long_gap(demo, press)] if stretch]
    story = download(demo, press)
    if story is not None:
        found.append((story.last_report - 5 * SECOND, story.first_report + 5 * SECOND))
    return found


def roughness(demo: Demo, press: Press) -> tuple[list[int], list[float]] | None:
    """Story 1: K over K as new at 2/05: the ram guide wears from D-38 to D-9 and stays worn."""
    if not demo.is_at(press, "2/05"):
        return None
    return [demo.on_day(offset, time(12)) for offset in (-38, -9)], [1.0, ROUGHEST / 1.116]


def dry_after(demo: Demo, press: Press) -> Stop | None:
    """3/08 makes 9,000 strokes without cans after its last change of can size."""
    week = press.line.size_change_week
    if week is None or not demo.is_at(press, "3/08"):
        return None
    frm = demo.d0 - 30 * 7 * DAY
    stops = planned_stops(press.line, demo.first_day, frm, demo.d0 - 2 * DAY)
    return next((stop for stop in reversed(list(stops)) if "size-change" in stop.id), None)


def boot_name(at: int, number: int) -> str:
    """A boot's name: the minute of its start and a running number, never used twice."""
    return f"{from_micros(at):%Y%m%dT%H%M}-{number}"

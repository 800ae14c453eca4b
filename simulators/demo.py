"""Loading the demo plant: two years of reports and paperwork, straight into the store.

Each press is one transaction, so a start that was cut short goes on with the presses that lack.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from duestroke.counting.columns import ReadingColumns
from duestroke.times import to_micros
from simulators import paperwork
from simulators.plant import DAY, HISTORY_DAYS, MAX_SPM, ZONE, Press
from simulators.reports import Reports, arrivals, history
from simulators.stories import Demo
from simulators.truth import PressTruth
from simulators.works import Works, begin, loaded_to
from store.bulk import load_history
from store.bulk_ledger import add_inspections, add_tools
from store.presses import Settings
from store.strokes import StoredFlag
from store.unit import Unit, connect

LOADERS: Final = 2
_SETTLED_BEFORE: Final = timedelta(days=150)
"""Flags older than this the plant's engineer has settled; the younger ones are the stories'."""

Say = Callable[[str], None]


def load(database_url: str, data_dir: Path, now: datetime, say: Say) -> None:
    """Bring the database up to the demo's first day; what is there already stays as it is.

    data_dir: keeps seed and first day.  now: the first day of a demo that is begun now.
    say: takes one line of progress at a time.
    """
    demo = begin(data_dir, now)
    _plan(database_url, demo, now)
    works = Works(demo)
    truths = [
        truth
        for truth in works.truths(demo.d0 + DAY)
        if not _is_loaded(database_url, truth.press.name)
    ]
    if not truths:
        say(f"history: there since {demo.first_day:%Y-%m-%d %H:%M} UTC, nothing to load")
        return
    say(f"history: {HISTORY_DAYS} days of {len(truths)} presses, {_count(works)} tool lives")
    with ThreadPoolExecutor(LOADERS, "history") as pool:
        jobs = pool.map(lambda truth: load_press(database_url, truth), truths)
        for number, (press, reports) in enumerate(jobs, 1):
            say(f"history: {100 * number // len(truths):3d} %, {press}: {reports:,} reports")


def _count(works: Works) -> int:
    return sum(len(played.lives) for played in works.played)


def _is_loaded(database_url: str, press: str) -> bool:
    with connect(database_url) as conn, Unit(conn) as unit:
        return unit.presses.get(press) is not None


def _plan(database_url: str, demo: Demo, now: datetime) -> None:
    """Positions, and the planned stops of the past and of the eight weeks to come."""
    with connect(database_url) as conn, Unit(conn) as unit:
        for position in paperwork.positions(unit.positions.by_name()):
            unit.positions.put(position)
        held = {stop.id for stop in unit.stops.all()}
        for stop in paperwork.stops(demo, now, demo.begin):
            if stop.id not in held:
                unit.stops.add(stop)
        unit.commit()


def load_press(database_url: str, truth: PressTruth) -> tuple[str, int]:
    """One press with its reports, tools, events and looks; its name and number of reports."""
    demo, press = truth.demo, truth.press
    reports, _ = history(truth, loaded_to(demo))
    with connect(database_url) as conn, Unit(conn) as unit:
        unit.presses.register(press.name, settings(press))
        load_history(conn, press.name, columns(truth, reports))
        add_tools(conn, paperwork.tools(truth.played), by=paperwork.BY, at=demo.first_day)
        events = paperwork.events(demo, truth.played)
        unit.ledger.record(events, by=paperwork.BY, now=demo.first_day)
        looks = paperwork.inspections(demo, truth.played)
        add_inspections(conn, looks, by=paperwork.BY, now=demo.first_day)
        _settle_old_flags(unit, truth)
        unit.commit()
    return press.name, len(reports)


def settings(press: Press) -> Settings:
    """What the plant knows of a press when it registers it."""
    drive = press.line.drive
    rod = None if drive.rod_length_m is None else drive.rod_length_m * 1000
    return Settings(press.modulus, MAX_SPM, ZONE, drive.crank_radius_m * 1000, rod)


def columns(truth: PressTruth, reports: Reports) -> ReadingColumns:
    """Reports as the store takes them in bulk, with the time at which each came in."""
    return ReadingColumns(
        boots=list(reports.boots),
        boot=reports.boot,
        seq=reports.seq,
        at=reports.at,
        strokes=reports.strokes,
        peak_speed_mps=reports.peak_speed,
        peak_accel_mps2=reports.peak_accel,
        received_at=arrivals(truth, reports),
    )


def _settle_old_flags(unit: Unit, truth: PressTruth) -> None:
    """What the plant's engineer found out long ago, from the can count and the line's log."""
    until = truth.demo.first_day - _SETTLED_BEFORE
    for flag in unit.flags.page(press=truth.press.name, open_only=True):
        if flag.end < until:
            hidden = hidden_strokes(truth, flag)
            unit.flags.settle(
                flag.id,
                strokes=hidden,
                reason=_REASONS[flag.kinds[0]],
                by=paperwork.BY,
                at=flag.end + timedelta(days=1),
            )


_REASONS: Final = {
    "restart": "counter fell to zero; strokes before that by the can count",
    "reboot": "power dip; the counter kept its value and the press stood",
    "clock": "gateway clock was seven minutes fast and was put right; nothing hidden",
}


def hidden_strokes(truth: PressTruth, flag: StoredFlag) -> int:
    """Strokes that the press really made between a flag's two readings less those counted."""
    earlier, later = to_micros(flag.start), to_micros(flag.end)
    step = truth.clock
    if step is not None and step.start + step.ahead <= earlier < step.end + step.ahead:
        # The earlier reading still carries the fast clock's time; the later one never does.
        earlier -= step.ahead
    made = truth.strokes([earlier, later])
    return int(made[1] - made[0]) - flag.counted

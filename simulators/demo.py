"""Loading the demo plant: two years of reports and paperwork, straight into the store.

Each press is one transaction, so a start that was cut short goes on with the presses that lack.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

import numpy as np

from duestroke.counting.columns import ReadingColumns
from duestroke.messages.encode import encode_reading
from duestroke.messages.topics import report_topic
from duestroke.times import from_micros, to_micros
from simulators import paperwork, stories
from simulators.plant import DAY, HISTORY_DAYS, MAX_SPM, PRESSES, ZONE, Press
from simulators.reports import Reports, arrivals, history
from simulators.stories import Demo
from simulators.truth import PressTruth
from simulators.works import Works, begin, loaded_to
from store.bulk import load_history
from store.bulk_ledger import add_inspections, add_tools
from store.intake import Delivery, record_batch
from store.presses import Settings
from store.strokes import StoredFlag
from store.unit import Unit, connect

LOADERS: Final = 2
_SETTLED_BEFORE: Final = timedelta(days=150)
"""Flags older than this the plant's engineer has settled; the younger ones are the stories'."""

Say = Callable[[str], None]


def load(
    database_url: str,
    data_dir: Path,
    now: datetime,
    say: Say,
    presses: Sequence[Press] = PRESSES,
) -> None:
    """Bring the database up to the demo's first day; what is there already stays as it is.

    data_dir: keeps seed and first day.  now: the first day of a demo that is begun now.
    say: takes one line of progress at a time.
    """
    demo = begin(data_dir, now)
    _plan(database_url, demo, now)
    works = Works(demo, presses)
    truths = works.truths(demo.d0 + DAY)
    lacking = _lacking(database_url, truths)
    if not any(lacking):
        say(f"history: there since {demo.first_day:%Y-%m-%d %H:%M} UTC, nothing to load")
        return
    lives = sum(len(played.lives) for played in works.played)
    say(f"history: {HISTORY_DAYS} days of {len(truths)} presses, {lives:,} tool lives")
    _each(lambda truth: load_reports(database_url, truth), lacking[0], "reports", say)
    _analyse(database_url)
    _each(lambda truth: load_paperwork(database_url, truth), lacking[1], "tool events", say)
    _analyse(database_url)


def _each(
    job: Callable[[PressTruth], int], truths: Sequence[PressTruth], what: str, say: Say
) -> None:
    """One job for each press, two at a time, with a line for each that is done."""
    with ThreadPoolExecutor(LOADERS, "history") as pool:
        for number, (truth, count) in enumerate(
            zip(truths, pool.map(job, truths), strict=True), start=1
        ):
            percent = 100 * number // len(truths)
            say(f"history: {what} {percent:3d} %, {truth.press.name}: {count:,}")


def _lacking(
    database_url: str, truths: Sequence[PressTruth]
) -> tuple[list[PressTruth], list[PressTruth]]:
    """Presses whose reports are not there, and presses whose paperwork is not."""
    with connect(database_url) as conn, Unit(conn) as unit:
        return (
            [truth for truth in truths if unit.presses.get(truth.press.name) is None],
            [truth for truth in truths if not unit.ledger.page(1, press=truth.press.name)],
        )


def _analyse(database_url: str) -> None:
    """Fresh statistics after a bulk load: the planner would take a new press's rows for none."""
    with connect(database_url, autocommit=True) as conn:
        conn.execute("ANALYZE")


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


def load_reports(database_url: str, truth: PressTruth) -> int:
    """Register one press and load its reports; how many."""
    reports, _ = history(truth, loaded_to(truth.demo))
    with connect(database_url) as conn, Unit(conn) as unit:
        unit.presses.register(truth.press.name, settings(truth.press))
        count = load_history(conn, truth.press.name, columns(truth, reports))
        deliveries = repeats(truth, reports)
        record_batch(
            conn, deliveries, from_micros(stories.deaf(truth.demo).end) + timedelta(hours=1)
        )
        unit.commit()
    return count


def repeats(truth: PressTruth, reports: Reports) -> list[Delivery]:
    """Story 4: what line 2's gateway sends a second time after the deaf hours, 300 in all.

    They go the way of any report, and change nothing.
    """
    if truth.press.line.name != "2":
        return []
    deaf = stories.deaf(truth.demo)
    held = np.flatnonzero((reports.made_at >= deaf.start) & (reports.made_at < deaf.end))[::-1]
    share, rest = divmod(stories.DEAF_REPEATS, truth.press.line.presses)
    often = share + (truth.press.number <= rest)
    topic, came = report_topic(truth.press.name), from_micros(deaf.end)
    again = reports.take(held[:often]).readings()
    return [Delivery(topic, encode_reading(reading), came) for reading in again]


def load_paperwork(database_url: str, truth: PressTruth) -> int:
    """One press's tools, events, looks and settled flags; how many events."""
    first_day, played = truth.demo.first_day, truth.played
    events = paperwork.events(truth.demo, played)
    with connect(database_url) as conn, Unit(conn) as unit:
        _settle_old_flags(unit, truth)
        add_tools(conn, paperwork.tools(played), by=paperwork.BY, at=first_day)
        unit.ledger.record(events, by=paperwork.BY, now=first_day)
        looks = paperwork.inspections(truth.demo, played)
        add_inspections(conn, looks, by=paperwork.BY, now=first_day)
        unit.commit()
    return len(events)


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

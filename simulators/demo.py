"""Loading the demo plant: two years of reports and paperwork, straight into the store.

Each press is one transaction, so a start that was cut short goes on with the presses that lack.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from itertools import groupby
from pathlib import Path
from typing import Final

import numpy as np

from duestroke.counting.columns import ReadingColumns
from duestroke.ledger import ToolEvent
from duestroke.messages.encode import encode_reading
from duestroke.messages.topics import report_topic
from duestroke.times import from_micros, to_micros
from simulators import paperwork, stories
from simulators.plant import DAY, MAX_SPM, ZONE, Press
from simulators.records import Books, Record, books
from simulators.reports import Reports, arrivals, history
from simulators.stories import Demo
from simulators.truth import PressTruth
from simulators.works import Works, begin, loaded_to
from store.bulk import load_history
from store.bulk_ledger import add_inspections, add_tools
from store.dry import DryWindow
from store.entered import Entered, events_entered, inspections_entered
from store.inspections import Inspection
from store.intake import Delivery, record_batch
from store.presses import Settings
from store.shifts import SitePlan
from store.strokes import StoredFlag
from store.unit import Connection, Unit, connect

LOADERS: Final = 2
_SETTLED_BEFORE: Final = timedelta(days=150)
"""Flags older than this the plant's engineer has settled; the younger ones are the stories'."""

_ANSWERED_BEFORE: Final = timedelta(days=14)
_READ_AGAIN: Final = "read again at the next look; the same tool, the gauge was off"

Say = Callable[[str], None]


def load(
    database_url: str,
    data_dir: Path,
    now: datetime,
    say: Say,
    presses: Sequence[Press] | None = None,
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
    say(f"history: {demo.plant.days} days of {len(truths)} presses, {lives:,} tool lives")
    reports = [(one.press.name, partial(load_reports, database_url, one)) for one in lacking[0]]
    _each(reports, "reports", say)
    _analyse(database_url)
    desks = _desks(demo, lacking[1])
    papers = [(d.names, partial(load_paperwork, database_url, d.truths, d.book)) for d in desks]
    _each(papers, "tool events", say)
    _analyse(database_url)


@dataclass(frozen=True)
class _Desk:
    """Presses whose records are entered together, and these records."""

    truths: Sequence[PressTruth]
    book: Books

    @property
    def names(self) -> str:
        return " and ".join(truth.press.name for truth in self.truths)


def _desks(demo: Demo, truths: Sequence[PressTruth]) -> list[_Desk]:
    found = []
    for book in books(demo, [truth.played for truth in truths]):
        names = {played.press.name for played in book.plant}
        found.append(_Desk([truth for truth in truths if truth.press.name in names], book))
    return found


def _each(jobs: Sequence[tuple[str, Callable[[], int]]], what: str, say: Say) -> None:
    """One job after another, two at a time, with a line for each that is done."""
    with ThreadPoolExecutor(LOADERS, "history") as pool:
        counts = pool.map(lambda job: job[1](), jobs)
        for number, ((name, _), count) in enumerate(zip(jobs, counts, strict=True), start=1):
            percent = 100 * number // len(jobs)
            say(f"history: {what} {percent:3d} %, {name}: {count:,}")


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
    """Positions, shifts, and the planned stops of the past and of the eight weeks to come."""
    with connect(database_url) as conn, Unit(conn) as unit:
        for position in paperwork.positions(unit.positions.by_name()):
            unit.positions.put(position)
        held = {stop.id for stop in unit.stops.all()}
        for stop in paperwork.stops(demo, now, demo.begin):
            if stop.id not in held:
                unit.stops.add(stop)
        for site in {press.name.split("/")[0] for press in demo.plant.presses}:
            unit.shifts.put(SitePlan(site, paperwork.shift_plan(), demo.first_day, paperwork.BY))
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
    if not truth.demo.is_line(truth.press, "2"):
        return []
    deaf = stories.deaf(truth.demo)
    held = np.flatnonzero((reports.made_at >= deaf.start) & (reports.made_at < deaf.end))[::-1]
    share, rest = divmod(stories.DEAF_REPEATS, truth.press.line.presses)
    often = share + (truth.press.number <= rest)
    topic, came = report_topic(truth.press.name), from_micros(deaf.end)
    again = reports.take(held[:often]).readings()
    return [Delivery(topic, encode_reading(reading), came) for reading in again]


def load_paperwork(database_url: str, truths: Sequence[PressTruth], book: Books) -> int:
    """Tools, records as they were entered, and settled flags of some presses; how many events.

    What was entered by itself, such as a correction, is entered by itself here too, so that what it
    moves is on record as moved by it.
    """
    records = sorted(
        (record for truth in truths for record in book.records(truth.press.name)),
        key=lambda record: record.entered_at,
    )
    events = [record for record in records if isinstance(record.what, ToolEvent)]
    looks = [record for record in records if isinstance(record.what, Inspection)]
    with connect(database_url) as conn, Unit(conn) as unit:
        for truth in truths:
            _settle_old_flags(unit, truth)
            _mark_dry(unit, truth)
            given = paperwork.tools(truth.played)
            add_tools(conn, given, by=paperwork.BY, at=truth.demo.first_day)
        for part in _sittings(events):
            _record(unit, part)
        _inspect(conn, looks)
        for truth in truths:
            _answer_old_questions(unit, truth)
        unit.commit()
    return len(events)


def _sittings(events: Sequence[Record]) -> Iterator[list[Record]]:
    """Runs of records that are judged together: those entered apart are by themselves."""
    for _, part in groupby(events, key=lambda record: record.apart):
        yield list(part)


def _record(unit: Unit, records: Sequence[Record]) -> None:
    last = records[-1]
    events = [record.what for record in records if isinstance(record.what, ToolEvent)]
    unit.ledger.record(
        events,
        by=last.entered_by,
        now=from_micros(last.entered_at),
        is_taken_over=not last.apart,
    )
    events_entered(unit.conn, [_entered(record) for record in records])


def _inspect(conn: Connection, records: Sequence[Record]) -> None:
    looks = [record.what for record in records if isinstance(record.what, Inspection)]
    if not records:
        return
    last = max(record.entered_at for record in records)
    add_inspections(conn, looks, by=paperwork.BY, now=from_micros(last))
    inspections_entered(conn, [_entered(record) for record in records])


def _answer_old_questions(unit: Unit, truth: PressTruth) -> None:
    """What a reading asked more than two weeks ago the crew answered at the next look."""
    until = truth.demo.first_day - _ANSWERED_BEFORE
    for asked in unit.questions.page(None, press=truth.press.name, is_open=True):
        answered = asked.raised_at + timedelta(days=7)
        if asked.raised_at < until:
            by = paperwork.crew_at(to_micros(answered))
            unit.questions.close(asked.id, reason=_READ_AGAIN, by=by, at=answered)


def _entered(record: Record) -> Entered:
    return Entered(record.id, from_micros(record.entered_at), record.entered_by)


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


def _mark_dry(unit: Unit, truth: PressTruth) -> None:
    """The engineer marks the strokes that 3/08 made without cups after its change of can size."""
    if truth.dry is None:
        return
    start, end = (from_micros(edge) for edge in truth.dry)
    # It stood before: from a little earlier on the window holds no stroke but these.
    window = DryWindow(
        id=f"size-change-{start:%Y-%m-%d}",
        press=truth.press.name,
        starts_at=start - timedelta(minutes=15),
        ends_at=end,
        reason="set up after the change of can size, no cups",
        entered_at=end + timedelta(days=1),
        entered_by=paperwork.BY,
    )
    unit.dry_windows.add(window)


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

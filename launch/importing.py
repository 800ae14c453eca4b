"""`duestroke import`: a plant's spreadsheets taken in, all or nothing, every refused row named."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Final

from duestroke.adoption import SHEETS, Record, Refusal, read_table
from launch.spreadsheets import Found, NotRead, read_files, write_templates
from store.adoption import Adoption, Outcome
from store.unit import Unit, connect

Say = Callable[[str], None]
_KEYS: Final = {"presses": "press", "tools": "serial"}


def templates(folder: Path, say: Say) -> int:
    """Write spreadsheets to fill in; the exit code."""
    for file in write_templates(folder):
        say(f"{file}")
    return 0


def run(
    database_url: str, paths: Sequence[Path], *, now: datetime, is_dry: bool, by: str, say: Say
) -> int:
    """Take the files in; the exit code: 0 done, 1 refused, and then nothing has changed."""
    try:
        found = read_files(paths)
    except NotRead as fault:
        say(str(fault))
        return 1
    outcome = take_in(database_url, found, now=now, is_dry=is_dry, by=by, say=say)
    for refusal in outcome.refusals:
        say(str(refusal))
    for note in outcome.notes:
        say(f"look at: {note}")
    say(_summary(outcome, is_dry))
    return 1 if outcome.refusals else 0


def take_in(
    database_url: str, found: Sequence[Found], *, now: datetime, is_dry: bool, by: str, say: Say
) -> Outcome:
    """The sheets in one transaction, kept only where nothing is refused and it is no dry run."""
    records, refusals, held = _read(found, say)
    with connect(database_url) as conn, Unit(conn) as unit:
        adoption = Adoption(unit, by=by, now=now)
        adoption.hold(held)
        outcome = adoption.take_in(records, refusals)
        if not outcome.refusals and not is_dry:
            unit.commit()
    return outcome


def _read(found: Sequence[Found], say: Say) -> tuple[list[Record], list[Refusal], list[str]]:
    records: list[Record] = []
    refusals: list[Refusal] = []
    held: list[str] = []
    for one in found:
        sheet = SHEETS.get(one.name)
        if sheet is None:
            say(f"{one.file}: passed over {one.name!r}, which is none of {', '.join(SHEETS)}")
            continue
        table = read_table(sheet, one.rows)
        if table.ignored:
            say(f"{one.file}: {one.name} has columns of no use here: {', '.join(table.ignored)}")
        records += table.records
        refusals += table.refusals
        held += table.held(_KEYS[one.name]) if one.name in _KEYS else []
    return records, refusals, held


def _summary(outcome: Outcome, is_dry: bool) -> str:
    if outcome.refusals:
        rows = len({(one.sheet, one.row) for one in outcome.refusals})
        return f"{rows} rows refused; nothing has changed"
    names = [name for name in SHEETS if outcome.made[name] or outcome.known[name]]
    parts = [f"{name} {outcome.made[name]} new, {outcome.known[name]} known" for name in names]
    said = "; ".join(parts) or "nothing to take in"
    return f"{said}; a dry run, nothing has changed" if is_dry else said

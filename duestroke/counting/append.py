"""The short road of counting: readings that come after all that is known of a press."""

from __future__ import annotations

from collections.abc import Sequence

from duestroke.counting.batch import rule_for
from duestroke.counting.effects import NEVER, PairEffect
from duestroke.counting.judge import judge_between, judge_within
from duestroke.counting.record import Boot, Changes, Placed, Record, Span
from duestroke.counting.types import Judgement, Reading, Rule


def comes_after(record: Record, boots: Sequence[Sequence[Reading]]) -> bool:
    """Whether readings, grouped by boot in counting order, all follow the record's last one.

    A boot name that is neither the record's last nor in `boots` for the first time must be known
    to the caller as new: a name that was used before is never "after".
    """
    last = record.last_boot
    name, order = (last.name, last.order) if last is not None else ("", (NEVER, ""))
    for boot in boots:
        head = boot[0]
        if last is not None and head.boot == last.name == name:
            if head.seq <= last.last.reading.seq:
                return False
        elif head.boot in record.boots or (head.at, head.boot) <= order:
            return False
        else:
            name, order = head.boot, (head.at, head.boot)
    return True


def append(record: Record, boots: Sequence[Sequence[Reading]]) -> Changes:
    """Count readings of which `comes_after` holds; moves the record on and says what changed."""
    changes = Changes()
    for boot in boots:
        known = record.boots.get(boot[0].boot)
        if known is None:
            _begin(record, boot[0], changes)
            rest = boot[1:]
        else:
            rest = boot
        _go_on(record, rest, changes)
    return changes


def _begin(record: Record, reading: Reading, changes: Changes) -> None:
    """A new boot's first reading: the boundary to the last one, or the zero of the record."""
    last = record.last_boot
    placed = Placed(reading, reading.strokes)
    if last is None:
        judged, prev_at = Judgement((), 0, 0), None
        span = Span(reading.boot, reading.seq, reading.at, reading.at, reading.strokes)
    else:
        before, prev_at = last.last, last.last.reading.at
        rule = rule_for(record.rules, reading.at)
        judged = judge_between(before.reading, reading, rule, record.latest_at)
        span = _broken(record, before, placed, reading.at, judged)
    record.boots[reading.boot] = Boot(reading.boot, placed, placed, reading.at, 1)
    record.spans.append(span)
    record.readings += 1
    changes.spans[span.start] = span
    _keep(record, placed, prev_at, judged.counted, 0, changes)


def _go_on(record: Record, readings: Sequence[Reading], changes: Changes) -> None:
    if not readings:
        return
    boot = record.boots[readings[0].boot]
    rule = rule_for(record.rules, boot.first.reading.at)
    last, latest = boot.last, boot.latest_at
    for reading in readings:
        judged = judge_within(last.reading, reading, rule)
        placed = Placed(reading, last.unwrapped + ahead(last.reading, reading, rule))
        if judged.kinds:
            span = _broken(record, last, placed, boot.first.reading.at, judged)
            record.spans.append(span)
            changes.spans[span.start] = span
        gap = reading.seq - last.reading.seq - 1
        _keep(record, placed, last.reading.at, judged.counted, gap, changes)
        last, latest = placed, max(latest, reading.at)
    record.boots[boot.name] = boot._replace(
        last=last, latest_at=latest, readings=boot.readings + len(readings)
    )
    record.readings += len(readings)


def ahead(earlier: Reading, later: Reading, rule: Rule) -> int:
    """Strokes from one reading to the next by the counter alone, modulo its turn."""
    return (later.strokes - earlier.strokes) % rule.modulus


def _broken(
    record: Record, before: Placed, placed: Placed, boot_at: int, judged: Judgement
) -> Span:
    return Span(
        boot=placed.reading.boot,
        start_seq=placed.reading.seq,
        boot_at=boot_at,
        start_at=placed.reading.at,
        start_unwrapped=placed.unwrapped,
        total=record.total + judged.counted,
        latest_before=record.latest_at,
        prev=before.identity,
        prev_at=before.reading.at,
        prev_unwrapped=before.unwrapped,
        kinds=judged.kinds,
        counted=judged.counted,
        hidden_at_most=judged.hidden_at_most,
    )


def _keep(
    record: Record, placed: Placed, prev_at: int | None, counted: int, gap: int, changes: Changes
) -> None:
    reading = placed.reading
    changes.placed.append(placed)
    changes.boots.add(reading.boot)
    pair = PairEffect(
        prev_at,
        reading.at,
        record.latest_at if prev_at is not None else NEVER,
        counted,
        0,
        gap,
        reading.peak_speed_mps,
        reading.peak_accel_mps2,
    )
    changes.swap(None, pair)
    record.total += counted
    record.missing += gap
    record.latest_at = max(record.latest_at, reading.at)

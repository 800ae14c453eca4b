"""The long road of counting: late readings, moved boots, settled flags, changed rules.

A late reading re-judges its own neighbours and the boundaries between boots; of the spans it
rewrites what changed, and takes out of the rollups and puts into them just the pairs that moved.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from duestroke.counting.append import ahead
from duestroke.counting.batch import Identity, Rules, rule_for
from duestroke.counting.chain import Heads, chained, moved_pairs
from duestroke.counting.judge import judge_between, judge_within
from duestroke.counting.record import Boot, Changes, Placed, Readings, Record, Span
from duestroke.counting.types import Judgement, Reading, Rule

_PLAIN = Judgement((), 0, 0)


def insert(record: Record, fresh: Sequence[Reading], stored: Readings) -> Changes:
    """Take readings of new identities into a whole record, wherever they belong.

    Moves the record on and returns what changed. A boot whose beginning moves across a change of
    rule is judged anew from its readings.
    """
    if not record.whole:
        raise ValueError("a late reading needs the whole record of its press")
    runs = _runs(fresh, stored)
    new_boots = _grown(record.boots, runs)
    moved_rule = any(
        rule_for(record.rules, boot.first.reading.at)
        != rule_for(record.rules, new_boots[name].first.reading.at)
        for name, boot in record.boots.items()
    )
    if moved_rule:
        return recount(record, stored, fresh=fresh)
    placed: dict[Identity, Placed] = {}
    breaks = {span.start: span for span in record.spans}
    heads: dict[Identity, tuple[Placed | None, Placed]] = {}
    for run in runs:
        rule = rule_for(record.rules, new_boots[run.boot].first.reading.at)
        chain = _placed(run, rule)
        placed.update((item.identity, item) for item in chain if item.identity in run.names)
        for earlier, later in pairwise(chain):
            _judge_pair(breaks, earlier, later, new_boots[run.boot], rule)
            heads[later.identity] = (run.before, earlier)
    new_boots = _grown(record.boots, runs, placed)
    return _settle_down(record, new_boots, breaks, placed, heads, stored)


def recount(
    record: Record,
    stored: Readings,
    *,
    rules: Rules | None = None,
    fresh: Sequence[Reading] = (),
) -> Changes:
    """Judge a press's whole record anew, under other rules or with readings that move its boots.

    Stored unwrapped values stay as they are; where they no longer fit what is counted, a break
    says so. Moves the record on and returns what changed.
    """
    old_readings = stored.everything()
    if rules is not None:
        record.rules = rules
    by_boot: dict[str, list[Placed]] = {}
    for item in old_readings:
        by_boot.setdefault(item.reading.boot, []).append(item)
    for reading in fresh:
        by_boot.setdefault(reading.boot, []).append(Placed(reading, reading.strokes))
    placed = {(reading.boot, reading.seq): Placed(reading, reading.strokes) for reading in fresh}
    boots: dict[str, Boot] = {}
    kept = {span.start: span for span in record.spans}
    breaks: dict[Identity, Span] = {}
    heads: dict[Identity, tuple[Placed | None, Placed]] = {}
    for name, items in by_boot.items():
        items.sort(key=lambda item: item.reading.seq)
        latest = max(item.reading.at for item in items)
        known = record.boots.get(name)
        # A thinned boot has lost readings that still count as received.
        gone = known.readings - sum(i.identity not in placed for i in items) if known else 0
        boots[name] = Boot(name, items[0], items[-1], latest, len(items) + gone)
        rule = rule_for(record.rules, items[0].reading.at)
        was: Placed | None = None
        for earlier, later in pairwise(items):
            if later.reading.at > record.thinned_to:
                _judge_pair(breaks, earlier, later, boots[name], rule)
            elif (stands := kept.get(later.identity)) is not None:
                breaks[later.identity] = stands
            was = was if earlier.identity in placed else earlier
            heads[later.identity] = (was, earlier)
    return _settle_down(record, boots, breaks, placed, heads, stored)


def settle(record: Record, stored: Readings) -> Changes:
    """Apply the record's settlements as they now stand; moves the record on."""
    breaks = {span.start: span for span in record.spans}
    return _settle_down(record, dict(record.boots), breaks, {}, {}, stored)


class _Run:
    """New readings of one boot with the same stored neighbours."""

    def __init__(self, before: Placed | None, after: Placed | None) -> None:
        self.before, self.after = before, after
        self.readings: list[Reading] = []

    @property
    def boot(self) -> str:
        return self.readings[0].boot

    @property
    def names(self) -> set[Identity]:
        return {(reading.boot, reading.seq) for reading in self.readings}


def _runs(fresh: Sequence[Reading], stored: Readings) -> list[_Run]:
    ordered = sorted(fresh, key=lambda reading: (reading.boot, reading.seq))
    near = stored.around([(reading.boot, reading.seq) for reading in ordered])
    runs: list[_Run] = []
    for reading in ordered:
        before, after = near[reading.boot, reading.seq]
        run = runs[-1] if runs else None
        same = (
            run is not None
            and run.boot == reading.boot
            and _name(run.before) == _name(before)
            and _name(run.after) == _name(after)
        )
        if not same or run is None:
            run = _Run(before, after)
            runs.append(run)
        run.readings.append(reading)
    return runs


def _name(item: Placed | None) -> Identity | None:
    return None if item is None else item.identity


def _placed(run: _Run, rule: Rule) -> list[Placed]:
    """The run with its stored neighbours, unwrapped from the one before or the one after."""
    chain: list[Placed] = []
    if run.before is None and run.after is not None:
        following, value = run.after.reading, run.after.unwrapped
        for reading in reversed(run.readings):
            value -= ahead(reading, following, rule)
            chain.append(Placed(reading, value))
            following = reading
        chain.reverse()
    else:
        last = run.before
        for reading in run.readings:
            value = reading.strokes
            if last is not None:
                value = last.unwrapped + ahead(last.reading, reading, rule)
            last = Placed(reading, value)
            chain.append(last)
    ends = [run.before] if run.before is not None else []
    return ends + chain + ([run.after] if run.after is not None else [])


def _grown(
    boots: dict[str, Boot], runs: Iterable[_Run], placed: dict[Identity, Placed] | None = None
) -> dict[str, Boot]:
    """The boots with the runs in; without `placed` only their ends in seq and time are right."""
    out = dict(boots)
    for run in runs:
        items = [
            (placed or {}).get((reading.boot, reading.seq), Placed(reading, reading.strokes))
            for reading in run.readings
        ]
        latest = max(reading.at for reading in run.readings)
        known = out.get(run.boot)
        if known is None:
            out[run.boot] = Boot(run.boot, items[0], items[-1], latest, len(items))
            continue
        out[run.boot] = Boot(
            run.boot,
            min(known.first, items[0], key=lambda item: item.reading.seq),
            max(known.last, items[-1], key=lambda item: item.reading.seq),
            max(known.latest_at, latest),
            known.readings + len(items),
        )
    return out


def _judge_pair(
    breaks: dict[Identity, Span], earlier: Placed, later: Placed, boot: Boot, rule: Rule
) -> None:
    """Set or clear the break between two neighbours of a boot."""
    judged = judge_within(earlier.reading, later.reading, rule)
    if judged.kinds or later.unwrapped - earlier.unwrapped != judged.counted:
        breaks[later.identity] = _break(earlier, later, boot, judged)
    else:
        breaks.pop(later.identity, None)


def _break(earlier: Placed | None, later: Placed, boot: Boot, judged: Judgement) -> Span:
    return Span(
        boot=boot.name,
        start_seq=later.reading.seq,
        boot_at=boot.first.reading.at,
        start_at=later.reading.at,
        start_unwrapped=later.unwrapped,
        prev=None if earlier is None else earlier.identity,
        prev_at=None if earlier is None else earlier.reading.at,
        prev_unwrapped=None if earlier is None else earlier.unwrapped,
        kinds=judged.kinds,
        counted=judged.counted,
        hidden_at_most=judged.hidden_at_most,
    )


def _boundaries(boots: dict[str, Boot], rules: Rules, breaks: dict[Identity, Span]) -> None:
    """Judge the first reading of every boot against the last of the boot before it."""
    last: Boot | None = None
    latest = 0
    for boot in sorted(boots.values(), key=lambda boot: boot.order):
        judged = _PLAIN
        if last is not None:
            rule = rule_for(rules, boot.first.reading.at)
            judged = judge_between(last.last.reading, boot.first.reading, rule, latest)
        breaks[boot.first.identity] = _break(
            last.last if last is not None else None, boot.first, boot, judged
        )
        latest = boot.latest_at if last is None else max(latest, boot.latest_at)
        last = boot


def _settle_down(
    record: Record,
    boots: dict[str, Boot],
    breaks: dict[Identity, Span],
    placed: dict[Identity, Placed],
    heads: Heads,
    stored: Readings,
) -> Changes:
    """Chain the spans, see what differs from before, and move the record on."""
    _boundaries(boots, record.rules, breaks)
    spans = chained(breaks.values(), boots, record.settlements)
    changes = Changes(placed=sorted(placed.values(), key=lambda item: item.identity))
    changes.boots = {name for name, boot in boots.items() if record.boots.get(name) != boot}
    before = {span.start: span for span in record.spans}
    after = {span.start: span for span in spans}
    changes.spans = {start: span for start, span in after.items() if before.get(start) != span}
    changes.gone_spans = before.keys() - after.keys()
    moved_pairs(record, spans, placed, heads, stored, changes)
    record.boots, record.spans = boots, spans
    last = record.last_boot
    if last is not None and spans:
        record.total = spans[-1].total + last.last.unwrapped - spans[-1].start_unwrapped
    record.latest_at = max(boot.latest_at for boot in boots.values())
    record.readings = sum(boot.readings for boot in boots.values())
    record.missing = sum(boot.missing for boot in boots.values())
    return changes

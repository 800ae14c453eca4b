"""Spans in a chain, and the pairs of neighbours that differ between two chains."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise

from duestroke.counting.batch import Identity, Settlements
from duestroke.counting.effects import NEVER, PairEffect
from duestroke.counting.record import Boot, Changes, Placed, Readings, Record, Span

Heads = Mapping[Identity, tuple[Placed | None, Placed]]
"""Predecessors in the boot, old and new, of readings that were judged anew."""


def chained(
    breaks: Iterable[Span], boots: Mapping[str, Boot], settlements: Settlements
) -> list[Span]:
    """The spans in counting order, each with its total and the latest `at` before it."""
    placed = [span._replace(boot_at=boots[span.boot].first.reading.at) for span in breaks]
    placed.sort(key=lambda span: span.order)
    out: list[Span] = []
    for span in placed:
        settled = _settled(span, settlements)
        if not out:
            out.append(span._replace(total=0, latest_before=NEVER, settled=0))
            continue
        last = out[-1]
        end_at, end_value = _end(last, span, boots)
        out.append(
            span._replace(
                total=last.total + end_value - last.start_unwrapped + span.counted + settled,
                latest_before=max(last.latest_before, end_at),
                settled=settled,
            )
        )
    return out


def _end(span: Span, following: Span, boots: Mapping[str, Boot]) -> tuple[int, int]:
    """Time and unwrapped value of a span's last reading; time never goes back inside it."""
    if following.boot == span.boot:
        if following.prev_at is None or following.prev_unwrapped is None:
            raise ValueError(f"a break inside a boot without its earlier reading: {following}")
        return following.prev_at, following.prev_unwrapped
    last = boots[span.boot].last
    return last.reading.at, last.unwrapped


def _settled(span: Span, settlements: Settlements) -> int:
    if span.prev is None or not span.kinds:
        return 0
    found = settlements.get((span.prev, span.start))
    return found.strokes if found is not None and found.counted == span.counted else 0


class _Chain:
    """A chain of spans, asked for the pair that ends at a reading."""

    def __init__(self, spans: Iterable[Span]) -> None:
        self.starts = {span.start: span for span in spans}
        self.by_boot: dict[str, list[Span]] = {}
        for span in self.starts.values():
            self.by_boot.setdefault(span.boot, []).append(span)
        self.seqs = {
            name: [span.start_seq for span in spans] for name, spans in self.by_boot.items()
        }

    def covering(self, boot: str, seq: int) -> Span | None:
        """The span of a boot that holds a sequence number."""
        index = bisect_right(self.seqs.get(boot, []), seq) - 1
        return self.by_boot[boot][index] if index >= 0 else None

    def pair(self, later: Placed, earlier: Placed | None) -> PairEffect:
        """The effect of `later`; `earlier` is asked only where no span starts at `later`."""
        reading = later.reading
        span = self.starts.get(later.identity)
        if span is not None:
            inside = span.prev is not None and span.prev[0] == span.boot
            gap = reading.seq - span.prev[1] - 1 if inside and span.prev is not None else 0
            head = (span.prev_at, reading.at, span.latest_before, span.counted, span.settled, gap)
        else:
            holder = self.covering(reading.boot, reading.seq)
            if earlier is None or holder is None:
                raise ValueError(f"no predecessor known for {later.identity}")
            latest = max(holder.latest_before, earlier.reading.at)
            counted = later.unwrapped - earlier.unwrapped
            gap = reading.seq - earlier.reading.seq - 1
            head = (earlier.reading.at, reading.at, latest, counted, 0, gap)
        return PairEffect(*head, reading.peak_speed_mps, reading.peak_accel_mps2)


def moved_pairs(
    record: Record,
    spans: Sequence[Span],
    placed: Mapping[Identity, Placed],
    heads: Heads,
    stored: Readings,
    changes: Changes,
) -> None:
    """Swap in `changes` every pair that differs between the record's chain and the new one."""
    old, new = _Chain(record.spans), _Chain(spans)
    for item in placed.values():
        changes.swap(None, new.pair(item, heads.get(item.identity, (None, None))[1]))
    known = (heads.keys() | _reopened(old, new)) - placed.keys()
    for identity, item in stored.get(known).items():
        before, after = heads.get(identity, (None, None))
        changes.swap(old.pair(item, before), new.pair(item, after))
    for earlier, later in _shifted(old, new, stored):
        if later.identity not in known:
            changes.swap(old.pair(later, earlier), new.pair(later, earlier))


def _reopened(old: _Chain, new: _Chain) -> set[Identity]:
    """Starts of spans that stand in both chains with another judgement or another time before."""
    return {
        start
        for start in old.starts.keys() & new.starts.keys()
        if _judgement(old.starts[start]) != _judgement(new.starts[start])
    }


def _judgement(span: Span) -> tuple[object, ...]:
    return span.prev, span.latest_before, span.counted, span.settled


def _shifted(old: _Chain, new: _Chain, stored: Readings) -> Iterable[tuple[Placed, Placed]]:
    """Pairs inside spans whose time before has changed, as far as that reaches into the span."""
    for boot in old.by_boot:
        starts = sorted({*old.seqs[boot], *new.seqs.get(boot, [])})
        for first, end in zip(starts, [*starts[1:], 2**63 - 1], strict=True):
            was, now = old.covering(boot, first), new.covering(boot, first)
            if was is None or now is None or was.latest_before == now.latest_before:
                continue
            below = max(was.latest_before, now.latest_before)
            yield from pairwise(stored.stretch(boot, first, end - 1, below))

"""The incremental twin in memory: the same steps as the store's, over lists."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence

from duestroke.counting.append import append, comes_after
from duestroke.counting.batch import Identity, Rules, Settlement, in_boots
from duestroke.counting.effects import Rollup, hour_bounds
from duestroke.counting.insert import insert, recount, settle
from duestroke.counting.record import Around, Changes, Placed, Record
from duestroke.counting.types import Flag, Reading


class MemoryReadings:
    """Stored readings of one press, by boot and seq."""

    def __init__(self) -> None:
        self.boots: dict[str, dict[int, Placed]] = {}

    def keep(self, placed: Iterable[Placed]) -> None:
        """Store readings of new identities."""
        for item in placed:
            self.boots.setdefault(item.reading.boot, {})[item.reading.seq] = item

    def find(self, identity: Identity) -> Placed | None:
        """One reading, or None."""
        return self.boots.get(identity[0], {}).get(identity[1])

    def around(self, identities: Sequence[Identity]) -> Around:
        out: dict[Identity, tuple[Placed | None, Placed | None]] = {}
        for boot, seq in identities:
            held = self.boots.get(boot, {})
            seqs = sorted(held)
            index = bisect_left(seqs, seq)
            before = held[seqs[index - 1]] if index > 0 else None
            after = held[seqs[index]] if index < len(seqs) else None
            out[boot, seq] = (before, after)
        return out

    def get(self, identities: Iterable[Identity]) -> dict[Identity, Placed]:
        return {name: self.boots[name[0]][name[1]] for name in identities}

    def stretch(self, boot: str, first_seq: int, last_seq: int, below: int) -> list[Placed]:
        out: list[Placed] = []
        for seq in sorted(self.boots[boot]):
            if first_seq <= seq <= last_seq:
                out.append(self.boots[boot][seq])
                if out[-1].reading.at >= below:
                    break
        return out

    def everything(self) -> list[Placed]:
        return [item for held in self.boots.values() for item in held.values()]


class MemoryPress:
    """One press's record, fed batch by batch. What the store does, without a database."""

    def __init__(self, rules: Rules) -> None:
        self.record = Record(rules)
        self.stored = MemoryReadings()
        self.hours = Rollup(hour_bounds)
        self.conflicts: list[Reading] = []
        self.appended = 0
        self.settlements: dict[tuple[Identity, Identity], Settlement] = {}
        self.record.settlements = self.settlements

    def take(self, batch: Iterable[Reading]) -> Changes:
        """Take a batch: repeats have no effect, other content of an identity is set aside."""
        fresh: dict[Identity, Reading] = {}
        for reading in batch:
            identity = (reading.boot, reading.seq)
            stored = self.stored.find(identity)
            known = stored.reading if stored is not None else fresh.get(identity)
            if known is None:
                fresh[identity] = reading
            elif known != reading:
                self.conflicts.append(reading)
        if not fresh:
            return Changes()
        boots = in_boots(fresh.values())
        if comes_after(self.record, boots):
            self.appended += 1
            return self._keep(append(self.record, boots))
        return self._keep(insert(self.record, list(fresh.values()), self.stored))

    def settle(self, flag: Flag, strokes: int) -> Changes:
        """Settle a flag, as an engineer does."""
        self.settlements[flag.earlier, flag.later] = Settlement(flag.counted, strokes)
        return self._keep(settle(self.record, self.stored))

    def change_rules(self, rules: Rules) -> Changes:
        """Count everything anew under other rules."""
        return self._keep(recount(self.record, self.stored, rules=rules))

    @property
    def flags(self) -> list[Flag]:
        """Open and settled flags in counting order."""
        return [
            Flag(
                span.prev,
                span.start,
                span.prev_at,
                span.start_at,
                span.kinds,
                span.counted,
                span.hidden_at_most,
            )
            for span in self.record.spans
            if span.kinds and span.prev is not None and span.prev_at is not None
        ]

    def _keep(self, changes: Changes) -> Changes:
        self.stored.keep(changes.placed)
        for pair, sign in changes.effects:
            self.hours.add(pair, sign)
        return changes

"""What the plant says about its positions: kinds, handbook lives, limits, sizes, intervals."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow

from duestroke.errors import Contradiction
from duestroke.names import DEFAULT_SPREAD, in_scope
from duestroke.times import format_time
from store import wake
from store.questions import PgQuestions
from store.sql import named_queries

SQL: Final = named_queries("positions.sql")


@dataclass(frozen=True, slots=True)
class ScopedSize:
    """Size and tolerance of a position in one site, line or press, mm."""

    scope: str
    size_mm: float | None
    size_tolerance_mm: float | None


@dataclass(frozen=True, slots=True)
class Position:
    """One position in every press.

    sort_order: from cup to dome.  handbook_life: strokes, the median life, None: no figure.
    handbook_spread: standard deviation of log life.  handbook_own: the plant's own figure, not our
    default.  wear_limit: change of `quantity` since fit or rework at which the tool comes out, in
    `unit`; the sign is its direction.  size_mm, size_tolerance_mm: for the whole plant; `sizes`
    where a line or press differs.  interval_strokes, interval_days: fixed interval kept, or None.
    """

    position: str
    kind: str
    sort_order: int
    handbook_life: float | None = None
    handbook_spread: float = DEFAULT_SPREAD
    handbook_own: bool = False
    quantity: str | None = None
    unit: str | None = None
    wear_limit: float | None = None
    size_mm: float | None = None
    size_tolerance_mm: float | None = None
    interval_strokes: int | None = None
    interval_days: float | None = None
    sizes: tuple[ScopedSize, ...] = ()

    def size_for(self, press: str) -> ScopedSize:
        """Size and tolerance that hold in a press: the narrowest scope that covers it."""
        best = ScopedSize("", self.size_mm, self.size_tolerance_mm)
        for size in self.sizes:
            if in_scope(press, size.scope) and len(size.scope) > len(best.scope):
                best = size
        return best

    def asks_for_size(self) -> bool:
        """Whether a tool needs a size to serve here, in some press at least."""
        return self.size_mm is not None or any(size.size_mm is not None for size in self.sizes)


class PgPositions:
    """Positions. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def all(self) -> list[Position]:
        """All positions, from cup to dome."""
        return [_position(row) for row in self._conn.execute(SQL["all"]).fetchall()]

    def by_name(self) -> dict[str, Position]:
        """All positions by name."""
        return {position.position: position for position in self.all()}

    def put(self, position: Position) -> bool:
        """Set a position as given, but for its scoped sizes; True when it is new.

        Raises Contradiction when its kind changes although a tool was fitted there.
        """
        wake.lock_ledger(self._conn)
        known = self.by_name().get(position.position)
        if known is not None and known.kind != position.kind:
            self._check_unused(known)
        self._conn.execute(SQL["put"], asdict(position))
        if known is not None and _wear(known) != _wear(position):
            PgQuestions(self._conn).refresh_position(position.position)
        wake.wake(self._conn, {"ledger": []})
        return known is None

    def put_size(self, position: str, size: ScopedSize) -> bool:
        """Set the size of a known position in one scope; True when that scope had none."""
        known = self.by_name()[position]
        self._conn.execute(SQL["put_size"], {"position": position, **asdict(size)})
        wake.wake(self._conn, {"ledger": []})
        return all(other.scope != size.scope for other in known.sizes)

    def _check_unused(self, known: Position) -> None:
        row = self._conn.execute(SQL["first_fit"], {"position": known.position}).fetchone()
        if row is not None:
            raise Contradiction(
                f"{known.position} takes the kind {known.kind} since {row['serial']} was fitted "
                f"there at {format_time(row['fitted_at'])}; make a new position for another kind",
                field="kind",
            )


def _wear(position: Position) -> tuple[str | None, str | None, float | None]:
    return (position.quantity, position.unit, position.wear_limit)


def _position(row: Mapping[str, Any]) -> Position:
    sizes = tuple(ScopedSize(**size) for size in row["sizes"])
    return replace(Position(**{**row, "sizes": ()}), sizes=sizes)

"""Forecasts and fitted life models as kept: what stands now, and everything ever said."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

import psycopg
from psycopg.types.json import Jsonb

from duestroke.forecast import STATES, Chance, Forecast, Interval
from duestroke.forecast.dates import LEVELS
from duestroke.forecast.digest import canonical
from duestroke.times import parse_time
from store.sql import named_queries

SQL: Final = named_queries("forecasts.sql")

AT_LEAST_EVERY: Final = timedelta(days=1)
"""A forecast goes on record at least so often, and whenever its tool or state changes."""

_MEDIAN: Final = LEVELS.tolist().index(0.5)

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class LifeModel:
    """A fitted life model: settings, family weights and parameters in `content`.

    answer: as `GET /life-models` gives it; None for one that does not stand any more.
    chunks: digests of the lives that it was fitted to, see `lives_of`.
    """

    kind: str
    position: str
    digest: str
    made_at: datetime
    model_version: str
    content: Mapping[str, Any]
    answer: Mapping[str, Any] | None
    chunks: tuple[str, ...] = ()


class PgForecasts:
    """Repository of forecasts. The caller owns the transaction; rows come as dicts."""

    def __init__(self, conn: psycopg.Connection[Row]) -> None:
        self._conn = conn

    def append(
        self,
        presses: Sequence[str],
        forecasts: Sequence[Forecast],
        at_least_every: timedelta = AT_LEAST_EVERY,
    ) -> int:
        """Replace what stands for these presses by `forecasts`; returns how many went on record.

        A place of these presses without a forecast loses the one that stood.
        """
        names = list(presses)
        self._conn.execute(
            SQL["clear_now"],
            {
                "presses": names,
                "kept_presses": [each.press for each in forecasts],
                "kept_positions": [each.position for each in forecasts],
            },
        )
        ids = self._press_ids(names)
        with self._conn.cursor() as cursor:
            cursor.executemany(SQL["put_now"], [_to_row(each, ids) for each in forecasts])
        every = {"presses": names, "at_least_every": at_least_every}
        return self._conn.execute(SQL["append"], every).rowcount

    def current(
        self,
        press: str | None = None,
        position: str | None = None,
        limit: int = 1000,
        after: tuple[str, str] | None = None,
    ) -> list[Forecast]:
        """What stands, by press and position. after: last (press, position) of the page before."""
        after_press, after_position = after or (None, None)
        rows = self._conn.execute(
            SQL["current"],
            {
                "press": press,
                "position": position,
                "limit": limit,
                "after_press": after_press,
                "after_position": after_position,
            },
        )
        return [_from_row(row) for row in rows]

    def history(
        self,
        press: str | None = None,
        position: str | None = None,
        serial: str | None = None,
        limit: int = 1000,
        after: int = 0,
    ) -> list[tuple[int, Forecast]]:
        """Forecasts on record with their numbers, oldest first, numbers above `after` only."""
        asked = {"press": press, "position": position, "serial": serial}
        rows = self._conn.execute(SQL["history"], {**asked, "limit": limit, "after": after})
        return [(row["id"], _from_row(row)) for row in rows]

    def worst(self, press: str) -> Forecast | None:
        """The forecast of a press's worst tool, of equal ones the one due first."""
        return self.worst_of([press]).get(press)

    def worst_of(self, presses: Sequence[str]) -> dict[str, Forecast]:
        """`worst` of many presses at once; those without a forecast are left out."""
        return self._by_press("worst", presses)

    def next_due_of(self, presses: Sequence[str]) -> dict[str, Forecast]:
        """For each press the forecast with the earliest median due time."""
        return self._by_press("next_due", presses)

    def save_model(self, model: LifeModel) -> None:
        """Keep a fitted model; it stands for its kind and position from now on."""
        row = {
            "digest": model.digest,
            "kind": model.kind,
            "position": model.position,
            "made_at": model.made_at,
            "model_version": model.model_version,
            "content": Jsonb(model.content),
            "answer": Jsonb(model.answer or {}),
            "chunks": list(model.chunks),
        }
        self._conn.execute(SQL["save_model"], row)
        self._conn.execute(SQL["save_model_now"], row)

    def models(self, kind: str | None = None, position: str | None = None) -> list[LifeModel]:
        """Models that stand, by kind and position."""
        rows = self._conn.execute(SQL["models"], {"kind": kind, "position": position})
        return [_model_from(row) for row in rows]

    def model(self, kind: str, position: str) -> LifeModel | None:
        """The model that stands for a kind at a position."""
        return next(iter(self.models(kind, position)), None)

    def model_of(self, digest: str) -> LifeModel | None:
        """A model by its digest, whether it still stands or not."""
        return self._model({"digest": digest, "kind": None, "position": None})

    def model_named(self, fit: str) -> LifeModel | None:
        """A model by the reference that forecasts give: kind, position, begin of its digest."""
        kind, _, rest = fit.partition("/")
        position, _, digest = rest.partition("/")
        return self._model({"digest": digest, "kind": kind, "position": position})

    def _model(self, asked: Mapping[str, str | None]) -> LifeModel | None:
        row = self._conn.execute(SQL["model_of"], asked).fetchone()
        return None if row is None else _model_from(row)

    def keep_lives(self, chunks: Mapping[str, bytes]) -> None:
        """Keep lives that a model was fitted to, by their digests; what is there stays."""
        asked = {"digests": list(chunks)}
        known = {row["digest"] for row in self._conn.execute(SQL["known_chunks"], asked)}
        fresh = [
            {"digest": digest, "lives": zlib.compress(lives)}
            for digest, lives in chunks.items()
            if digest not in known
        ]
        if fresh:
            self._conn.cursor().executemany(SQL["keep_chunk"], fresh)

    def lives_of(self, model: LifeModel) -> list[bytes]:
        """The lives that a model was fitted to, in the chunks in which they were kept."""
        rows = self._conn.execute(SQL["chunks"], {"digests": list(model.chunks)}).fetchall()
        return [zlib.decompress(row["lives"]) for row in rows]

    def keep_calendar(self, version: str, stops: Sequence[Any]) -> None:
        """Keep the planned stops that a calendar version stands for, as plain content."""
        self._conn.execute(SQL["keep_calendar"], {"version": version, "stops": _json(stops)})

    def calendar(self, version: str) -> list[Any] | None:
        """The planned stops of a calendar version, None for one that was never kept."""
        row = self._conn.execute(SQL["calendar"], {"version": version}).fetchone()
        return None if row is None else list(row["stops"])

    def last_on_record(
        self, limit: int, *, press: str | None = None, position: str | None = None
    ) -> list[int]:
        """Numbers of the last forecasts on record, newest first."""
        asked = {"press": press, "position": position, "limit": limit}
        return [row["id"] for row in self._conn.execute(SQL["last_on_record"], asked)]

    def of_id(self, number: int) -> Forecast | None:
        """A forecast on record by its number."""
        row = self._conn.execute(SQL["of_id"], {"id": number}).fetchone()
        return None if row is None else _from_row(row)

    def oldest_made(self) -> datetime | None:
        """When the oldest forecast that stands was made: the engine's lag."""
        row = self._conn.execute(SQL["oldest_made"]).fetchone()
        return None if row is None else row["made_at"]

    def _by_press(self, query: str, presses: Sequence[str]) -> dict[str, Forecast]:
        rows = self._conn.execute(SQL[query], {"presses": list(presses)})
        return {row["press"]: _from_row(row) for row in rows}

    def _press_ids(self, names: list[str]) -> dict[str, int]:
        rows = self._conn.execute(SQL["press_ids"], {"names": names})
        return {row["name"]: row["id"] for row in rows}


def _model_from(row: Row) -> LifeModel:
    return LifeModel(**{**row, "chunks": tuple(row["chunks"])})


def _to_row(made: Forecast, ids: Mapping[str, int]) -> Row:
    return {
        "press_id": ids[made.press],
        "position": made.position,
        "kind": made.kind,
        "serial": made.serial,
        "made_at": made.made_at,
        "as_of": made.as_of,
        "state": made.state,
        "severity": STATES.index(made.state),
        "strokes": made.strokes,
        "remaining": None if made.remaining is None else list(made.remaining),
        "due_us": None if made.due_us is None else list(made.due_us),
        "due_median_us": None if made.due_us is None else made.due_us[_MEDIAN],
        "chances": _json([[each.stop, each.at, each.chance] for each in made.chances]),
        "rate": None if made.rate is None else _json(made.rate),
        "interval": _interval_row(made.interval),
        "basis": _json(made.basis),
        "inputs": _json(made.inputs),
        "digest": made.digest,
    }


def _json(content: object) -> Jsonb:
    return Jsonb(content, dumps=canonical)


def _interval_row(interval: Interval | None) -> Jsonb | None:
    return None if interval is None else _json([interval.strokes_left, interval.due_us])


def _from_row(row: Row) -> Forecast:
    remaining, due = row["remaining"], row["due_us"]
    return Forecast(
        press=row["press"],
        position=row["position"],
        kind=row["kind"],
        serial=row["serial"],
        made_at=row["made_at"],
        as_of=row["as_of"],
        state=row["state"],
        strokes=row["strokes"],
        remaining=None if remaining is None else tuple(remaining),
        due_us=None if due is None else tuple(due),
        chances=tuple(Chance(stop, parse_time(at), p) for stop, at, p in row["chances"]),
        rate=_rate_from(row["rate"]),
        interval=_interval_from(row["interval"]),
        basis=row["basis"],
        inputs=row["inputs"],
        digest=row["digest"],
    )


def _rate_from(row: list[Any] | None) -> tuple[float, datetime, datetime] | None:
    if row is None:
        return None
    strokes, start, end = row
    return strokes, parse_time(start), parse_time(end)


def _interval_from(row: list[Any] | None) -> Interval | None:
    return None if row is None else Interval(row[0], tuple(row[1]))

"""Writing what new tool events say, and what follows from them: stretches, pulls, tool states."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from psycopg.types.json import Jsonb

from duestroke.ledger import Fit, Ledger, ToolEvent, ToolNow
from duestroke.names import PRESS_POSITION
from store.ledger_rows import EventRow, content_of
from store.recording import Connection, Fresh, Touched, is_implied_here
from store.sql import named_queries
from store.strokes import totals_at

SQL: Final = named_queries("ledger.sql")


def save(
    conn: Connection,
    fresh: Sequence[Fresh],
    touched: Touched,
    ledger: Ledger,
    *,
    by: str,
    now: datetime,
) -> set[str]:
    """Write the events and what follows from them; returns the serials whose stretches changed."""
    press_ids = [touched.presses[press] for press, _ in touched.seats]
    conn.execute(SQL["lock_presses"], {"ids": sorted(set(press_ids))})
    wanted = _fit_rows(ledger, touched)
    stale, made = _difference(conn, wanted, touched)
    conn.execute(SQL["delete_fits"], {"ids": stale})
    _write_implied(conn, ledger, fresh, touched, by=by, now=now)
    _move_pulls(conn, ledger, fresh, touched)
    if made:
        conn.cursor().executemany(SQL["insert_fit"], made)
    _write_tools(conn, ledger, touched)
    changed = {row["serial"] for row in made}
    return changed | {row.event.serial for row in touched.standing if row.event.id in set(stale)}


def _fit_rows(ledger: Ledger, touched: Touched) -> dict[UUID, dict[str, Any]]:
    return {fit.event.id: _fit_row(fit, touched) for fit in ledger.fits}


def _fit_row(fit: Fit, touched: Touched) -> dict[str, Any]:
    press, position = fit.seat
    return {
        "id": fit.event.id,
        "serial": fit.event.serial,
        "kind": fit.kind,
        "press_id": touched.presses[press],
        "position": position,
        "fitted_at": fit.event.at,
        "ordinal": fit.ordinal,
        "life": fit.life,
        "chain": fit.chain,
        "base": fit.base,
        "base_margin": fit.margin,
        "size_mm": fit.size_mm,
        "pull_id": _pull_id(fit),
        "pulled_at": None if fit.pull is None else fit.pull.at,
        "reason": fit.reason,
    }


def _pull_id(fit: Fit) -> UUID | None:
    if fit.pull is None:
        return None
    return implied_id(fit.pull, fit.event.serial) if fit.pull.type == "fit" else fit.pull.id


def implied_id(fit: ToolEvent, serial: str) -> UUID:
    """The id of the pull that a fit with `replaces` implies: the same whenever it is derived."""
    return uuid.uuid5(fit.id, serial)


def _difference(
    conn: Connection, wanted: Mapping[UUID, dict[str, Any]], touched: Touched
) -> tuple[list[UUID], list[dict[str, Any]]]:
    """Ids of stored stretches that no longer hold, and the rows to write."""
    stored = conn.execute(SQL["fits"], {"serials": list(touched.serials)}).fetchall()
    same = {row["id"] for row in stored if wanted.get(row["id"]) == row}
    stale = [row["id"] for row in stored if row["id"] not in same]
    return stale, [row for row_id, row in wanted.items() if row_id not in same]


def _write_implied(
    conn: Connection,
    ledger: Ledger,
    fresh: Sequence[Fresh],
    touched: Touched,
    *,
    by: str,
    now: datetime,
) -> None:
    """Insert the new events, each implied pull with its fit, and delete what no fit implies now."""
    rows = {row.event.id: row for row in touched.standing}
    pulls = _implied(ledger, rows, fresh, by=by, now=now)
    old = {row.event.id for row in touched.standing if is_implied_here(row, touched)}
    conn.execute(SQL["delete_implied"], {"ids": list(old - set(pulls))})
    new = [_event_values(one, ledger, by=by, now=now) for one in fresh]
    new += [values for pull_id, values in pulls.items() if pull_id not in old]
    _add_totals(conn, new, touched)
    conn.cursor().executemany(SQL["insert_event"], new)
    for one in fresh:
        if one.event.corrects is not None:
            conn.execute(SQL["mark_corrected"], {"id": one.event.corrects, "by": one.event.id})


def _event_values(one: Fresh, ledger: Ledger, *, by: str, now: datetime) -> dict[str, Any]:
    event = one.event
    seat = _seat(event, ledger)
    content = content_of(event)
    values = {name: getattr(event, name) for name in _COLUMNS}
    values |= {"press": seat[0], "position": seat[1], "entry": one.entry, "place": one.place}
    return values | {"given": Jsonb(content), "entered_at": now, "entered_by": by}


_COLUMNS: Final = (
    *("id", "type", "serial", "at", "reason", "strokes_before", "before_unknown", "size_mm"),
    "before_margin",
    *("back_at", "by", "replaces", "corrects", "void", "note", "implied_by"),
)


def _seat(event: ToolEvent, ledger: Ledger) -> tuple[str | None, str | None]:
    """Where the event took place: named, or where the tool sat that it pulled."""
    pulled = ledger.pulled.get(event.id)
    if event.type == "pull" and pulled:
        return pulled[0].seat
    if event.type == "service" and not event.void:
        return (event.press, PRESS_POSITION)
    return (event.press, event.position)


def _implied(
    ledger: Ledger, rows: Mapping[UUID, EventRow], fresh: Sequence[Fresh], *, by: str, now: datetime
) -> dict[UUID, dict[str, Any]]:
    """The pulls that fits imply, by id, as rows; they carry the fit's entry."""
    new = {one.event.id: (one.entry, one.place, now, by) for one in fresh}
    made: dict[UUID, dict[str, Any]] = {}
    for fit_id, fits in ledger.pulled.items():
        cause = fits[0].pull
        if cause is None or cause.type != "fit":
            continue
        if fit_id in new:
            entry, place, entered_at, entered_by = new[fit_id]
        else:
            row = rows[fit_id]
            entry, place = row.entry, row.place
            entered_at, entered_by = row.entered_at, row.entered_by
        pull = _implied_pull(cause, fits[0])
        values = {name: getattr(pull, name) for name in _COLUMNS}
        values |= {"press": pull.press, "position": pull.position, "given": None}
        values |= {"entry": entry, "place": place}
        made[pull.id] = values | {"entered_at": entered_at, "entered_by": entered_by}
    return made


def _implied_pull(cause: ToolEvent, fit: Fit) -> ToolEvent:
    press, position = fit.seat
    serial = fit.event.serial
    return ToolEvent(
        id=implied_id(cause, serial),
        type="pull",
        serial=serial,
        at=cause.at,
        press=press,
        position=position,
        reason=fit.reason,
        by=cause.by,
        implied_by=cause.id,
    )


def _add_totals(conn: Connection, values: list[dict[str, Any]], touched: Touched) -> None:
    """The press's total at the time of each fit, pull and service that stands."""
    for row in values:
        row["press_id"] = touched.presses.get(row["press"]) if row["press"] else None
        row["press_strokes"] = None
    counted = [
        row
        for row in values
        if row["type"] in ("fit", "pull", "service") and row["press_id"] and not row["void"]
    ]
    totals = totals_at(conn, [(row["press_id"], row["at"]) for row in counted])
    for row, total in zip(counted, totals, strict=True):
        row["press_strokes"] = total


def _move_pulls(conn: Connection, ledger: Ledger, fresh: Sequence[Fresh], touched: Touched) -> None:
    """Older pulls that named no press may have turned out to be from elsewhere."""
    new = {one.event.id for one in fresh}
    for row in touched.standing:
        event = row.event
        if event.type != "pull" or event.implied_by is not None or event.id in new:
            continue
        seat = _seat(event, ledger)
        if event.id in ledger.pulled and seat != (event.press, event.position):
            press_id = touched.presses[seat[0] or ""]
            (total,) = totals_at(conn, [(press_id, event.at)])
            values = {"id": event.id, "press_id": press_id, "position": seat[1]}
            conn.execute(SQL["move_pull"], values | {"press_strokes": total})


def _write_tools(conn: Connection, ledger: Ledger, touched: Touched) -> None:
    values = [
        _tool_values(ledger.tools.get(serial) or ToolNow(tool, size_mm=tool.size_mm), touched)
        for serial, tool in touched.tools.items()
    ]
    if values:
        conn.cursor().executemany(SQL["update_tool"], values)


def _tool_values(now: ToolNow, touched: Touched) -> dict[str, Any]:
    press, position = now.sits.seat if now.sits is not None else (None, None)
    return {
        "serial": now.tool.serial,
        "state": now.state,
        "press_id": None if press is None else touched.presses[press],
        "position": position,
        "current_mm": now.size_mm,
        "life": now.life,
        "back_at": now.back_at,
    }

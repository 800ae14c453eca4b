"""`/metrics`: what to watch the service by, as OpenMetrics. No token: it names no press."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Final

import psycopg
from fastapi import APIRouter, Request
from fastapi.responses import Response
from psycopg_pool import PoolTimeout

from api.deps import Now, Pool
from api.openmetrics import CONTENT_TYPE, Family, Sample, render
from store import metrics

router = APIRouter(tags=["health"])
REASONS: Final = ("malformed", "topic", "field", "conflict", "future", "past", "unknown-press")
_WAIT_S: Final = 2.0


class OpenMetricsResponse(Response):
    """An exposition, with the media type that scrapers choose the parser by."""

    media_type = CONTENT_TYPE


@router.get("/metrics", response_class=OpenMetricsResponse)
def expose(request: Request, now: Now) -> OpenMetricsResponse:
    """Figures of the service. While the database is away, only those of this process."""
    pool: Pool = request.app.state.pool
    served: Counter[tuple[str, int]] = request.app.state.served
    try:
        with pool.connection(timeout=_WAIT_S) as conn:
            figures = metrics.read(conn, now)
    except (psycopg.OperationalError, PoolTimeout):
        families = [_up(0), _requests(served)]
    else:
        families = [_up(1), _requests(served), *_families(figures)]
    return OpenMetricsResponse(render(families))


def _up(value: int) -> Family:
    text = "1 while the database answers"
    return Family("duestroke_database_up", "gauge", text, [Sample(value)])


def _requests(served: Counter[tuple[str, int]]) -> Family:
    samples = [
        Sample(count, {"method": method, "status": str(status)})
        for (method, status), count in sorted(served.items())
    ]
    text = "requests this process has answered"
    return Family("duestroke_http_requests", "counter", text, samples)


def _families(figures: metrics.Figures) -> Iterator[Family]:
    yield _gauge("presses", "presses registered", figures.presses)
    yield _gauge("presses_silent", "presses without a report for ten minutes", figures.silent)
    text = "reports in the record, each counted once"
    yield Family("duestroke_reports_counted", "counter", text, [Sample(figures.reports)])
    yield _gauge("reports_missing", "gaps in the senders' numbering", figures.missing)
    yield _gauge("flags_open", "pairs of readings whose strokes nobody settled", figures.flags_open)
    yield from _quarantine({row.reason: row for row in figures.quarantine})
    yield _seconds("last_report_age", "since a report last came in", figures.last_report_age_s)
    yield _seconds("report_delay", "median from a report's time to arrival", figures.delay_s)
    yield _gauge("forecasts", "tools with a forecast", figures.forecasts)
    yield _seconds("forecast_age", "since the oldest was made", figures.forecast_age_s)
    yield _seconds("forecast_lag", "longest behind its last report", figures.forecast_lag_s)


def _quarantine(rows: dict[str, metrics.QuarantineCount]) -> Iterator[Family]:
    none = metrics.QuarantineCount("", 0, 0)
    by_reason = {reason: rows.get(reason, none) for reason in REASONS}
    arrived = [Sample(row.times, {"reason": name}) for name, row in by_reason.items()]
    waiting = [Sample(row.waiting, {"reason": name}) for name, row in by_reason.items()]
    text = "messages put into quarantine, repeats included"
    yield Family("duestroke_quarantined_messages", "counter", text, arrived)
    yield Family("duestroke_quarantine_waiting", "gauge", "messages waiting there", waiting)


def _gauge(name: str, text: str, value: float) -> Family:
    return Family(f"duestroke_{name}", "gauge", text, [Sample(value)])


def _seconds(name: str, text: str, value: float | None) -> Family:
    """A time in seconds; no sample while it is not known."""
    samples = [] if value is None else [Sample(value)]
    return Family(f"duestroke_{name}_seconds", "gauge", text, samples, unit="seconds")

"""Reads of the API for any page, kept for some seconds and shared by all screens.

A read that fails keeps what was read before it and says so: a page shows the old figures as old.
"""

from __future__ import annotations

import json
import logging
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final, Generic, TypeVar

from dashboard.client import ApiFault, Client, Reply
from dashboard.source import PART_FAILED

log = logging.getLogger(__name__)

FRESH_FOR: Final = timedelta(seconds=5)
RETRY_AFTER: Final = timedelta(seconds=15)
MOST_HELD: Final = 400

Read = TypeVar("Read")


@dataclass(frozen=True, slots=True)
class Told(Generic[Read]):
    """What the API told: `value` (None where it never answered), since when, and what failed.

    at: when `value` was read.  fault: why the last question failed, empty where it did not; with a
    value beside it the value is old.  missing: the API knows nothing of that name.
    """

    value: Read | None
    at: datetime
    fault: str = ""
    missing: bool = False

    @property
    def is_old(self) -> bool:
        """Whether the value outlived a question that failed."""
        return self.value is not None and self.fault != ""


class Reads:
    """Reads lists and single things. Thread-safe; the least lately asked for are dropped."""

    def __init__(self, client: Client, now: Callable[[], datetime]) -> None:
        self._client, self._now = client, now
        self._lock = threading.Lock()
        self._held: OrderedDict[object, tuple[datetime, Told[Any]]] = OrderedDict()
        self._asking: set[object] = set()

    def items(
        self,
        path: str,
        kind: type[Read],
        asked: Mapping[str, str] | None = None,
        fresh_for: timedelta = FRESH_FOR,
    ) -> Told[tuple[Read, ...]]:
        """A whole list below `/api/v1`; `kind`: a msgspec struct of one item."""
        query = dict(asked or {})
        ask = lambda: tuple(self._client.items(path, query, kind))  # noqa: E731
        return self._read((path, kind, tuple(sorted(query.items()))), ask, fresh_for)

    def one(
        self,
        path: str,
        kind: type[Read],
        asked: Mapping[str, str] | None = None,
        fresh_for: timedelta = FRESH_FOR,
    ) -> Told[Read]:
        """One thing below `/api/v1`, read as `kind`."""
        query = dict(asked or {})
        ask = lambda: self._client.one(path, query, kind)  # noqa: E731
        return self._read((path, kind, tuple(sorted(query.items()))), ask, fresh_for)

    def later(
        self, path: str, kind: type[Read], asked: Mapping[str, str], fresh_for: timedelta
    ) -> Told[Read] | None:
        """As `one`, of what takes the API some seconds: None until it has answered.

        It is asked for beside the screens, once however many want it.
        """
        query = dict(asked)
        ask = lambda: self._client.one(path, query, kind, patient=True)  # noqa: E731
        return self._beside((path, kind, tuple(sorted(query.items())), "later"), ask, fresh_for)

    def worked_out(self, path: str, body: object, fresh_for: timedelta) -> Told[Reply] | None:
        """What the API makes of a question that it keeps nowhere; None until it has answered."""
        ask = lambda: self._client.worked_out(path, body)  # noqa: E731
        return self._beside((path, json.dumps(body, sort_keys=True)), ask, fresh_for)

    def _beside(
        self, key: object, ask: Callable[[], Read | None], fresh_for: timedelta
    ) -> Told[Read] | None:
        now = self._now()
        with self._lock:
            asked_at, held = self._held.get(key, (None, None))
            lasts = RETRY_AFTER if held is not None and held.fault else fresh_for
            is_fresh = asked_at is not None and now - asked_at < lasts
            if is_fresh or key in self._asking:
                return held
            self._asking.add(key)
        threading.Thread(target=self._fetch, args=(key, ask), daemon=True).start()
        return held

    def _fetch(self, key: object, ask: Callable[[], object]) -> None:
        try:
            self._read(key, ask, timedelta(0))
        finally:
            with self._lock:
                self._asking.discard(key)

    def forget(self) -> None:
        """Ask anew for everything: something was written."""
        with self._lock:
            past = datetime.min.replace(tzinfo=self._now().tzinfo)
            for key, (_, told) in self._held.items():
                self._held[key] = (past, told)

    def _read(
        self, key: object, ask: Callable[[], Read | None], fresh_for: timedelta
    ) -> Told[Read]:
        now = self._now()
        with self._lock:
            asked_at, held = self._held.get(key, (None, None))
        if held is not None and asked_at is not None and now - asked_at < fresh_for:
            return held
        told = self._ask(ask, held, now)
        with self._lock:
            self._held[key] = (now, told)
            self._held.move_to_end(key)
            while len(self._held) > MOST_HELD:
                self._held.popitem(last=False)
        return told

    def _ask(
        self, ask: Callable[[], Read | None], held: Told[Read] | None, now: datetime
    ) -> Told[Read]:
        try:
            value = ask()
        except ApiFault as fault:
            log.warning("A part of a page failed: %s.", fault, extra=PART_FAILED)
            if held is None:
                return Told(None, now, str(fault))
            return Told(held.value, held.at, str(fault), held.missing)
        return Told(value, now, missing=value is None)

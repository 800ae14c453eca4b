"""Sessions of people: a token is given once and stays on the server, the browser holds an id.

The id is 32 random bytes; the store knows its digest only. A token that was taken back ends its
session within `CHECK_EVERY`.
"""

from __future__ import annotations

import hashlib
import hmac
import logging
import secrets
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from dashboard.access import Who
from dashboard.client import ApiFault, Caller, Client

log = logging.getLogger(__name__)

LASTS: Final = timedelta(hours=12)
"""One shift at most since the last sign-in, whether used or not."""

WALL_LASTS: Final = timedelta(days=400)
"""A wall screen only looks, and nobody is there to sign it in again."""

CHECK_EVERY: Final = timedelta(seconds=30)
MOST_SESSIONS: Final = 2_000
MOST_BAD: Final = 4_000

SIGNED_IN: Final = {"action": "board-signed-in"}
SIGNED_OUT: Final = {"action": "board-signed-out"}
SESSION_ENDED: Final = {"action": "board-session-ended"}


@dataclass(frozen=True, slots=True)
class Session:
    """One person's session. `token` never leaves the server."""

    caller: Caller
    token: str
    check: str
    ends: datetime
    asked_at: datetime

    def __repr__(self) -> str:
        return f"Session({self.caller.name!r}, {self.caller.role!r})"


class Sessions:
    """All sessions. Thread-safe; the one that ends first is dropped where there are too many."""

    def __init__(self, client: Client, now: Callable[[], datetime]) -> None:
        self._client, self._now = client, now
        self._lock = threading.Lock()
        self._held: dict[str, Session] = {}

    def begin(self, token: str, *, wall: bool = False) -> tuple[str, Session] | None:
        """A new session: its id and itself; None where the API does not take the token.

        wall: a long session, for a viewer's token only.  Raises ApiFault.
        """
        caller = self._client.caller(token)
        if caller is None or (wall and caller.role != "viewer"):
            return None
        now = self._now()
        lasts = WALL_LASTS if wall else LASTS
        session = Session(caller, token, secrets.token_urlsafe(24), now + lasts, now)
        name = secrets.token_urlsafe(32)
        with self._lock:
            self._make_room(now)
            self._held[_digest(name)] = session
        log.info("%s signed in (%s).", caller.name, caller.role, extra=SIGNED_IN)
        return name, session

    def find(self, name: str) -> Session | None:
        """The session of this id; None once it has ended.

        The API is asked again whose the token is every half minute; while it gives no answer the
        session stays: then nothing can be read or written with it either.
        """
        key, now = _digest(name), self._now()
        with self._lock:
            session = self._held.get(key)
        if session is None:
            return None
        if now >= session.ends:
            self._drop(key, session)
            return None
        if now - session.asked_at < CHECK_EVERY:
            return session
        return self._ask_again(key, session, now)

    def _ask_again(self, key: str, session: Session, now: datetime) -> Session | None:
        try:
            caller = self._client.caller(session.token)
        except ApiFault:
            return session
        if caller is None:
            self._drop(key, session)
            return None
        known = replace(session, caller=caller, asked_at=now)
        with self._lock:
            if key in self._held:
                self._held[key] = known
        return known

    def _drop(self, key: str, session: Session) -> None:
        with self._lock:
            self._held.pop(key, None)
        log.info("The session of %s ended.", session.caller.name, extra=SESSION_ENDED)

    def end(self, name: str) -> None:
        """Sign out."""
        with self._lock:
            session = self._held.pop(_digest(name), None)
        if session is not None:
            log.info("%s signed out.", session.caller.name, extra=SIGNED_OUT)

    def who(self, name: str, otherwise: Who) -> Who:
        """Who stands behind a session's id; `otherwise` where there is no such session."""
        session = self.find(name) if name else None
        if session is None:
            return replace(otherwise, ended=name != "")
        return Who(session.caller.role, session.caller.name, session.check, name)

    def _make_room(self, now: datetime) -> None:
        """Called with the lock held."""
        self._held = {key: each for key, each in self._held.items() if each.ends > now}
        while len(self._held) >= MOST_SESSIONS:
            del self._held[min(self._held, key=lambda key: self._held[key].ends)]


def _digest(name: str) -> str:
    return hashlib.sha256(name.encode()).hexdigest()


def is_checked(who: Who, given: str) -> bool:
    """Whether a page of this very session sent what was written."""
    return who.check != "" and hmac.compare_digest(who.check.encode(), given.encode())


class Tries:
    """Bad sign-ins: at most `most` within `within` from one address.

    Tokens are random and cannot be guessed through; this keeps who tries from using up the API.
    """

    def __init__(
        self,
        now: Callable[[], datetime],
        most: int = 8,
        within: timedelta = timedelta(minutes=5),
    ) -> None:
        self._now, self._most, self._within = now, most, within
        self._lock = threading.Lock()
        self._bad: deque[tuple[datetime, str]] = deque(maxlen=MOST_BAD)

    def may_try(self, address: str) -> bool:
        """Whether one more is let through."""
        with self._lock:
            while self._bad and self._now() - self._bad[0][0] >= self._within:
                self._bad.popleft()
            return sum(each == address for _, each in self._bad) < self._most

    def was_bad(self, address: str) -> None:
        """Note a bad one."""
        with self._lock:
            self._bad.append((self._now(), address))

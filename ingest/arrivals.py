"""Messages between the network thread that takes them and the writer that stores them."""

from __future__ import annotations

import threading
import time
from collections import deque
from datetime import datetime
from typing import NamedTuple


class Arrival(NamedTuple):
    """One message as it came: the connection it came on, its packet id (0: nothing to acknowledge).

    retain: sent by the broker from its store at subscribing.  at: arrival by our clock, UTC.
    """

    generation: int
    mid: int
    topic: str
    payload: bytes
    retain: bool
    at: datetime


class Inbox:
    """A bounded queue for one taker, which is woken only when it has what it waits for."""

    def __init__(self, capacity: int) -> None:
        self._capacity = capacity
        self._waiting: deque[Arrival] = deque()
        self._changed = threading.Condition()
        self._wanted = 0

    def __len__(self) -> int:
        return len(self._waiting)

    def put(self, arrival: Arrival) -> bool:
        """Add at the end; False when the queue is full and the arrival was not taken."""
        with self._changed:
            if len(self._waiting) >= self._capacity:
                return False
            self._waiting.append(arrival)
            if len(self._waiting) == self._wanted:
                self._changed.notify()
        return True

    def take(
        self, most: int, *, wait_s: float, gather_s: float, enough: int | None = None
    ) -> list[Arrival]:
        """Up to `most` arrivals in order, once `enough` are there or one has waited `gather_s`.

        Empty when none came within `wait_s` seconds.
        """
        with self._changed:
            if self._wait_for(1, wait_s):
                self._wait_for(enough or most, gather_s)
            count = min(most, len(self._waiting))
            return [self._waiting.popleft() for _ in range(count)]

    def clear(self) -> int:
        """Drop everything: what is not acknowledged comes again. Returns how many were dropped."""
        with self._changed:
            dropped = len(self._waiting)
            self._waiting.clear()
        return dropped

    def _wait_for(self, count: int, seconds: float) -> bool:
        deadline = time.monotonic() + seconds
        self._wanted = count
        while len(self._waiting) < count:
            left = deadline - time.monotonic()
            if left <= 0 or not self._changed.wait(left):
                break
        self._wanted = 0
        return len(self._waiting) >= count

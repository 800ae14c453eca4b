"""What tells that a link is worth nothing although it stands: no answer, or too many losses."""

from __future__ import annotations

from collections import deque
from typing import Final

BEAT_EVERY_S: Final = 10.0
SILENT_AFTER_S: Final = 60.0
CONTESTED: Final = (4, 60.0)
"""So many connections lost within so many seconds: somebody else uses the client id."""


class Heartbeat:
    """A message to ourselves through the broker: proves that packets still reach our callback.

    All times come from one monotonic clock, in seconds.
    """

    def __init__(self, topic: str) -> None:
        self.topic = topic
        self.heard = False
        self._sent_at: float | None = None
        self._unanswered_since: float | None = None

    def begin(self) -> None:
        """A connection begins: nothing is owed on it."""
        self._sent_at = self._unanswered_since = None

    def due(self, now: float) -> bool:
        """Whether one has to be sent now; True is taken for sent."""
        if self._sent_at is not None and now - self._sent_at < BEAT_EVERY_S:
            return False
        self._sent_at = now
        self._unanswered_since = now if self._unanswered_since is None else self._unanswered_since
        return True

    def answer(self) -> None:
        """One came back."""
        self.heard, self._unanswered_since = True, None

    def silent(self, now: float) -> bool:
        """Whether none has come back for too long; never where none ever did.

        A broker that does not let us have the topic never brings a first one.
        """
        since = self._unanswered_since
        return self.heard and since is not None and now - since > SILENT_AFTER_S


class Losses:
    """When connections were lost, as far as it matters."""

    def __init__(self) -> None:
        self._at: deque[float] = deque(maxlen=CONTESTED[0])

    def add(self, now: float) -> bool:
        """Note a loss; True when there were too many, which starts the count anew."""
        self._at.append(now)
        many = len(self._at) == CONTESTED[0] and now - self._at[0] < CONTESTED[1]
        if many:
            self._at.clear()
        return many

"""Lines for whoever started us. A reader that is slow or gone never holds a part up."""

from __future__ import annotations

import os
import select
import sys
from collections import deque
from collections.abc import Callable
from typing import Final

Say = Callable[[str], None]
# A pipe that select calls writable takes this many bytes without blocking (POSIX PIPE_BUF).
_PIECE: Final = 512 if sys.platform == "darwin" else 4096
_KEPT: Final = 5_000


class Out:
    """Writes lines to a file descriptor as far as it takes them; keeps the newest of the rest."""

    def __init__(self, descriptor: int = 1) -> None:
        self._descriptor = descriptor
        self._waiting: deque[bytes] = deque()
        self._dropped = 0
        self._gone = False

    def say(self, line: str) -> None:
        """Put one line out, now or when the reader takes it."""
        data = (line.rstrip("\n") + "\n").encode("utf-8", "replace")
        self._waiting.extend(data[i : i + _PIECE] for i in range(0, len(data), _PIECE))
        while len(self._waiting) > _KEPT:
            self._waiting.popleft()
            self._dropped += 1
        self.flush()

    def flush(self) -> None:
        """Write what waits while the reader takes it without blocking."""
        while self._waiting and not self._gone and self._takes():
            if self._dropped:
                self._waiting.appendleft(f"... {self._dropped} lines were not read\n".encode())
                self._dropped = 0
            try:
                os.write(self._descriptor, self._waiting.popleft())
            except OSError:
                self._gone = True

    def _takes(self) -> bool:
        return bool(select.select([], [self._descriptor], [], 0)[1])

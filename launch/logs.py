"""How log lines of a part look: time, severity, where, the sentence, the action in brackets."""

from __future__ import annotations

import logging
import sys
import time


class LineFormatter(logging.Formatter):
    """One record a line; the action, a stable key for machines, stands last."""

    converter = staticmethod(time.gmtime)  # UTC, as everywhere

    def __init__(self) -> None:
        super().__init__("%(asctime)sZ %(levelname)s %(name)s: %(message)s", "%Y-%m-%dT%H:%M:%S")

    def format(self, record: logging.LogRecord) -> str:
        action = getattr(record, "action", None)
        line = super().format(record)
        return line if action is None else f"{line} [{action}]"


def set_up(level: str) -> None:
    """Log to stderr from this severity on."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(LineFormatter())
    logging.basicConfig(level=level.upper(), handlers=[handler], force=True)
    # What it says at each start and stop, our own lines say too.
    logging.getLogger("uvicorn.error").setLevel(max(logging.WARNING, logging.root.level))

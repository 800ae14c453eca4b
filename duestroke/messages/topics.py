"""Topics of the plant: `duestroke/v1/<site>/<line>/<press>/report` and `.../status`."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from duestroke.names import PRESS, is_match

REPORTS: Final = "duestroke/v1/+/+/+/report"
"""Subscription that takes in the reports of every press."""
STATUSES: Final = "duestroke/v1/+/+/+/status"
"""Subscription that takes in the status of every press."""

_TOPIC: Final = re.compile(rf"duestroke/v1/({PRESS})/(report|status)")


def report_topic(press: str) -> str:
    """Topic of a press's reports. Raises ValueError when it is not `site/line/press`."""
    return _topic(press, "report")


def status_topic(press: str) -> str:
    """Topic of a press's status. Raises ValueError when it is not `site/line/press`."""
    return _topic(press, "status")


def is_report_topic(topic: str) -> bool:
    """Whether a topic is a press's report topic, well formed."""
    return press_of(topic, "report") is not None


def is_status_topic(topic: str) -> bool:
    """Whether a topic is a press's status topic, well formed."""
    return press_of(topic, "status") is not None


@lru_cache(maxsize=8192)
def press_of(topic: str, leaf: str) -> str | None:
    """`site/line/press` of a topic that ends in `leaf`; None where the topic is another."""
    found = _TOPIC.fullmatch(topic)
    return found.group(1) if found is not None and found.group(2) == leaf else None


def _topic(press: str, leaf: str) -> str:
    if not is_match(PRESS, press):
        raise ValueError(f"press: got {press!r}, allowed is site/line/press of [a-z0-9-]{{1,32}}")
    return f"duestroke/v1/{press}/{leaf}"

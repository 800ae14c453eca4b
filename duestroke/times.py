"""Times as the contract writes them: RFC 3339 with an offset, kept to the microsecond."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Final

_RFC3339: Final = re.compile(
    r"(\d{4})-(\d{2})-(\d{2})[Tt ](\d{2}):(\d{2}):(\d{2})(\.\d+)?([Zz]|[+-]\d{2}:\d{2})",
    re.ASCII,
)
EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND: Final = timedelta(microseconds=1)


def parse_time(text: str) -> datetime:
    """An RFC 3339 time with offset, as an aware UTC datetime.

    Digits past the microsecond are cut; second 60 (a leap second) is read as 59.
    Raises ValueError with a reason. Source: RFC 3339, 5.6 to 5.8.
    """
    found = _RFC3339.fullmatch(text)
    if found is None:
        raise ValueError("an RFC 3339 time with an offset, such as 2026-03-01T06:00:00Z")
    year, month, day, hour, minute, second = (int(part) for part in found.groups()[:6])
    fraction, zone = found.group(7) or ".0", found.group(8)
    if second == 60:
        second = 59
    micro = int(fraction[1:7].ljust(6, "0"))
    local = datetime(year, month, day, hour, minute, second, micro, tzinfo=UTC)
    try:
        return local - _offset(zone)
    except OverflowError as fault:
        raise ValueError("a time between the years 1 and 9999") from fault


def _offset(zone: str) -> timedelta:
    if zone in "Zz":
        return timedelta(0)
    hours, minutes = int(zone[1:3]), int(zone[4:6])
    if hours > 23 or minutes > 59:
        raise ValueError("an offset between -23:59 and +23:59")
    size = timedelta(hours=hours, minutes=minutes)
    return size if zone[0] == "+" else -size


def format_time(at: datetime) -> str:
    """An aware datetime as UTC with `Z`; the fraction is left out where it is zero."""
    text = at.astimezone(UTC).isoformat().removesuffix("+00:00")
    return text + "Z"


def to_micros(at: datetime) -> int:
    """Microseconds since 1970 UTC, exact."""
    return (at - EPOCH) // _MICROSECOND


def from_micros(micros: int) -> datetime:
    """The aware UTC datetime of `to_micros`."""
    return EPOCH + timedelta(microseconds=micros)

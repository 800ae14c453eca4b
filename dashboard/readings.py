"""The last reading of a tool against its limit, in small: or the sentence that stands in for it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any, Final

from dashboard import words
from dashboard.fleet import Fleet
from dashboard.record import Inspection, Position

ZERO_X: Final = 4.0
LIMIT_X: Final = 150.0
END_X: Final = 165.0
"""Places on a track 170 wide: no change, the limit, and where a reading far past it stops."""

NOTHING: Final[dict[str, Any]] = {"track": None, "text": "", "act": False, "doubt": False}
UNITS: Final = {"um": "µm", "deg": "°"}


def standing(
    inspections: Iterable[Inspection], serial: str | None, since: datetime | None
) -> list[Inspection]:
    """Inspections of a serial that count, since it was fitted, newest first."""
    kept = [
        each
        for each in inspections
        if each.stands and each.serial == serial and (since is None or each.at >= since)
    ]
    return sorted(kept, key=lambda each: each.at, reverse=True)


def small_form(fleet: Fleet, found: list[Inspection], position: Position | None) -> dict[str, Any]:
    """`track` (places on it, or None), `text`, whether the limit is reached (`act`), and `doubt`.

    found: standing inspections, newest first. The limit is reached when the reading with its
    uncertainty touches it. A reading in question is said and not drawn.
    """
    wear = next((each for each in found if _is_wear(each, position)), None)
    if wear is not None:
        return _against(fleet, wear, position)
    if found:
        return NOTHING | {"text": said(fleet, found[0]), "act": found[0].verdict == "worn"}
    return NOTHING | {"text": "not read since it was fitted"}


def _is_wear(each: Inspection, position: Position | None) -> bool:
    """Whether a reading is of the position's own wear, so that its limit says something."""
    if each.value is None or each.of_set or not _limit(each, position):
        return False
    return position is None or position.quantity is None or each.quantity == position.quantity


def _limit(each: Inspection, position: Position | None) -> float | None:
    return each.limit or (position.limit if position is not None else None)


def _against(fleet: Fleet, each: Inspection, position: Position | None) -> dict[str, Any]:
    value, limit = each.value or 0.0, _limit(each, position) or 1.0
    text = (
        f"{figure(value)}{words.NB}of{words.NB}{figure(limit)}{words.NB}{unit(each.unit)} · "
        f"{words.day(each.at, fleet.zone, fleet.now)}"
    )
    if each.share is None:
        # The API leaves the share out while the reading is in question.
        return NOTHING | {"text": f"{text}, in question", "doubt": True}
    more = abs((each.uncertainty or 0.0) / limit)
    bar = f"M{place(each.share - more):g} 12H{place(each.share + more):g}" if more else ""
    touches = each.share + more >= 1
    return NOTHING | {
        "track": {"dot": place(each.share), "bar": bar},
        "text": text,
        "act": touches or each.verdict == "worn",
    }


def place(share: float) -> float:
    """x of a share of the limit on the track, to the tenth; what lies beyond either end stops."""
    x = ZERO_X + (LIMIT_X - ZERO_X) * share
    return round(min(max(x, ZERO_X), END_X), 1)


def said(fleet: Fleet, each: Inspection) -> str:
    """An inspection in words, where there is no limit to draw it against."""
    day = words.day(each.at, fleet.zone, fleet.now)
    if each.value is None:
        return f"by eye: {each.verdict}, {day}" if each.verdict else f"looked at, {day}"
    named = f"{each.quantity} " if each.quantity else ""
    of_set = " of the set" if each.of_set else ""
    return f"{named}{figure(each.value)}{words.NB}{unit(each.unit)}{of_set}, {day}"


def figure(value: float) -> str:
    """A reading to three figures, with a minus that is as wide as a plus."""
    text = f"{value:.3g}" if abs(value) < 1000 else f"{value:,.0f}"
    return text.replace("-", "−")


def unit(name: str | None) -> str:
    """A unit as it is printed."""
    return UNITS.get(name or "", name or "")

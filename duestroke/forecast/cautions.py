"""What a reader must know before trusting a date, in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Final

from duestroke.counting.judge import most_plausible
from duestroke.counting.types import Rule
from duestroke.forecast.facts import LifeBasis, PressFacts, ToolFacts
from duestroke.forecast.view import View
from duestroke.times import format_time, to_micros

CLOSE_SHARE: Final = 0.7
"""A planned pull whose last reading was above this share of its limit sits close under it."""
MANY_CLOSE: Final = 1 / 3
FEW_DAYS: Final = 14
ROUGHER: Final = 0.03
"""A ram ratio K further above the press's own than this is said."""
OTHER_SPEED: Final = 0.03
"""A press that runs at a speed further off than this from that of the tool's life is said."""


def cautions(
    view: View, tool: ToolFacts, basis: LifeBasis, wear: Mapping[str, object] | None
) -> list[str]:
    """Cautions of one forecast. wear: what the tool's readings say alone, None without any."""
    of_press = _of_press(view.press, view.silent, view.unseen(tool))
    of_law = [*_of_batch(tool, basis), *_of_speed(tool, basis), *_of_roughness(tool, basis)]
    return [*_of_lives(tool, basis), *_of_wear(tool, wear), *of_law, *of_press]


def _of_lives(tool: ToolFacts, basis: LifeBasis) -> list[str]:
    if basis.law is None:
        if tool.interval_strokes is None and tool.interval_days is None:
            return [f"no basis: position {basis.position} has no handbook life"]
        return ["no handbook life: only the fixed interval counts"]
    words: list[str] = []
    if basis.failures == 0:
        words.append("from the handbook, no failures yet")
    if basis.handbook_is_default:
        words.append("the handbook life is the default, not your plant's")
    if basis.ends and basis.planned_close > MANY_CLOSE * basis.ends:
        words.append(_close_pulls(basis))
    if tool.strokes is None:
        words.append("age at fit unknown: forecast as for a tool of any age")
    words += _of_age(tool)
    if tool.read_past_limit:
        words.append("its last reading is past the limit, or it was found worn")
    return words


def _of_age(tool: ToolFacts) -> list[str]:
    words: list[str] = []
    if tool.age_margin > 0 and tool.strokes is not None:
        words.append(f"its age was stated by hand, within {tool.age_margin:,.0f} strokes")
    if tool.strokes_hidden > 0:
        words.append(
            f"open flags of the press may hide up to {tool.strokes_hidden:,.0f} strokes more of it"
        )
    return words


def _close_pulls(basis: LifeBasis) -> str:
    said = (
        f"{basis.planned_close} of {basis.ends} ended lives were planned pulls with a last "
        f"reading above {100 * CLOSE_SHARE:.0f} % of the limit: they sit close under it, and end "
    )
    if basis.readings_used:
        return said + "codes alone would make lives too long; here their readings are used"
    return said + "codes alone make lives come out too long"


def _of_wear(tool: ToolFacts, wear: Mapping[str, object] | None) -> list[str]:
    words: list[str] = []
    if wear is not None:
        count = len(tool.readings)
        words.append(f"rests on {count} reading{'s' if count > 1 else ''} of its own wear")
        if not wear["fits"]:
            words.append(_misfit(wear))
    if tool.open_question is not None:
        words.append(f"open question: {tool.open_question}")
    return words


def _misfit(wear: Mapping[str, object]) -> str:
    said = "the trend does not fit: its latest reading is outside 99 % of what was to be expected"
    alone = wear["alone"]
    median = alone.get("0.5") if isinstance(alone, Mapping) else None
    if median is None:
        return said
    return f"{said}; its own line alone leaves {median:,.0f} strokes at even chances"


def _of_speed(tool: ToolFacts, basis: LifeBasis) -> list[str]:
    past, now = tool.speed_so_far, tool.speed_now
    if past is None or now is None or abs(now / past - 1) < OTHER_SPEED:
        return []
    said = f"it runs at {now:.2f} m/s, over its life at {past:.2f}: "
    if basis.rate_exponent is not None:
        median, low, high = basis.rate_exponent
        return [
            f"{said}life taken to go with speed to the power of -{median:.2g} ({low:.2g} to "
            f"{high:.2g})"
        ]
    if basis.rate_unknown:
        return [f"{said}what that does to its life is not known from these records"]
    return []


def _of_batch(tool: ToolFacts, basis: LifeBasis) -> list[str]:
    odd = basis.odd_batches.get(tool.batch or "")
    if odd is None:
        return []
    ended = f"{odd.failures} of {odd.lives} failed"
    return [
        f"its batch {tool.batch} lasts {odd.ratio:.2f} of what the others do ({odd.low:.2f} to "
        f"{odd.high:.2f}; {ended}): its range is moved by that as far as the records bear it"
    ]


def _of_roughness(tool: ToolFacts, basis: LifeBasis) -> list[str]:
    rough = tool.rough_now
    if rough is None or rough < 1 + ROUGHER or not basis.rough_matters:
        return []
    said = f"the ram runs {100 * (rough - 1):.0f} % rougher (K) than the press's own level"
    if basis.rough_known:
        return [f"{said}: sudden failures are taken to come sooner by that"]
    return [
        f"{said}: sudden failures are taken to come sooner; by how much is not known from these "
        "records"
    ]


def _of_press(press: PressFacts, silent: bool, hidden: float) -> list[str]:
    words: list[str] = []
    if press.counter_stands_since is not None:
        words.append(_standing(press, press.counter_stands_since))
    if press.as_of is None:
        words.append("the press has never reported")
    if silent:
        words.append(_silence(press.as_of or press.registered, hidden))
    if press.rate is None:
        words.append("the press never moved: no due date")
    else:
        words += _of_rate(press.rate.days, press.rate.stood_since)
    return words


def _standing(press: PressFacts, since: datetime) -> str:
    latest = to_micros(press.as_of or since)
    unseen = most_plausible(Rule(max_spm=press.max_spm), latest - to_micros(since))
    return (
        f"the press's counter has stood still since {format_time(since.replace(microsecond=0))} "
        f"while the ram moves: up to {unseen:,} strokes were not counted"
    )


def _silence(since: datetime, hidden: float) -> str:
    return (
        f"no report since {format_time(since.replace(microsecond=0))}: "
        f"it may have run up to {hidden:,.0f} strokes unseen"
    )


def _of_rate(days: float, stood_since: datetime | None) -> list[str]:
    words: list[str] = []
    if days < FEW_DAYS:
        words.append(f"the rate rests on {days:.1f} running days only")
    if stood_since is not None:
        since = format_time(stood_since)
        words.append(f"the press has stood since {since}: dates take it to run again from now")
    return words

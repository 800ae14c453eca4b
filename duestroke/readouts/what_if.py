"""The same calculation twice, as things stand and with something changed, and the difference."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Final

from duestroke.errors import BadField
from duestroke.forecast import Forecast, LifeBasis, PressFacts, Rate, ToolFacts, forecast_presses
from duestroke.forecast.result import DEFAULT_LEVELS, answer, due_at, level_key, remaining_at
from duestroke.inference.modes import mode_of
from duestroke.inference.place import PlacePosterior, fit_place
from duestroke.inference.prior import Prior
from duestroke.lives import Life, WearReading
from duestroke.readouts.content import Content, interval, middle_of, plain, strokes
from duestroke.readouts.groups import told_interval
from duestroke.readouts.lines import mean_speed

MOST_TOOLS: Final = 500
_DAY_S: Final = 86_400.0
_NO_SPEED: Final = "no life knows its speed: another rate moves the dates, and lives stay as long"

Sitting = tuple[PressFacts, ToolFacts]
"""A tool in its press."""


@dataclass(frozen=True)
class Assumptions:
    """What a fit rests on beside its lives."""

    handbook_life: float
    handbook_spread: float
    prior: Prior = field(default_factory=Prior)


@dataclass(frozen=True)
class Change:
    """What is to be otherwise; None leaves it as it is.

    rate_factor: strokes a minute over those of now: speed and strokes a day grow with it.
    strokes_per_day: strokes on a running day from now on, at the same speed.
    limit_factor: the wear limit over the one of now.
    leave_out: ids of lives that are not to count.

    Raises BadField naming the field.
    """

    rate_factor: float | None = None
    strokes_per_day: float | None = None
    limit_factor: float | None = None
    handbook_life: float | None = None
    handbook_spread: float | None = None
    prior: Prior | None = None
    leave_out: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        for name in ("rate_factor", "strokes_per_day", "limit_factor"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise BadField(name, value, "a number above 0")
        if self.rate_factor is not None and self.strokes_per_day is not None:
            raise BadField("strokes_per_day", self.strokes_per_day, "nothing beside rate_factor")

    def of_lives(self, lives: Sequence[Life]) -> list[Life]:
        """The lives that count, with their readings as shares of the changed limit.

        A tool found worn at the old limit had not reached a higher one: its readings tell the
        rest. It had reached a lower one at an age that only its readings tell.
        Raises BadField for ids that no life has, and for a limit without readings.
        """
        unknown = sorted(self.leave_out - {life.id for life in lives})
        if unknown:
            raise BadField("leave_out", unknown[0], "ids of lives of this place")
        kept = [life for life in lives if life.id not in self.leave_out]
        if self.limit_factor is None:
            return kept
        if not any(life.readings for life in kept):
            raise BadField("limit_factor", self.limit_factor, "null: no life here has a reading")
        return [_at_limit(life, self.limit_factor) for life in kept]

    def of_assumptions(self, now: Assumptions) -> Assumptions:
        """The assumptions with what is changed in them."""
        return Assumptions(
            self.handbook_life or now.handbook_life,
            self.handbook_spread or now.handbook_spread,
            self.prior or now.prior,
        )

    def of_tool(self, press: PressFacts, tool: ToolFacts) -> Sitting:
        """A tool and its press under the change, from now on."""
        rate, speed_now = press.rate, tool.speed_now
        if rate is not None:
            rate = replace(rate, strokes_per_day=self._pace(rate))
        if self.rate_factor is not None:
            known = tool.speed_now or tool.speed_so_far
            speed_now = None if known is None else known * self.rate_factor
        changed = replace(tool, speed_now=speed_now)
        if self.limit_factor is not None:
            changed = _tool_at_limit(changed, self.limit_factor)
        return replace(press, rate=rate), changed

    def _pace(self, rate: Rate) -> float:
        return self.strokes_per_day or rate.strokes_per_day * (self.rate_factor or 1.0)


def _at_limit(life: Life, factor: float) -> Life:
    readings = _scaled(life.readings, factor)
    if mode_of(life) != "wear":
        return replace(life, readings=readings)
    if factor > 1:
        return replace(life, readings=readings, end="planned", strokes_low=None)
    if factor < 1:
        return replace(life, readings=readings, end="worn", strokes_low=_sound_at(life, factor))
    return life


def _sound_at(life: Life, factor: float) -> float | None:
    """The last age at which a reading was below the lower limit, or the first sight."""
    sound = [one.strokes for one in life.readings if one.share < factor]
    low = max(sound, default=life.entry_strokes)
    return low if low < life.strokes else None


def _scaled(readings: Sequence[WearReading], factor: float) -> tuple[WearReading, ...]:
    return tuple(
        replace(one, share=one.share / factor, sd=None if one.sd is None else one.sd / factor)
        for one in readings
    )


def _tool_at_limit(tool: ToolFacts, factor: float) -> ToolFacts:
    readings = _scaled(tool.readings, factor)
    past = readings[-1].share >= 1 if readings else tool.read_past_limit
    return replace(tool, readings=readings, read_past_limit=past)


@dataclass(frozen=True)
class _Side:
    """One of the two calculations."""

    place: PlacePosterior
    speed: float | None
    made: tuple[Forecast, ...]

    def content(self) -> Content:
        place = self.place
        draws = middle_of(place, self.speed)
        return {
            "lives": place.lives,
            "failures": place.failures,
            "mean_speed_mps": None if self.speed is None else plain(self.speed),
            "median_life": interval(draws.quantile(0.5)),
            "b10": interval(draws.quantile(0.1)),
            "spread": told_interval(place.parameters()["spread"]),
            "families": dict(place.family_weights),
            "handbook_life": place.handbook_life,
            "handbook_spread": place.handbook_spread,
            "prior": place.prior.to_dict(),
        }


def what_if(
    lives: Sequence[Life],
    assumed: Assumptions,
    basis: LifeBasis,
    change: Change,
    tools: Sequence[Sitting],
    now: datetime,
) -> Content:
    """Place and tools as they are and under the change, and what differs; nothing is kept.

    lives: those of the place.  basis: of the place, whose law is not looked at.
    tools: the running tools of which dates are asked, at most MOST_TOOLS of them are told.
    Raises BadField naming the field of the change that can't be.
    """
    told = tools[:MOST_TOOLS]
    speed = mean_speed(lives)
    counting = change.of_lives(lives)
    as_is = _side(lives, assumed, basis, speed, told, now)
    changed_tools = [change.of_tool(*each) for each in told]
    changed_speed = speed if speed is None else speed * (change.rate_factor or 1.0)
    changed = _side(
        *(counting, change.of_assumptions(assumed), basis),
        *(changed_speed, changed_tools, now),
    )
    before, after = as_is.content(), changed.content()
    return {
        "now": before,
        "changed": after,
        "difference": {name: _apart(before, after, name) for name in ("median_life", "b10")},
        "tools": [_tool(*pair) for pair in zip(as_is.made, changed.made, strict=True)],
        "tools_not_told": len(tools) - len(told),
        "words": [
            *_in_words(before, after),
            *_states(as_is.made, changed.made),
            *([_NO_SPEED] if change.rate_factor is not None and speed is None else []),
        ],
    }


def _side(
    lives: Sequence[Life],
    assumed: Assumptions,
    basis: LifeBasis,
    speed: float | None,
    tools: Sequence[Sitting],
    now: datetime,
) -> _Side:
    place = fit_place(
        lives,
        handbook_life=assumed.handbook_life,
        handbook_spread=assumed.handbook_spread,
        prior=assumed.prior,
    )
    known = replace(
        basis,
        law=place,
        fit="what-if",
        lives=place.lives,
        failures=place.failures,
        families=place.family_weights,
    )
    made = forecast_presses([(press, [(tool, known)]) for press, tool in tools], now)
    return _Side(place, speed, tuple(one for row in made for one in row))


def _apart(before: Content, after: Content, name: str) -> Content:
    first, second = _median(before, name), _median(after, name)
    return {"strokes": plain(second - first), "ratio": plain(second / first)}


def _median(side: Content, name: str) -> float:
    told = side[name]
    assert isinstance(told, dict)  # noqa: S101 - as made in content
    return float(told["median"])


def _tool(before: Forecast, after: Forecast) -> Content:
    left = zip(*(remaining_at(one, DEFAULT_LEVELS) for one in (before, after)), strict=True)
    due = zip(*(due_at(one, DEFAULT_LEVELS) for one in (before, after)), strict=True)
    keys = [level_key(level) for level in DEFAULT_LEVELS]
    return {
        "press": before.press,
        "serial": before.serial,
        "strokes": before.strokes,
        "now": _told(before),
        "changed": _told(after),
        "difference": {
            "remaining_strokes": dict(zip(keys, [_more(*pair) for pair in left], strict=True)),
            "due_days": dict(zip(keys, [_later(*pair) for pair in due], strict=True)),
        },
    }


def _more(before: float | None, after: float | None) -> float | None:
    return None if before is None or after is None else plain(after - before)


def _later(before: datetime | None, after: datetime | None) -> float | None:
    """Days."""
    if before is None or after is None:
        return None
    return plain((after - before).total_seconds() / _DAY_S)


def _told(one: Forecast) -> Content:
    content = answer(one)
    return {name: content[name] for name in ("state", "remaining_strokes", "due")}


def _in_words(before: Content, after: Content) -> list[str]:
    first, second = _median(before, "median_life"), _median(after, "median_life")
    return [
        f"median life {strokes(first)} now, {strokes(second)} changed "
        f"({100 * (second / first - 1):+.0f} %)"
    ]


def _states(before: Sequence[Forecast], after: Sequence[Forecast]) -> list[str]:
    if not before:
        return []
    moved = sum(one.state != two.state for one, two in zip(before, after, strict=True))
    return [f"{moved} of {len(before)} tools change their state"]

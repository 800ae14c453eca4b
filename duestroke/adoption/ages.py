"""Strokes as a plant writes them down: exact, rounded by hand, or with a margin of their own."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

MILLION: Final = 1_000_000
_ABOUT: Final = re.compile(r"^(about|approx\.?|approximately|around|ca\.?|circa|roughly|~|≈)\s*")
_WORD: Final = re.compile(r"\s*(strokes?|str\.?)$")
_MARGIN: Final = re.compile(r"\s*(?:\+/-|\+-|±)\s*")
_RANGE: Final = re.compile(r"^(.+?)\s*(?:-|–|\bto\b)\s*(.+)$")
_NUMBER: Final = re.compile(
    r"^(\d+(?:\.\d+)?|\d{1,3}(?:,\d{3})+|\d{1,3}(?:[ '_]\d{3})+)\s*(m|mio|k)?$"
)
_COMMA: Final = re.compile(r"^(\d+),(\d{1,2})\s*(m|mio|k)$")
_FACTORS: Final = {"m": MILLION, "mio": MILLION, "k": 1_000}
_ALLOWED: Final = "strokes such as 20,000,000 or 20 M, about 20 M, 20 M +/- 2 M, 18-22 M"


@dataclass(frozen=True, slots=True)
class Rounded:
    """Strokes as stated, and by how many they may be off to either side; both whole, >= 0."""

    value: int
    margin: int

    @property
    def low(self) -> int:
        """The least that it may have been."""
        return self.value - self.margin

    @property
    def high(self) -> int:
        """The most that it may have been."""
        return self.value + self.margin


def read_strokes(text: str) -> Rounded:
    """Strokes from a cell. Raises ValueError that says what is allowed.

    A figure that ends in zeros was rounded by hand: to a million at most, by its last digit that is
    not zero; `about` doubles the margin. Common practice, no source.

    >>> read_strokes("20 M")
    Rounded(value=20000000, margin=500000)
    >>> read_strokes("about 20 M")
    Rounded(value=20000000, margin=1000000)
    >>> read_strokes("20,000,000") == read_strokes("20 M")
    True
    >>> read_strokes("18-22 M")
    Rounded(value=20000000, margin=2000000)
    >>> read_strokes("31,204,877")
    Rounded(value=31204877, margin=0)
    """
    plain = _WORD.sub("", text.strip().casefold())
    is_about = _ABOUT.match(plain) is not None
    plain = _ABOUT.sub("", plain)
    stated = _MARGIN.split(plain)
    if len(stated) == 2:
        return _with_margin(*stated)
    between = _RANGE.match(plain)
    if between is not None:
        return _between(*between.groups())
    value = _value(plain)
    return _bounded(value, _rounding(plain, value) * (2 if is_about else 1))


def _with_margin(value: str, margin: str) -> Rounded:
    unit = "" if _has_unit(margin) else _unit(value)
    return _bounded(_value(value), _value(margin + unit))


def _between(low: str, high: str) -> Rounded:
    ends = _value(low if _has_unit(low) else low + _unit(high)), _value(high)
    if ends[0] > ends[1]:
        raise ValueError(_ALLOWED)
    middle = sum(ends) // 2
    return Rounded(middle, ends[1] - middle)


def _has_unit(text: str) -> bool:
    return text[-1:].isalpha()


def _unit(text: str) -> str:
    return re.sub(r"[^a-z]", "", text)


def _value(text: str) -> int:
    number, factor = _parts(text)
    value = number * factor
    if value != int(value):
        raise ValueError(_ALLOWED)
    return int(value)


def _parts(text: str) -> tuple[Decimal, int]:
    found = _NUMBER.match(text) or _COMMA.match(text)
    if found is None:
        raise ValueError(_ALLOWED)
    *digits, unit = found.groups()
    plain = ".".join(re.sub(r"[ ,'_]", "", part) for part in digits)
    return Decimal(plain), _FACTORS[unit] if unit else 1


def _rounding(text: str, value: int) -> int:
    """Half of the last digit that was meant."""
    number, factor = _parts(text)
    exponent = number.as_tuple().exponent
    if factor > 1 and isinstance(exponent, int):
        step = Decimal(factor).scaleb(exponent)
        return int(step / 2)
    step_of = 1
    while value and step_of < MILLION and value % (step_of * 10) == 0:
        step_of *= 10
    return step_of // 2


def _bounded(value: int, margin: int) -> Rounded:
    return Rounded(value, min(margin, value))

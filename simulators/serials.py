"""Serials of the demo plant: kind letters, year bought, running number, check character."""

from __future__ import annotations

from typing import Final

_ALPHABET: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_MODULUS: Final = len(_ALPHABET)

KIND_LETTERS: Final = {
    "punch": "PU",
    "redraw-die": "RD",
    "redraw-sleeve": "RS",
    "ironing-ring": "IR",
    "stripper": "ST",
    "dome-die": "DT",
    "hold-ring": "HR",
}


def check_character(text: str) -> str:
    """Check character of capital letters and digits. Source: ISO 7064:2003, MOD 37,36.

    Raises ValueError for any other character.
    """
    check = _MODULUS
    for letter in text:
        total = (check + _ALPHABET.index(letter)) % _MODULUS or _MODULUS
        check = total * 2 % (_MODULUS + 1)
    return _ALPHABET[(1 - check) % _MODULUS]


def serial(kind: str, year: int, number: int) -> str:
    """A serial such as `PU23-0118-0`: the check covers the first part without hyphens."""
    head = f"{KIND_LETTERS[kind]}{year % 100:02d}"
    return f"{head}-{number:04d}-{check_character(f'{head}{number:04d}')}"

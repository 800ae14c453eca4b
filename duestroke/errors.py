"""Errors of the trade's rules. Shells turn them into problem details, quarantine rows or one line.

DuestrokeError
├── BadField          a known field has a wrong type or range
└── Contradiction     what is asked stands against what is on record
"""

from __future__ import annotations


class DuestrokeError(Exception):
    """Base of every error that this project raises on purpose."""


class BadField(DuestrokeError):
    """A known field has a wrong type or range: names the field, the value and what is allowed."""

    def __init__(self, field: str, value: object, allowed: str) -> None:
        super().__init__(f"{field}: got {value!r}, allowed is {allowed}")
        self.field, self.value, self.allowed = field, value, allowed


class Contradiction(DuestrokeError):
    """What is asked contradicts the record. `against` says in words what stands against it."""

    def __init__(self, against: str, *, field: str | None = None) -> None:
        super().__init__(against)
        self.against, self.field = against, field

"""When a line's crew takes a sound-looking tool out: three rules of the demo, on purpose different.

- `to-limit`: a tool stays until a reading is at the limit.
- `at-85-percent`: once a reading exceeds 85 % of the limit the tool comes out, `planned`, at the
  next stop. What hangs on the readings censors lives informatively.
- `fixed-age`: a tool comes out, `planned`, at 0.85 of the plant's own B50, unless a reading is at
  the limit before.

A tool that reads at its limit comes out `worn` at once under each of them.
"""

from __future__ import annotations

from typing import Final, Literal

from simulators.plant import FIRST_LIVES, Policy, Position

SHARE: Final = 0.85
Word = Literal["worn", "planned", "next-stop", "stays"]


def judge(policy: Policy, position: Position, reading_um: float | None, age: float) -> Word:
    """What a look at a stop leads to.

    reading_um: towards the limit, or None where nothing is measured.  age: what the crew knows of
    its strokes since rework, millions.
    """
    limit = position.limit_um
    share = 0.0 if reading_um is None or limit is None else reading_um / abs(limit)
    if share >= 1.0:
        return "worn"
    if policy == "at-85-percent" and share > SHARE:
        return "next-stop"
    if policy == "fixed-age" and age >= fixed_age(position):
        return "planned"
    return "stays"


def fixed_age(position: Position) -> float:
    """The age at which `fixed-age` changes a position, millions of strokes."""
    return SHARE * FIRST_LIVES[position.name][1]

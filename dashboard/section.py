"""The section through a press, cut into one slice a row: each part stands on the row of its words.

A slice is 196 wide and 66 high and is stretched to its row; the punch and the metal run through.
Shapes go by kind, so that a position of a plant's own is drawn as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

HIGH: Final = 66
CENTRE: Final = 98
PUNCH: Final = 68
"""Left edge of the punch; it mirrors at the centre, like everything here."""

CUP: Final = (44.0, 5.0)
DRAWN: Final = (63.0, 8.0)
WALLS: Final = ((63.9, 6.2), (65.0, 4.0), (65.9, 2.2))
"""Place and thickness of the wall after redraw and after each ironing ring: it gets thinner."""
THROATS: Final = (59, 61, 63)


@dataclass(frozen=True, slots=True)
class Part:
    """One row's part. kind: of its position.  calls: whether someone must act on it."""

    kind: str
    calls: bool = False
    known: bool = True
    """Whether a tool is recorded there; else its outline is broken."""


@dataclass(frozen=True, slots=True)
class _Through:
    """What runs through at one height: punch (or None past its end), and the wall, if any."""

    punch: bool = False
    punch_calls: bool = False
    wall: tuple[float, float] | None = None
    rings: int = 0


Shape = dict[str, Any]


def slices(parts: Sequence[Part]) -> list[dict[str, list[Shape]]]:
    """For each part, in the order of the rows: `part` (its slice) and `below` (what runs on).

    `below` fills the height of whatever is opened under the row.
    """
    made = []
    kinds = [part.kind for part in parts]
    through = _Through()
    for at, part in enumerate(parts):
        shapes, through = _slice(part, through, kinds[at + 1 :])
        made.append({"part": [*shapes, _lead(part)], "below": _running(through, 0, HIGH)})
    return made


def _slice(part: Part, above: _Through, later: Sequence[str]) -> tuple[list[Shape], _Through]:
    match part.kind:
        case "press":
            return _press(part, above)
        case "punch":
            below = replace(above, punch=True, punch_calls=part.calls)
            return _punch(part), below
        case "redraw-sleeve":
            return _sleeve(part, above, "redraw-die" in later)
        case "redraw-die":
            below = replace(above, wall=DRAWN)
            corner = [_metal(f"M{CUP[0]:g} 0V9H52", CUP[1])] if above.wall == CUP else []
            shape = _sides(
                part, "sec", ((42, 13), (16, 13), (16, 53), (51, 53), (56, 41), (56, 24))
            )
            return [*_running(replace(above, wall=None), 0, HIGH), *shape, *corner,
                    *_wall(below, 27, HIGH)], below  # fmt: skip
        case "ironing-ring":
            return _ring(part, above)
        case "dome-die":
            return _dome(part, above), _Through()
        case "stripper":
            shape = _sides(part, "", ((25, 16), (25, 26), (61, 50), (63, 44), (35, 16)))
            return [*_running(above, 0, HIGH), *shape], above
        case _:
            shape = _sides(part, "sec", ((64, 12), (38, 12), (38, 54), (64, 54)))
            return [*_running(above, 0, HIGH), *shape], above


def _press(part: Part, above: _Through) -> tuple[list[Shape], _Through]:
    rams = _sides(part, "", ((40, 11), (58, 11), (58, 55), (40, 55)))
    housing = {"c": "part", "d": "M60 6H136V62H60Z"}
    shank = {"c": "part", "d": f"M74 62V{HIGH}M122 62V{HIGH}"}
    return [*_running(above, 0, HIGH), *rams, housing, shank], above


def _punch(part: Part) -> list[Shape]:
    low = HIGH
    return [
        {"c": _tone("body", part), "d": f"M74 0H122V16H128V{low}H68V16H74Z"},
        {"c": _tone("side", part), "d": f"M74 0V16H68V{low}M122 0V16H128V{low}"},
    ]


def _sleeve(part: Part, above: _Through, die_below: bool) -> tuple[list[Shape], _Through]:
    below = replace(above, wall=CUP) if die_below else above
    shape = _sides(part, "", ((65, 10), (48, 10), (48, 56), (65, 56)))
    cup = _wall(below, 13, HIGH) if die_below else []
    passing = above if not die_below else replace(above, wall=None)
    return [*_running(passing, 0, HIGH), *shape, *cup], below


def _ring(part: Part, above: _Through) -> tuple[list[Shape], _Through]:
    at = min(above.rings, len(WALLS) - 1)
    below = replace(above, wall=WALLS[at], rings=above.rings + 1)
    inside = THROATS[at]
    corners = ((inside - 9, 13), (19, 13), (19, 53), (inside - 6, 53), (inside, 38), (inside, 30))
    shape = _sides(part, "sec", corners)
    before = replace(above, wall=above.wall or DRAWN)
    metal = [*_wall(before, 0, 30), *_wall(below, 28, HIGH)]
    return [*_running(replace(above, wall=None), 0, HIGH), *shape, *metal], below


def _dome(part: Part, above: _Through) -> list[Shape]:
    dome = {"c": _tone("part sec", part), "d": "M58 59V39H74Q98 17 122 39H138V59Z"}
    if not above.punch:
        return [dome]
    nose = "V9Q128 17 120 17Q98 2 76 17Q68 17 68 9"
    tone = "body hotp" if above.punch_calls else "body"
    side = "side hotp" if above.punch_calls else "side"
    return [
        {"c": tone, "d": f"M68 0H128{nose}Z"},
        {"c": side, "d": f"M128 0{nose}V0"},
        *_wall(above, 0, 9),
        dome,
    ]


def _running(through: _Through, top: float, low: float) -> list[Shape]:
    """The punch and the wall over a height in which nothing else is."""
    if not through.punch:
        return []
    tone = " hotp" if through.punch_calls else ""
    return [
        {"c": "body" + tone, "d": f"M68 {top:g}H128V{low:g}H68Z"},
        {"c": "side" + tone, "d": f"M68 {top:g}V{low:g}M128 {top:g}V{low:g}"},
        *_wall(through, top, low),
    ]


def _wall(through: _Through, top: float, low: float) -> list[Shape]:
    if through.wall is None or not through.punch:
        return []
    x, thick = through.wall
    mirror = 2 * CENTRE - x
    return [{"c": "metal", "d": f"M{x:g} {top:g}V{low:g}M{mirror:g} {top:g}V{low:g}", "w": thick}]


def _metal(path: str, thick: float) -> Shape:
    """A bent piece of the wall and its mirror; `path` is M x y V y H x."""
    head, bend = path[1:].split("V")
    x, y = head.split()
    low, to = bend.split("H")
    other = f"M{2 * CENTRE - float(x):g} {y}V{low}H{2 * CENTRE - float(to):g}"
    return {"c": "metal", "d": path + other, "w": thick}


def _sides(part: Part, more: str, corners: Sequence[tuple[float, float]]) -> list[Shape]:
    """A shape left of the centre and its mirror on the right."""
    left = "L".join(f"{x:g} {y:g}" for x, y in corners)
    right = "L".join(f"{2 * CENTRE - x:g} {y:g}" for x, y in corners)
    return [{"c": _tone(f"part {more}".strip(), part), "d": f"M{left}ZM{right}Z"}]


def _tone(name: str, part: Part) -> str:
    return name + (" hotp" if part.calls else "") + ("" if part.known else " unknown")


def _lead(part: Part) -> Shape:
    """The dotted line from the part to its words."""
    starts = {"press": 158, "punch": 132, "redraw-die": 182, "ironing-ring": 179, "stripper": 166}
    start = starts.get(part.kind, 160)
    return {"c": "lead", "d": f"M{start} 33H196"}

"""Other plants than the demo's, from a plain settings file: for tests and benchmarks.

    seed = 7
    days = 120                     # of history
    known_age = 0.7                # share of tools in place at the start whose age is known
    ages = "middle"                # of those tools: "middle" of their lives, or "new"

    [[line]]
    name = "1"
    site = "brackwater"            # of every line; this one by default
    presses = 4
    strokes_a_minute = 400
    policy = "to-limit"            # or "at-85-percent", "fixed-age"
    crank_radius_mm = 262.5
    rod_length_mm = 2000           # left out: a straight-line drive
    modulus = 65536                # of every counter of the line; 2^32 by default
    clean_weekday = 1              # Monday is 0

What a file leaves out has the value shown, but for `rod_length_mm`, `modulus`, `seed` and the
line's name. None of the demo's stories happens in such a plant.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, get_args

from duestroke.errors import BadField
from duestroke.names import PRESS, is_match
from duestroke.stroke import Drive
from simulators.plant import Line, Plant, Policy

SITE: Final = "brackwater"
_TOP: Final = ("seed", "days", "known_age", "ages", "line")
_LINE: Final = (
    *("name", "site", "presses", "strokes_a_minute", "policy", "crank_radius_mm"),
    *("rod_length_mm", "modulus", "clean_weekday"),
)
_MM: Final = 1000.0


def read_settings(file: Path) -> dict[str, Any]:
    """What a settings file says. Raises BadField naming what is wrong."""
    try:
        said = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        raise BadField("plant", str(file), f"a TOML file ({fault})") from fault
    plant_of(said)
    return said


def plant_of(said: Mapping[str, Any]) -> tuple[int, Plant]:
    """Seed and plant of what a settings file says. Raises BadField."""
    _only(said, _TOP, "")
    lines = said.get("line")
    if not isinstance(lines, list) or not lines:
        raise BadField("line", lines, "one [[line]] or more")
    found = tuple(_line(given, f"line {number}.") for number, given in enumerate(lines, 1))
    places = [(line.site, line.name) for line in found]
    for place in places:
        if places.count(place) > 1:
            raise BadField("line", "/".join(place), "each line once")
    ages = said.get("ages", "middle")
    if ages not in ("middle", "new"):
        raise BadField("ages", ages, "middle or new")
    plant = Plant(
        found,
        days=_whole(said, "days", 120, 2, 5_000),
        known_age=_number(said, "known_age", 0.7, 0.0, 1.0),
        new_at_start=ages == "new",
    )
    return _whole(said, "seed", None, 0, 2**53), plant


def _line(said: object, where: str) -> Line:
    if not isinstance(said, dict):
        raise BadField(where, said, "a [[line]]")
    _only(said, _LINE, where)
    name, site = said.get("name"), said.get("site", SITE)
    if not is_match(PRESS, f"{site}/{name}/01"):
        raise BadField(f"{where}name", name, "1 to 32 of a-z 0-9 -, as the site is")
    policy = said.get("policy", "to-limit")
    if policy not in get_args(Policy):
        raise BadField(f"{where}policy", policy, "one of " + ", ".join(get_args(Policy)))
    presses = _whole(said, "presses", 4, 1, 99, where)
    modulus = said.get("modulus")
    moduli = () if modulus is None else (_whole(said, "modulus", 0, 1_000, 2**53, where),) * presses
    return Line(
        name=str(name),
        presses=presses,
        drive=_drive(said, where),
        strokes_a_minute=_whole(said, "strokes_a_minute", 400, 1, 480, where),
        clean_weekday=_whole(said, "clean_weekday", 1, 0, 6, where),
        quarterly_week=5,
        policy=policy,
        moduli=moduli,
        site=str(site),
    )


def _drive(said: Mapping[str, Any], where: str) -> Drive:
    radius = _number(said, "crank_radius_mm", 262.5, 50.0, 500.0, where)
    if "rod_length_mm" not in said:
        return Drive(radius / _MM)
    rod = _number(said, "rod_length_mm", 0.0, 2.0 * radius, 20_000.0, where)
    return Drive(radius / _MM, rod / _MM)


def _only(said: Mapping[str, Any], allowed: tuple[str, ...], where: str) -> None:
    for name in said:
        if name not in allowed:
            raise BadField(f"{where}{name}", said[name], "one of " + ", ".join(allowed))


def _whole(
    said: Mapping[str, Any], name: str, default: int | None, low: int, high: int, where: str = ""
) -> int:
    value = said.get(name, default)
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise BadField(f"{where}{name}", value, f"a whole number from {low} to {high}")
    return value


def _number(
    said: Mapping[str, Any], name: str, default: float, low: float, high: float, where: str = ""
) -> float:
    value = said.get(name, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise BadField(f"{where}{name}", value, f"a number from {low:g} to {high:g}")
    return float(value)

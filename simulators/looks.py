"""Tools read at a stop: what the gauge says, what is written down, and what a story holds back."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from simulators import gauge, wear
from simulators.plant import HOUR, MINUTE, Press
from simulators.played import Look
from simulators.stories import Demo
from simulators.tooling import MILLION, Life

_HELD_SHARE: Final = 0.97
_HELD_SHARE_AT_85: Final = 0.84


@dataclass(frozen=True)
class Looks:
    """The looks of one press. duties: by position.  looks: where they are written down."""

    demo: Demo
    press: Press
    duties: Mapping[str, wear.Duty]
    looks: list[Look]

    def held(self, life: Life, reading: float | None, goes: bool) -> float | None:
        """A story's tool reads below what would take it out, until the story has it out."""
        if reading is None or life.position.limit_um is None:
            return reading
        limit = abs(life.position.limit_um)
        share = _HELD_SHARE_AT_85 if self.press.line.policy == "at-85-percent" else _HELD_SHARE
        return max(reading, limit) if goes else min(reading, math.floor(share * limit * 10) / 10)

    def _change_um(self, life: Life, strokes: int) -> float:
        return life.change_um(self.duties[life.position.name].until(strokes / MILLION))

    def read(self, life: Life, at: int, strokes: int) -> float | None:
        """What the gauge says, um towards the limit; None where there is nothing to measure."""
        if life.position.limit_um is None:
            return None
        change = self._change_um(life, strokes)
        return gauge.reading_um(self.demo, self.press, life.position, at, change)

    def enter(self, life: Life, at: int, strokes: int, reading: float | None, punch: Life) -> None:
        """Write a look down. reading: um towards the limit.  punch: the one in the press."""
        limit, note = life.position.limit_um, None
        look_at = None if life.script is None else life.script.look_at
        if look_at is not None and look_at <= at < look_at + 4 * HOUR:
            note = f"bore reads {life.tool.size_mm:.4f} mm, not that of the ring entered here"
        if reading is None or limit is None:
            self.looks.append(Look(at, life.tool, "good"))
            return
        verdict = "worn" if reading >= abs(limit) else "good"
        value = math.copysign(1.0, limit) * reading + 0.0
        quantity = gauge.GAUGED[life.position.name].quantity
        unsure = gauge.uncertainty_um(life.position)
        self.looks.append(
            Look(at, life.tool, verdict, quantity, value, gauge.UNIT, limit, unsure, note)
        )
        self._enter_set_reading(life, at + MINUTE, strokes, punch)

    def _enter_set_reading(self, life: Life, at: int, strokes: int, punch: Life) -> None:
        """A can measured with the tools: its wall under ring 3, its dome under the dome die."""
        demo, press, change = self.demo, self.press, self._change_um(life, strokes)
        if life.position.name == "ring-3":
            thinner = self._change_um(punch, strokes)
            wall = gauge.wall_um(demo, press, at, change, thinner)
            self.looks.append(Look(at, life.tool, None, "wall", wall, gauge.UNIT))
        if life.position.name == "dome-die":
            depth = gauge.dome_depth_mm(demo, press, at, change)
            self.looks.append(Look(at, life.tool, None, "dome-depth", depth, "mm"))

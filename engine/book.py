"""The book of lives: all of them as the record has them, read again only where it moved."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from duestroke.lives import Life, WearReading
from engine.duties import Duties
from engine.duty import Duty
from store.lives import Stretch
from store.unit import Unit

Place = tuple[str, str]
"""Kind and position."""


@dataclass(frozen=True, slots=True)
class ToolLife:
    """What the book says of a tool in its present life: wear as measured, duty so far."""

    readings: tuple[WearReading, ...]
    so_far: Duty


class LifeBook:
    """Lives by id, place and tool. Its memory only saves work: a new one comes to the same."""

    def __init__(self) -> None:
        self._lives: dict[str, Life] = {}
        self._stretches: dict[str, Stretch] = {}
        self._of_tool: dict[str, set[str]] = {}
        self._of_place: dict[Place, dict[str, Life]] = {}

    def of(self, place: Place) -> list[Life]:
        """The lives of a place by id."""
        return sorted(self._of_place.get(place, {}).values(), key=lambda life: life.id)

    def running(self) -> list[str]:
        """Tools that sit in a press now by the ledger."""
        return sorted(
            {
                life.serial
                for life in self._lives.values()
                if life.source == "ledger" and life.end == "running"
            }
        )

    def tool(self, serial: str, life_number: int, duties: Duties) -> ToolLife:
        """A tool in one of its lives, over all stretches of it that the record has."""
        own = [
            life
            for life in map(self._lives.__getitem__, self._of_tool.get(serial, ()))
            if life.source == "ledger" and life.life_number == life_number
        ]
        readings = sorted(
            (reading for life in own for reading in life.readings), key=lambda one: one.strokes
        )
        stretches = [self._stretches[life.id] for life in own]
        return ToolLife(tuple(readings), duties.over(stretches))

    def read_all(self, unit: Unit, duties: Duties) -> set[Place]:
        """Read every life; returns the places whose lives are others now."""
        stretches = {each.id: each for each in unit.lives.stretches()}
        known = set(self._lives)
        return self._take(known, unit.lives.for_inference(), stretches, duties)

    def read(self, unit: Unit, serials: Iterable[str], duties: Duties) -> set[Place]:
        """Read the ledger's lives of these tools; returns the places that changed."""
        named = sorted(set(serials))
        if not named:
            return set()
        known = {
            life_id
            for serial in named
            for life_id in self._of_tool.get(serial, ())
            if self._lives[life_id].source == "ledger"
        }
        stretches = {each.id: each for each in unit.lives.stretches(named)}
        return self._take(known, unit.lives.of_serials(named), stretches, duties)

    def take_duty(self, presses: Iterable[str], duties: Duties) -> set[Place]:
        """Reckon the duty of lives in these presses anew; returns the places that changed."""
        moved = set(presses)
        touched: set[Place] = set()
        for life_id, stretch in self._stretches.items():
            if stretch.press in moved and life_id in self._lives:
                touched |= self._put(_with_duty(self._lives[life_id], stretch, duties))
        return touched

    def _take(
        self,
        known: set[str],
        lives: Sequence[Life],
        stretches: Mapping[str, Stretch],
        duties: Duties,
    ) -> set[Place]:
        touched: set[Place] = set()
        for life_id in known - {life.id for life in lives}:
            touched.add(self._drop(life_id))
        self._stretches |= stretches
        for life in lives:
            stretch = stretches.get(life.id)
            touched |= self._put(life if stretch is None else _with_duty(life, stretch, duties))
        return touched

    def _put(self, life: Life) -> set[Place]:
        old = self._lives.get(life.id)
        if old == life:
            return set()
        touched = set() if old is None else {self._drop(life.id, keep_stretch=True)}
        place = (life.kind, life.position)
        self._lives[life.id] = life
        self._of_tool.setdefault(life.serial, set()).add(life.id)
        self._of_place.setdefault(place, {})[life.id] = life
        return touched | {place}

    def _drop(self, life_id: str, *, keep_stretch: bool = False) -> Place:
        life = self._lives.pop(life_id)
        if not keep_stretch:
            self._stretches.pop(life_id, None)
        place = (life.kind, life.position)
        del self._of_place[place][life_id]
        self._of_tool[life.serial].discard(life_id)
        return place


def _with_duty(life: Life, stretch: Stretch, duties: Duties) -> Life:
    duty = duties.over([stretch])
    return replace(life, mean_speed_mps=duty.speed_mps, mean_roughness=duty.roughness)

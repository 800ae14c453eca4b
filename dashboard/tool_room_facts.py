"""What the API tells of spares, and which kind and size a place asks for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import msgspec

from dashboard import words
from dashboard.client import Time
from dashboard.entry_tools import Place
from dashboard.fleet import Fleet
from dashboard.life_facts import Groups


class Held(msgspec.Struct, frozen=True):
    """A tool on the shelf or on the bench. reworks: how often it has been reworked."""

    serial: str
    size_mm: float | None
    batch: str | None
    reworks: int


class Away(Held, frozen=True):
    """A tool that is out for rework; `back_by_90` by how past promises of its kind were kept."""

    sent_at: Time | None
    back_at: Time | None
    back_by_90: Time | None


class Lateness(msgspec.Struct, frozen=True):
    """Days by which past reworks came after their promise; early is negative."""

    reworks: int
    median_days: float
    days_90: float


class Order(msgspec.Struct, frozen=True):
    """New tools on order."""

    quantity: int
    size_mm: float | None
    due_at: Time


class Stock(msgspec.Struct, frozen=True):
    """Spares of one kind, from `GET /stock`."""

    kind: str
    lead_days: float | None
    on_order: tuple[Order, ...]
    shelf: tuple[Held, ...]
    bench: tuple[Held, ...]
    out: tuple[Away, ...]
    usual_lateness: Lateness | None


class Number(msgspec.Struct, frozen=True):
    """A number of spares: its mean, and what is enough with chance 0.5 and 0.9."""

    expected: float
    level_50: int
    level_90: int


class Week(msgspec.Struct, frozen=True, rename={"start": "from", "end": "to"}):
    """Seven days: wanted in them, and in all by their end, against what is there by then."""

    start: Time
    end: Time
    wanted: Number
    wanted_by_then: Number
    back_by_then: int
    ordered_by_then: int


class Demand(msgspec.Struct, frozen=True):
    """Spares wanted of one kind and size, from `GET /demand`."""

    kind: str
    size_mm: float | None
    size_tolerance_mm: float | None
    positions: tuple[str, ...]
    tools: int
    without_range: int
    shelf: tuple[str, ...]
    weeks: tuple[Week, ...]


class DemandList(msgspec.Struct, frozen=True):
    """All kinds and sizes; `made_at`: of the oldest forecast in it."""

    items: tuple[Demand, ...]
    made_at: Time | None


class Batched(msgspec.Struct, frozen=True):
    """The batches of one place, from `GET /life-models`."""

    kind: str
    position: str
    groups: dict[str, Groups] = {}


class Models(msgspec.Struct, frozen=True):
    """All life models, as far as their batches go."""

    items: tuple[Batched, ...]


@dataclass(frozen=True, slots=True)
class Weak:
    """A batch whose median life is credibly below that of the others; ratio: by how much."""

    position: str
    batch: str
    ratio: float


def weak_batches(models: Models | None) -> tuple[Weak, ...]:
    """Batches that the records tell from the others, to the worse."""
    return tuple(
        Weak(model.position, group.label, group.ratio.median)
        for model in (models.items if models else ())
        for group in model.groups.get("batch", Groups((), ())).groups
        if group.differs and group.ratio.median < 1
    )


@dataclass(frozen=True, slots=True)
class Room:
    """All that the page knows. can_enter: whether who asks may enter a rework."""

    fleet: Fleet
    demand: Sequence[Demand]
    stock: Mapping[str, Stock]
    places: Mapping[str, Place]
    can_enter: bool = False
    weak: Sequence[Weak] = ()

    def weak_at(self, demand: Demand, batch: str) -> Weak | None:
        """What is known against a batch at the places that ask for this kind and size."""
        found = (w for w in self.weak if w.batch == batch and w.position in demand.positions)
        return next(found, None)

    def sizes_of(self, kind: str) -> int:
        """How many sizes of a kind are asked for."""
        return sum(each.kind == kind for each in self.demand)

    def group(self, press: str, position: str) -> Demand | None:
        """The kind and size that a place asks for; None where nothing of it is wanted."""
        found = [each for each in self.demand if position in each.positions]
        place = self.places.get(position)
        if len(found) < 2 or place is None:
            return found[0] if found else None
        size, _ = place.size_in(press)
        return next((each for each in found if each.size_mm == size), found[0])


def there(week: Week, demand: Demand) -> int:
    """Spares there by the end of a week: shelf, promised back and due on order."""
    return len(demand.shelf) + week.back_by_then + week.ordered_by_then


def short_at(demand: Demand, level: str) -> Week | None:
    """The first week by whose end more may be wanted than is there. level: `50` or `90`."""
    return next((each for each in demand.weeks if _number(each, level) > there(each, demand)), None)


def _number(week: Week, level: str) -> int:
    return week.wanted_by_then.level_90 if level == "90" else week.wanted_by_then.level_50


def size_words(size_mm: float | None) -> str:
    """`66.150 mm`; `any size` where none is asked for."""
    return "any size" if size_mm is None else f"{size_mm:.3f}{words.NB}mm"


def own_size(size_mm: float | None) -> str:
    """A tool's size; said where nobody has entered one."""
    return "no size entered" if size_mm is None else f"{size_mm:.3f}{words.NB}mm"


def named(demand: Demand) -> str:
    """`ironing-ring 66.150 mm`, or the kind alone where any size serves."""
    size = "" if demand.size_mm is None else f" {size_words(demand.size_mm)}"
    return f"{whole(demand.kind)}{size}"


def whole(name: str) -> str:
    """A name that never breaks at its hyphens."""
    return name.replace("-", "\u2011")

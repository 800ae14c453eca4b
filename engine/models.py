"""Fitted life models, one for each kind at each position, fitted anew only when lives changed."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from importlib.metadata import version
from typing import Any, Final

from numpy.linalg import LinAlgError

from duestroke.errors import DuestrokeError
from duestroke.forecast import LifeBasis
from duestroke.forecast.facts import OddBatch
from duestroke.inference import MODEL_VERSION, Interval
from duestroke.inference.place import PlacePosterior, fit_place
from duestroke.inference.prior import Prior
from duestroke.lives import Life
from duestroke.names import DEFAULT_SPREAD
from engine.answers import life_model_answer
from engine.book import LifeBook, Place
from engine.chunks import Packer, digest_of_fit
from store.forecasts import LifeModel
from store.lives import NEAR_LIMIT
from store.positions import Position
from store.unit import Unit

log = logging.getLogger(__name__)

AGE_STEP: Final = 500
"""Ages of running tools count in steps of this part of the handbook life.

Each report moves every running tool's age; a fit need not follow a thousandth of a life.
"""
DIGITS: Final = 6
"""Figures told with each forecast: their last digits may differ from process to process."""
PROGRAM: Final = version("duestroke")


@dataclass(frozen=True, slots=True)
class Fitted:
    """A posterior with the digest of what it was fitted to."""

    digest: str
    basis: LifeBasis


class Models:
    """The life models that stand. Remembers fits by the digest of their lives and settings."""

    def __init__(self) -> None:
        self._fitted: dict[Place, Fitted] = {}
        self._packers: dict[Place, Packer] = {}
        self._wanted: dict[Place, None] = {}

    def basis(self, position: Position) -> LifeBasis:
        """The basis for a position; without a law where there is none."""
        known = self._fitted.get(place_of(position))
        return _no_basis(position) if known is None else known.basis

    def want(self, places: Iterable[Place]) -> None:
        """Have these places looked at when fits are made next; those asked first come first."""
        self._wanted |= dict.fromkeys(sorted(places))

    @property
    def lacks(self) -> set[Place]:
        """Places that wait for their first fit."""
        return {place for place in self._wanted if place not in self._fitted}

    @property
    def is_behind(self) -> bool:
        """Whether places wait to be looked at."""
        return bool(self._wanted)

    def refresh(
        self,
        unit: Unit,
        positions: Mapping[Place, Position],
        book: LifeBook,
        now: datetime,
        go_on: Callable[[], bool],
    ) -> int:
        """Fit the wanted places whose lives changed; returns how many were.

        Each is committed by itself.  go_on: asked after each; what is left is wanted still.
        """
        fits = 0
        for place in list(self._wanted):
            position = positions.get(place)
            del self._wanted[place]
            if position is None or position.handbook_life is None:
                self._fitted.pop(place, None)
                continue
            try:
                fits += self._refit(unit, position, book.of(place), now)
            except (DuestrokeError, ArithmeticError, LinAlgError):
                # One place's odd records must not end the engine: the fit before stands.
                log.exception(
                    "%s at %s could not be fitted", *place, extra={"action": "place-not-fitted"}
                )
            unit.commit()
            if not go_on():
                break
        return fits

    def _refit(self, unit: Unit, position: Position, lives: list[Life], now: datetime) -> bool:
        place = place_of(position)
        stepped = [_stepped(life, position) for life in lives]
        settings = settings_of(position)
        chunks = self._packers.setdefault(place, Packer()).pack(stepped)
        digest = digest_of_fit(chunks, settings)
        known = self._fitted.get(place)
        if known is not None and known.digest == digest:
            return False
        posterior, basis = fitted(settings, stepped, digest)
        self._fitted[place] = Fitted(digest, basis)
        unit.forecasts.keep_lives(chunks)
        unit.lives.keep_duty(stepped)
        made = _model(settings, posterior, stepped, digest, now, basis)
        unit.forecasts.save_model(replace(made, chunks=tuple(sorted(chunks))))
        log.info(
            "fitted %s at %s to %d lives with %d failures",
            *(*place, posterior.lives, posterior.failures),
            extra={"action": "life-model-fitted"},
        )
        return True


def place_of(position: Position) -> Place:
    """The place that a position's tools make."""
    return position.kind, position.position


def settings_of(position: Position) -> dict[str, Any]:
    """All that a fit rests on beside its lives, as it is kept with it."""
    return {
        "kind": position.kind,
        "position": position.position,
        "handbook_life": position.handbook_life,
        "handbook_spread": position.handbook_spread or DEFAULT_SPREAD,
        "handbook_own": position.handbook_own,
        "prior": Prior().to_dict(),
        "model_version": MODEL_VERSION,
        "program": PROGRAM,
    }


def fitted(
    settings: Mapping[str, Any], lives: Sequence[Life], digest: str
) -> tuple[PlacePosterior, LifeBasis]:
    """The fit of these lives under these settings: the same ones give the same, anywhere."""
    posterior = fit_place(
        lives,
        handbook_life=settings["handbook_life"],
        handbook_spread=settings["handbook_spread"],
        prior=Prior(**settings["prior"]),
    )
    return posterior, _basis(settings, posterior, lives, digest)


def _stepped(life: Life, position: Position) -> Life:
    """A running tool's age, rounded down to a step, though not below what is known of it."""
    if life.end != "running" or life.source != "ledger" or not position.handbook_life:
        return life
    step = position.handbook_life / AGE_STEP
    known = [life.entry_strokes, life.strokes_low or 0.0]
    known += [reading.strokes for reading in life.readings[-1:]]
    return replace(life, strokes=max(step * (life.strokes // step), *known))


def _basis(
    settings: Mapping[str, Any], posterior: PlacePosterior, lives: Sequence[Life], digest: str
) -> LifeBasis:
    kind, position = settings["kind"], settings["position"]
    ended = [life for life in lives if life.source == "ledger" and life.end != "running"]
    rate = posterior.effects()["rate"]
    return LifeBasis(
        kind=kind,
        position=position,
        law=posterior,
        fit=f"{kind}/{position}/{digest[:12]}",
        lives=posterior.lives,
        failures=posterior.failures,
        families={name: round(w, DIGITS) for name, w in posterior.family_weights.items()},
        prior_only=all(_is_running_here(life) for life in lives),
        handbook_is_default=not settings["handbook_own"],
        planned_close=sum(_is_close_pull(life) for life in ended),
        ends=len(ended),
        readings_used=any(life.readings for life in lives),
        rate_exponent=_coarse(rate.interval) if rate.known else None,
        rate_unknown=not rate.known and rate.interval != rate.prior,
        odd_batches=_odd_batches(posterior),
        rough_matters=posterior.two_modes > 0.5,
        rough_known=posterior.effects()["roughness"].known,
    )


def _odd_batches(posterior: PlacePosterior) -> dict[str, OddBatch]:
    return {
        each.label: OddBatch(*_coarse(each.ratio), each.lives, each.failures)
        for each in posterior.groups("batch")
        if each.differs
    }


def _coarse(interval: Interval) -> tuple[float, float, float]:
    low, high = round(interval.low, DIGITS), round(interval.high, DIGITS)
    return round(interval.median, DIGITS), low, high


def _is_running_here(life: Life) -> bool:
    """Whether a life is that of a tool in a press now: no ended life, none typed in."""
    return life.end == "running" and life.source == "ledger"


def _is_close_pull(life: Life) -> bool:
    """Whether it was pulled as planned when its last reading stood close under the limit."""
    last = life.readings[-1:]
    return life.end == "planned" and any(reading.share > NEAR_LIMIT for reading in last)


def _no_basis(position: Position) -> LifeBasis:
    return LifeBasis(kind=position.kind, position=position.position, law=None, fit="none")


def _model(
    settings: Mapping[str, Any],
    posterior: PlacePosterior,
    lives: Sequence[Life],
    digest: str,
    now: datetime,
    basis: LifeBasis,
) -> LifeModel:
    return LifeModel(
        kind=settings["kind"],
        position=settings["position"],
        digest=digest,
        made_at=now,
        model_version=posterior.model_version,
        content={**posterior.to_dict(), "settings": settings},
        answer=life_model_answer(posterior, lives, basis, now),
    )

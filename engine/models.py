"""Fitted life models, one for each kind at each position, fitted anew only when lives changed."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from duestroke.forecast import LifeBasis
from duestroke.forecast.digest import digest_of_lives
from duestroke.inference import MODEL_VERSION, Posterior, Prior, fit
from duestroke.inference.place import PlacePosterior
from duestroke.lives import Life
from duestroke.names import DEFAULT_SPREAD
from engine.answers import life_model_answer
from store.forecasts import LifeModel
from store.lives import Ends
from store.positions import Position
from store.unit import Unit

log = logging.getLogger(__name__)

Place = tuple[str, str]
"""Kind and position."""

AGE_STEP: Final = 500
"""Ages of running tools count in steps of this part of the handbook life.

Each report moves every running tool's age; a fit need not follow a thousandth of a life.
"""


@dataclass(frozen=True, slots=True)
class Fitted:
    """A posterior with the digest of what it was fitted to."""

    digest: str
    basis: LifeBasis


class Models:
    """The life models that stand. Remembers fits by the digest of their lives and settings."""

    def __init__(self) -> None:
        self._fitted: dict[Place, Fitted] = {}

    def basis(self, position: Position) -> LifeBasis:
        """The basis for a position; without a law where there is none."""
        known = self._fitted.get((position.kind, position.position))
        return _no_basis(position) if known is None else known.basis

    def refresh(self, unit: Unit, positions: Sequence[Position], now: datetime) -> int:
        """Read the lives of all positions and fit those that changed; returns how many were."""
        lives = _by_place(unit.lives.for_inference())
        near = unit.lives.all_ends_near_limit()
        changed = 0
        for position in positions:
            place = (position.kind, position.position)
            if position.handbook_life is None:
                self._fitted.pop(place, None)
                continue
            changed += self._refit(unit, position, lives.get(place, []), near.get(place), now)
        return changed

    def _refit(
        self, unit: Unit, position: Position, lives: list[Life], near: Ends | None, now: datetime
    ) -> bool:
        place = (position.kind, position.position)
        stepped = [_stepped(life, position) for life in lives]
        close, ends = (0, 0) if near is None else (near.planned_near_limit, near.ends)
        settings = {**_settings(position), "planned_close": [close, ends]}
        digest = digest_of_lives(stepped, settings)
        known = self._fitted.get(place)
        if known is not None and known.digest == digest:
            return False
        posterior = _fit(position, stepped)
        basis = replace(_basis(position, posterior, lives, digest), planned_close=close, ends=ends)
        self._fitted[place] = Fitted(digest, basis)
        unit.forecasts.save_model(_model(position, posterior, stepped, digest, now, basis))
        log.info(
            "fitted %s at %s to %d lives with %d failures",
            *(*place, posterior.lives, posterior.failures),
            extra={"action": "life-model-fitted"},
        )
        return True


def _by_place(lives: Sequence[Life]) -> dict[Place, list[Life]]:
    places: dict[Place, list[Life]] = {}
    for life in lives:
        places.setdefault((life.kind, life.position), []).append(life)
    return places


def _fit(position: Position, lives: Sequence[Life]) -> Posterior:
    assert position.handbook_life is not None  # noqa: S101 - asked before
    return fit(
        lives, handbook_life=position.handbook_life, handbook_spread=position.handbook_spread
    )


def _settings(position: Position) -> dict[str, object]:
    return {
        "kind": position.kind,
        "position": position.position,
        "handbook_life": position.handbook_life,
        "handbook_spread": position.handbook_spread or DEFAULT_SPREAD,
        "handbook_own": position.handbook_own,
        "prior": Prior().to_dict(),
        "model_version": MODEL_VERSION,
    }


def _stepped(life: Life, position: Position) -> Life:
    """A running tool's age, rounded down to a step, though not below what is known of it."""
    if life.end != "running" or life.source != "ledger" or not position.handbook_life:
        return life
    step = position.handbook_life / AGE_STEP
    age = max(step * (life.strokes // step), life.entry_strokes, life.strokes_low or 0.0)
    return replace(life, strokes=age)


def _basis(
    position: Position, posterior: Posterior, lives: Sequence[Life], digest: str
) -> LifeBasis:
    return LifeBasis(
        kind=position.kind,
        position=position.position,
        law=PlacePosterior(posterior, posterior.failures, 0),
        fit=f"{position.kind}/{position.position}/{digest[:12]}",
        lives=posterior.lives,
        failures=posterior.failures,
        families=posterior.family_weights,
        prior_only=all(_is_running_here(life) for life in lives),
        handbook_is_default=not position.handbook_own,
    )


def _is_running_here(life: Life) -> bool:
    """Whether a life is that of a tool in a press now: no ended life, none typed in."""
    return life.end == "running" and life.source == "ledger"


def _no_basis(position: Position) -> LifeBasis:
    return LifeBasis(kind=position.kind, position=position.position, law=None, fit="none")


def _model(
    position: Position,
    posterior: Posterior,
    lives: Sequence[Life],
    digest: str,
    now: datetime,
    basis: LifeBasis,
) -> LifeModel:
    return LifeModel(
        kind=position.kind,
        position=position.position,
        digest=digest,
        made_at=now,
        model_version=posterior.model_version,
        content=posterior.to_dict(),
        answer=life_model_answer(posterior, lives, basis, now),
    )

"""A fitted life model as `GET /life-models` gives it: plain JSON content, curves included."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from duestroke.forecast import LifeBasis
from duestroke.inference.place import PlacePosterior
from duestroke.inference.tool import ToolRecord
from duestroke.lives import Life
from duestroke.readouts import told_model
from duestroke.times import format_time


def life_model_answer(
    place: PlacePosterior, lives: Sequence[Life], basis: LifeBasis, now: datetime
) -> dict[str, object]:
    """What stands for a place: whose it is, what it rests on, its read-outs; all in strokes.

    `goodness` is None for a family that the lives cannot tell apart.
    """
    seen = place.alternatives(ToolRecord(0.0))
    return {
        "kind": basis.kind,
        "position": basis.position,
        "fit": basis.fit,
        "made_at": format_time(now.replace(microsecond=0)),
        "model_version": place.model_version,
        "lives": basis.lives,
        "failures": basis.failures,
        "prior_only": basis.prior_only,
        "handbook_is_default": basis.handbook_is_default,
        "found_at_inspection": sum(each.weight * each.q for each in seen),
        **told_model(place, lives),
    }

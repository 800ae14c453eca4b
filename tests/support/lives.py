"""A life of one tool, hand-written for life inference: only what a likelihood looks at differs."""

from __future__ import annotations

from duestroke.lives import EndReason, Life


def life(
    strokes: float,
    end: EndReason = "running",
    *,
    low: float | None = None,
    entry: float = 0.0,
    entry_low: float | None = None,
) -> Life:
    """A punch's life in strokes. low: last known good.  entry: strokes when first seen."""
    return Life(
        id=f"{strokes}-{end}-{low}-{entry}",
        serial="S1",
        kind="punch",
        position="punch",
        press=None,
        batch=None,
        entry_strokes=entry,
        entry_low=entry_low,
        strokes=strokes,
        strokes_low=low,
        end=end,
        ended_at=None,
        mean_speed_mps=None,
        source="imported",
    )

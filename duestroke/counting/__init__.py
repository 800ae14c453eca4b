"""Counting: readings in any order to strokes, spans and flags; batch and incremental forms agree."""

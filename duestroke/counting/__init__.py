"""Counting: readings in any order to strokes, spans and flags, at once or bit by bit."""

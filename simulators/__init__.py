"""Seeded presses, tools and plants, with a truth of their own kept apart."""

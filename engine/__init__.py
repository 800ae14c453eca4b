"""Keeps forecasts current: wakes, asks the store what changed, computes, appends."""

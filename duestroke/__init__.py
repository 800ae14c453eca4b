"""The trade's rules and mathematics: pure, typed, without clock, I/O or global randomness.

Rooms: `messages` (payload bytes to reports), `counting` (readings to strokes, spans and flags),
`stroke` (slider-crank), `ledger` (tool events to who sits where), `lives` (ledger to life
observations), `inference` (observations to posteriors), `calendar` (running time between two
instants), `forecast` (posterior, age and rate to due ranges), `score` (how forecasts came out).
"""

"""The engine's own likelihood against other libraries on random censored and truncated lives.

Reference: maxima found with scipy's distributions and by lifelines and SurPyval, which agree with
each other; stored in data/reference_fits.json by reference_fits.py beside this file.
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from duestroke.inference.families import LOGNORMAL, WEIBULL
from duestroke.inference.maximum import maximum_likelihood
from duestroke.inference.observations import CENSORED, EXACT, INTERVAL, Observations
from tests.published.samples import FAMILIES, SCHEMES, Sample, sample

STORED = json.loads((Path(__file__).parent / "data" / "reference_fits.json").read_text())
FITS = STORED["fits"]
ALIKE = 2e-5
"""Of log location and log spread: the references are told to 1e-7, the searches stop before."""


def observed(lives: Sample) -> Observations:
    exact = lives.low == lives.high
    code = np.where(exact, EXACT, np.where(lives.ended, INTERVAL, CENSORED)).astype(np.int8)
    high = np.where(lives.ended, lives.high, lives.low)
    return Observations(code, lives.low, high, lives.entry, lives.entry)


def test_references_cover_every_scheme_and_both_libraries() -> None:
    assert len(FITS) >= 200
    drawn = Counter((one.family, one.scheme) for one in (sample(fit["seed"]) for fit in FITS))
    assert all(drawn[family, scheme] >= 20 for family in FAMILIES for scheme in SCHEMES)
    agreed = Counter(name for fit in FITS for name in fit["agree"])
    assert min(agreed["lifelines"], agreed["surpyval"]) >= 200


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("family", FAMILIES)
def test_the_most_likely_law_is_that_of_the_other_libraries(family: str, scheme: str) -> None:
    for fit in FITS:
        lives = sample(fit["seed"])
        if (lives.family, lives.scheme) != (family, scheme):
            continue
        assert lives.check_sum == pytest.approx(fit["check_sum"], abs=1e-4), fit["seed"]
        found = maximum_likelihood(observed(lives), WEIBULL if family == "weibull" else LOGNORMAL)
        place, spread = found.law.median, found.law.spread
        if family == "weibull":
            place, spread = found.law.scale, 1 / found.law.shape
        assert np.log(place) == pytest.approx(fit["log_location"], abs=ALIKE), fit["seed"]
        assert np.log(spread) == pytest.approx(fit["log_spread"], abs=ALIKE), fit["seed"]
        assert found.log_likelihood == pytest.approx(fit["log_likelihood"], abs=2e-6), fit["seed"]

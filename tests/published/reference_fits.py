"""Ask other libraries for the most likely law of each sample: writes data/reference_fits.json.

Run by hand in an environment of its own, never in the project's:
    python -m venv /tmp/reference && /tmp/reference/bin/pip install lifelines==0.30.3 surpyval==0.25
    /tmp/reference/bin/python tests/published/reference_fits.py

A sample is kept where a library's maximum and a direct one with scipy's own distributions agree;
the direct one, which is sharper, is stored, with the names of the libraries that agree.
"""

from __future__ import annotations

import json
import warnings
from importlib.metadata import version
from pathlib import Path

import lifelines
import numpy as np
import surpyval
from samples import SEEDS, Sample, sample
from scipy import optimize, stats

OUT = Path(__file__).parent / "data" / "reference_fits.json"
CLOSE = 2e-3


def law(family: str, log_location: float, log_spread: float):
    spread = np.exp(log_spread)
    if family == "weibull":
        return stats.weibull_min(1 / spread, scale=np.exp(log_location))
    return stats.lognorm(spread, scale=np.exp(log_location))


def log_likelihood(lives: Sample, at: np.ndarray) -> float:
    known = law(lives.family, *at)
    exact = lives.low == lives.high
    between = lives.ended & ~exact
    total = known.logpdf(lives.low[exact]).sum()
    total += np.log(known.sf(lives.low[between]) - known.sf(lives.high[between])).sum()
    total += known.logsf(lives.low[~lives.ended]).sum()
    return float(total - known.logsf(lives.entry).sum())


def by_scipy(lives: Sample) -> np.ndarray:
    start = np.array([np.log(np.median(lives.low + 1e-9)), np.log(0.5)])
    found = optimize.minimize(
        lambda at: -log_likelihood(lives, at),
        start,
        method="Nelder-Mead",
        options={"xatol": 1e-10, "fatol": 1e-11, "maxiter": 4000},
    )
    return found.x


def by_lifelines(lives: Sample) -> np.ndarray:
    fitter = lifelines.WeibullFitter() if lives.family == "weibull" else lifelines.LogNormalFitter()
    entry = lives.entry if lives.entry.any() else None
    if lives.scheme.startswith("interval"):
        fitter.fit_interval_censoring(lives.low, lives.high, entry=entry)
    else:
        fitter.fit(lives.low, lives.ended, entry=entry)
    if lives.family == "weibull":
        return np.log([fitter.lambda_, 1 / fitter.rho_])
    return np.array([fitter.mu_, np.log(fitter.sigma_)])


def by_surpyval(lives: Sample) -> np.ndarray:
    family = surpyval.Weibull if lives.family == "weibull" else surpyval.LogNormal
    truncated = lives.entry if lives.entry.any() else None
    exact = lives.low == lives.high
    between = lives.ended & ~exact
    ages = lives.low
    code = np.where(between, 2, np.where(lives.ended, 0, 1))
    if between.any():
        ages = np.stack([lives.low, np.where(between, lives.high, lives.low)], axis=1)
    fitted = family.fit(ages, c=code, tl=truncated)
    first, second = fitted.params
    return (
        np.log([first, 1 / second])
        if lives.family == "weibull"
        else np.array([first, np.log(second)])
    )


def reference(seed: int) -> dict[str, object] | None:
    lives = sample(seed)
    if lives.ended.sum() < 3:
        return None
    best = by_scipy(lives)
    agree = []
    for name, ask in (("lifelines", by_lifelines), ("surpyval", by_surpyval)):
        other = ask(lives)
        if np.abs(other - best).max() < CLOSE:
            agree.append(name)
        else:
            print(seed, lives.family, lives.scheme, name, other - best)
    if not agree:
        return None
    return {
        "seed": seed,
        "check_sum": lives.check_sum,
        "log_location": round(float(best[0]), 7),
        "log_spread": round(float(best[1]), 7),
        "log_likelihood": round(log_likelihood(lives, best), 6),
        "agree": agree,
    }


def main() -> None:
    warnings.simplefilter("ignore")
    fits = [found for found in map(reference, SEEDS) if found is not None]
    names = ("lifelines", "surpyval", "scipy", "numpy")
    content = {
        "source": "made by reference_fits.py in tests/published, samples by samples.py there",
        "versions": {name: version(name) for name in names},
        "log_location": "log Weibull scale, or mean of log life",
        "log_spread": "log of 1 / Weibull shape, or of the sd of log life",
        "fits": fits,
    }
    rows = ",\n".join("    " + json.dumps(each) for each in content.pop("fits"))
    head = json.dumps(content, indent=2)[:-2]
    OUT.write_text(f'{head},\n  "fits": [\n{rows}\n  ]\n}}\n')
    print(len(fits), "samples kept of", len(SEEDS))


if __name__ == "__main__":
    main()

"""Whether probability transforms are uniform, as those of right forecasts are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import chi2, kstwo

from duestroke.errors import BadField

Array = NDArray[np.float64]

CELLS: Final = 10


@dataclass(frozen=True)
class Uniformity:
    """Distance of `n` transforms from uniform, with its chance under a right forecast.

    chi_square: of `cells` equal cells.  distance: the largest between the two distribution
    functions (Kolmogorov).  chi_square_chance, distance_chance: to come out as far or farther.
    """

    n: int
    cells: int
    chi_square: float
    chi_square_chance: float
    distance: float
    distance_chance: float


def uniformity(transforms: ArrayLike, cells: int = CELLS) -> Uniformity:
    """Test independent transforms, (n,) in [0, 1], n >= 1, against the uniform law.

    The chi-square law wants five or more in a cell; the other one is exact at any n.
    Raises BadField without transforms or with one outside [0, 1].
    """
    values = np.sort(np.asarray(transforms, dtype=np.float64).ravel())
    if not values.size or values[0] < 0 or values[-1] > 1:
        raise BadField("transforms", "none or outside", "one or more numbers from 0 to 1")
    counts = np.histogram(values, bins=cells, range=(0.0, 1.0))[0]
    wanted = values.size / cells
    square = float(np.sum((counts - wanted) ** 2) / wanted)
    ranks = np.arange(values.size + 1) / values.size
    distance = float(max(np.max(ranks[1:] - values), np.max(values - ranks[:-1])))
    return Uniformity(
        n=int(values.size),
        cells=cells,
        chi_square=square,
        chi_square_chance=float(chi2.sf(square, cells - 1)),
        distance=distance,
        distance_chance=float(kstwo.sf(distance, values.size)),
    )


def critical_distances(n: int, level: float, cells: int = CELLS) -> tuple[float, float]:
    """Chi-square and distance that a right forecast stays below with chance `level`, 0 to 1."""
    return float(chi2.ppf(level, cells - 1)), float(kstwo.ppf(level, n))


def drawn(low: ArrayLike, high: ArrayLike, rng: np.random.Generator) -> Array:
    """Randomised transforms: where an outcome is known to a range only, any point of it.

    low, high: (n,) in [0, 1]; `high` is 1 for an outcome still to come. Uniform under a right
    forecast whatever hid the outcome, as long as that knew no more than the forecast (Czado,
    Gneiting and Held 2009, Biometrics 65, 1254-1261, for ranges that are masses of the forecast).
    """
    least, most = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    return np.asarray(least + rng.random(least.shape) * (most - least))

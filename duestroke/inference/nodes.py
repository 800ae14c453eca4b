"""Parameter points of a posterior, and survival under each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.families import Family

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Nodes:
    """Parameter points of one family: log median `m`, spread `s`, posterior mass `weight`, (n,)."""

    family: Family
    m: Array
    s: Array
    weight: Array


def log_survival(nodes: Nodes, ages: Array) -> Array:
    """Log survival to each age, a share of the handbook life, >= 0; shape (ages, nodes)."""
    with np.errstate(divide="ignore"):  # age 0 is -inf on purpose
        x = np.log(ages)
    return nodes.family.log_survival(x[:, None] - nodes.m, nodes.s)

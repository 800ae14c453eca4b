"""Random numbers as a pure function of (seed, what they are for, index): no state, any order.

A simulated plant must give the same figure for the same moment however often and in whatever
pieces it is asked, so numbers are hashed from their index instead of drawn one after the other.
"""

from __future__ import annotations

import hashlib
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

_GOLDEN: Final = np.uint64(0x9E3779B97F4A7C15)
_MIX_1: Final = np.uint64(0xBF58476D1CE4E5B9)
_MIX_2: Final = np.uint64(0x94D049BB133111EB)


def key(seed: int, *purpose: str | int) -> int:
    """A 64-bit key for one stream of numbers, such as `key(seed, "harlow-mere/1/02", "speed")`."""
    text = "\x1f".join(str(part) for part in (seed, *purpose))
    return int.from_bytes(hashlib.blake2b(text.encode(), digest_size=8).digest(), "little")


def uniform(stream: int, index: ArrayLike) -> NDArray[np.float64]:
    """Numbers in (0, 1), one for each index (any integers), independent between streams.

    Source: the output mix of SplitMix64 (Steele, Lea and Flood, OOPSLA 2014).
    """
    with np.errstate(over="ignore"):
        bits = (np.asarray(index, dtype=np.int64).astype(np.uint64) + np.uint64(1)) * _GOLDEN
        bits = bits + np.uint64(stream)
        bits = (bits ^ (bits >> np.uint64(30))) * _MIX_1
        bits = (bits ^ (bits >> np.uint64(27))) * _MIX_2
        bits = bits ^ (bits >> np.uint64(31))
    return np.asarray(((bits >> np.uint64(11)).astype(np.float64) + 0.5) / 2.0**53)


def normal(stream: int, index: ArrayLike) -> NDArray[np.float64]:
    """Standard normal numbers, one for each index."""
    return np.asarray(ndtri(uniform(stream, index)), dtype=np.float64)


def generator(seed: int, *purpose: str | int) -> np.random.Generator:
    """An ordinary generator for what is drawn in one fixed order."""
    return np.random.default_rng(key(seed, *purpose))

"""What the lives of a place teach of the shape of its wear: weights of the nodes.

Each life's likelihood is summed over its unknown wear life, under a lognormal law of the place's
lives that is fitted along with it, node by node (expectation and maximisation). The nodes are laid
wide first, then where the weight is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.wear.batch import Batch
from duestroke.inference.wear.nodes import (
    SHARED,
    STATED_SPREAD,
    UNSTATED_SPREAD,
    Axis,
    PathNodes,
    nodes_of,
    noise_axis,
    power_axis,
    roughness_axis,
    shared_axis,
)
from duestroke.inference.wear.path import fit_paths

Array = NDArray[np.float64]

LEAST_LIVES: Final = 5
"""Fewer read lives than this leave the prior as it is."""
_STAGE_LIVES: Final = (30, 60, 60)
"""Lives heard at each stage, evenly chosen: sixty settle three figures, more cost time only."""
_KEPT_MASS, _MOST_NODES = 0.95, 16
_LIVES: Final = 28
_ENDS: Final = (-2.5, 4.5)
_NARROW: Final = 0.5
_WIDTHS: Final = (1e-3, 0.5)
_ROUNDS: Final = 4
_LEAST_SPREAD: Final = 0.08
_MEDIAN_SPREAD: Final = 0.6
_PRIOR_LIVES: Final = 4.0
_AGAINST: Final = 6.0
"""No life speaks against a node by more than e^-6: a reading may be of another tool."""
_FEW: Final = 1e-2


@dataclass(frozen=True)
class _Law:
    """Lognormal law of the lives at each node: mean and sd of the log of typical lives, (q,)."""

    mean: Array
    sd: Array


def learn_nodes(batch: Batch, *, spread: float, is_stated: bool) -> PathNodes:
    """Nodes and weights from lives with three readings or more, at least LEAST_LIVES of them.

    spread: the handbook's sd of log life.
    """
    noise_spread = STATED_SPREAD if is_stated else UNSTATED_SPREAD
    axes = _first_axes(noise_spread)
    start = (0.0, math.hypot(spread, _MEDIAN_SPREAD))
    for stage, most in enumerate(_STAGE_LIVES):
        is_last = stage + 1 == len(_STAGE_LIVES)
        nodes = nodes_of(*axes, _shared_axis(batch if is_last else None))
        weight, law = _posterior(_some(batch, most), nodes, start, spread)
        nodes, best = nodes.weighted(weight), int(weight.argmax())
        start = (float(law.mean[best]), float(law.sd[best]))
        axes = _closer(nodes, axes, noise_spread)
    return nodes.heaviest(_KEPT_MASS, _MOST_NODES)


def _some(batch: Batch, most: int) -> Batch:
    """At most so many of the tools, evenly chosen."""
    tools = batch.age.shape[0]
    return batch.rows(np.arange(min(tools, most)) * tools // min(tools, most))


def _shared_axis(batch: Batch | None) -> Axis:
    """Shared parts: open where tools were read more than once in a session."""
    return shared_axis(SHARED if batch is not None and batch.has_sessions else (0.5,))


def _first_axes(noise_spread: float) -> tuple[Axis, Axis, Axis]:
    reach = math.exp(3 * noise_spread)
    return (
        power_axis(math.exp(-0.75), math.exp(0.9), 8),
        roughness_axis(0.04, 0.4, 4),
        noise_axis(1 / reach, reach, 5, noise_spread),
    )


def _closer(
    nodes: PathNodes, axes: tuple[Axis, Axis, Axis], noise_spread: float
) -> tuple[Axis, Axis, Axis]:
    power, roughness, noise = axes
    rough = roughness.values[roughness.values > 0]
    return (
        power_axis(*_near(power.values, nodes.power, nodes.weight), 7),
        roughness_axis(*_near(rough, nodes.roughness, nodes.weight), 4),
        noise_axis(*_near(noise.values, nodes.noise, nodes.weight), 5, noise_spread),
    )


def _near(values: Array, of_nodes: Array, weight: Array) -> tuple[float, float]:
    """The part of an axis that holds its weight, with a step on each side, beyond its ends too."""
    mass = np.array([weight[of_nodes == value].sum() for value in values])
    heavy = np.flatnonzero(mass >= _FEW * mass.sum())
    step = float(values[1] / values[0])
    return float(values[heavy[0]]) / step, float(values[heavy[-1]]) * step


def _lives(batch: Batch, powers: Array) -> Array:
    """Logs of typical lives at which each tool is asked for each power, (p, n, t).

    Dense about the life to which its readings point and out to far on both sides of it: steps that
    grow like the hyperbolic sine resolve a likelihood ten times narrower than the law, and wider.
    """
    precision = batch.there / batch.sd**2
    path = batch.age[:, :, None] ** powers
    square = np.einsum("nr,nrp->pn", precision, path**2)
    slope = np.einsum("nr,nrp->pn", precision * batch.share, path) / square
    error = 1 / np.sqrt(square)
    sure = np.maximum(slope, error)
    middle = -np.log(sure) / powers[:, None]
    width = np.clip(_NARROW * error / (sure * powers[:, None]), *_WIDTHS)
    low, high = (np.arcsinh(end / width) for end in _ENDS)
    steps = np.sinh(np.linspace(low, high, _LIVES, axis=-1))
    return np.asarray(middle[..., None] + width[..., None] * steps)


def _posterior(
    batch: Batch, nodes: PathNodes, start: tuple[float, float], spread: float
) -> tuple[Array, _Law]:
    """Weights of the nodes up to a factor, (q,), and the law of the lives at each.

    start: mean and sd of log life from which the law is sought.
    """
    powers = np.unique(nodes.power)
    lives = _lives(batch, powers)
    density = fit_paths(batch, nodes, lives).log_density
    rows = np.searchsorted(powers, nodes.power)
    density += np.log(np.gradient(lives, axis=2))[rows]
    lives = lives[rows]
    law = _Law(np.full(nodes.size, start[0]), np.full(nodes.size, start[1]))
    for _ in range(_ROUNDS):
        law, evidence = _round(density, lives, law, spread)
    against = evidence - evidence.max(axis=0)
    total = np.logaddexp(against, -_AGAINST).sum(axis=1) - 0.5 * (law.mean / _MEDIAN_SPREAD) ** 2
    return np.asarray(nodes.weight * np.exp(total - total.max())), law


def _round(density: Array, lives: Array, law: _Law, spread: float) -> tuple[_Law, Array]:
    """The next law, and the log evidence of each life under the present one, (q, n)."""
    mean, sd = law.mean[:, None, None], law.sd[:, None, None]
    away = lives - mean
    joint = density - (0.5 / sd**2) * away**2
    top = joint.max(axis=2, keepdims=True)
    weight = np.exp(joint - top)
    mass = weight.sum(axis=2)
    first = np.einsum("qnt,qnt->qn", weight, away) / mass
    second = np.einsum("qnt,qnt,qnt->qn", weight, away, away) / mass
    n = lives.shape[1]
    pull = (law.sd / _MEDIAN_SPREAD) ** 2
    moved = (first.sum(axis=1) - pull * law.mean) / (n + pull)
    square = (second - 2 * moved[:, None] * first + moved[:, None] ** 2).sum(axis=1)
    variance = (square + _PRIOR_LIVES * spread**2) / (n + _PRIOR_LIVES)
    new = _Law(law.mean + moved, np.maximum(np.sqrt(np.maximum(variance, 0.0)), _LEAST_SPREAD))
    return new, top[:, :, 0] + np.log(mass) - np.log(law.sd)[:, None]

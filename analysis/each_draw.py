"""Every draw goes to its own data by itself: damped Gauss-Newton steps where contact makes draws unlike each other.

Why it exists: where it is in doubt which feet or bearings carry, one linearisation shared by all draws is that of no
machine. It prevents draws being pulled along directions that hold for others only.

Randomised maximum likelihood (D. S. Oliver, N. He & A. C. Reynolds 1996): a draw of the beliefs goes to the data with a
draw of their errors added. The data are believed little at first and then more, because contacts that take over from
each other leave many machines that fit nearly as well.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from scipy.linalg import solve_triangular

from analysis.results import FloatArray, IntArray

PITCH_ARM_mm = 300.0  # at which a doubt of height is one of pitch
TRIALS = 4  # of a step, each shorter than the last, of draws that it does not bring nearer
STUCK, SCATTER = 2.5, 20.0  # draws whose misfit is so many times the median's, and so much more, are drawn again from
# the others: that of a few readings scatters by itself


class Model(Protocol):
    """What should be read, for unknowns (draws, unknowns) that are independent standard normal numbers in the beliefs.

    ``weights`` (rows, 3): how each row reads the carriage's state; ``covariance`` (rows, rows) of the readings.
    """

    @property
    def weights(self) -> FloatArray:
        """How each row reads the state."""

    @property
    def covariance(self) -> FloatArray:
        """Of the readings' errors."""

    def predicted(self, at: FloatArray) -> FloatArray:
        """Readings (draws, rows)."""

    def linearised(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Readings (draws, rows) and their Jacobian (draws, rows, unknowns) in each draw."""


def pulled(
    model: Model, begin: FloatArray, value: FloatArray, doubts_mm: tuple[float, ...], seed: int
) -> tuple[FloatArray, FloatArray, float]:
    """The draws ``begin`` (draws, unknowns) of the beliefs pulled to ``value`` (rows,), what they then predict (draws,
    rows), and their misfit: the mean square of the whitened residuals of the better draws.

    ``doubts_mm``: added to the readings' own errors, step by step.
    """
    rng = np.random.default_rng(seed)
    root = _root(model.covariance)
    wanted = value + rng.standard_normal((len(begin), len(value))) @ root.T
    at = begin.copy()
    for doubt in doubts_mm:
        at = _nearer(model, at, begin, wanted, doubt)
    predicted = model.predicted(at)
    white = solve_triangular(root, (wanted - predicted).T, lower=True)
    misfit = float(np.quantile(np.mean(white * white, axis=0), 0.25))
    kept = _not_stuck(_cost(at, predicted, begin, wanted, root), seed + 4)
    return at[kept], predicted[kept], misfit


def _nearer(model: Model, at: FloatArray, begin: FloatArray, wanted: FloatArray, doubt: float) -> FloatArray:
    """One damped Gauss-Newton step of every draw toward its own data, each reading doubted by ``doubt`` mm more."""
    arms = model.weights / [1.0, PITCH_ARM_mm, PITCH_ARM_mm]
    noise = model.covariance + doubt**2 * np.diag(np.sum(arms * arms, axis=1))
    root = _root(noise)
    predicted, jacobian = model.linearised(at)
    away = wanted - predicted + (jacobian @ (at - begin)[..., None])[..., 0]
    seen_by = jacobian @ np.swapaxes(jacobian, 1, 2) + noise
    aim = begin + (np.swapaxes(jacobian, 1, 2) @ np.linalg.solve(seen_by, away[..., None]))[..., 0]
    cost = _cost(at, predicted, begin, wanted, root)
    trial, worse, part = aim.copy(), np.arange(len(at)), 1.0
    for _ in range(TRIALS):
        trial[worse] = at[worse] + part * (aim[worse] - at[worse])
        seen = model.predicted(trial[worse])
        still = _cost(trial[worse], seen, begin[worse], wanted[worse], root) > cost[worse]
        worse, part = worse[still], 0.4 * part
        if not len(worse):
            break
    trial[worse] = at[worse]
    return np.asarray(trial)


def _root(covariance: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.cholesky(covariance + 1e-12 * np.eye(len(covariance))), np.float64)


def _not_stuck(cost: FloatArray, seed: int) -> IntArray:
    """Which draw stands in each draw's place: itself, or another where it came to rest far from its data."""
    stuck, own = cost > STUCK * np.median(cost) + SCATTER, np.arange(len(cost))
    if not stuck.any() or stuck.all():
        return own
    rng = np.random.default_rng(seed)
    own[stuck] = rng.choice(np.flatnonzero(~stuck), int(stuck.sum()))
    return own


def _cost(at: FloatArray, predicted: FloatArray, begin: FloatArray, wanted: FloatArray, root: FloatArray) -> FloatArray:
    white = solve_triangular(root, (wanted - predicted).T, lower=True)
    return np.asarray(np.sum(white * white, axis=0) + np.sum((at - begin) ** 2, axis=1))

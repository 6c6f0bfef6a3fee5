"""Learning a machine from what its readings did when its bolts were turned.

Why it exists: a first plan rests on beliefs; after one round the readings have answered, and that answer is worth more
than any drawing. It prevents the two ways of wasting it: forgetting (planning each round from the same nominal machine)
and overtrusting (a learned response with no doubt left in it).

One estimate for everything: the coordinates of the prior and the true lift of every turn are conditioned on all
observed changes at once, whatever set-up saw them. Since the physics is not linear in its parameters, each draw is
pulled to the data by itself (randomised maximum likelihood: D. S. Oliver, N. He & A. C. Reynolds 1996; for linear
physics and Gaussian beliefs its draws are draws of the exact posterior). Nothing is kept between rounds but the
journal: the estimate is made again from all of it, so nothing can go stale, and the order of the data cannot matter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag

from analysis.load import Loaded, load_response, noise_of
from analysis.prior import UNLIKE, WAVES, Prior, discrepancy_basis, physics_response, state_response
from analysis.results import FloatArray, IntArray
from analysis.unlike import posterior_degree

ENSEMBLE_STEPS = 3
STEPS = 4  # linearise, solve, linearise again: the change of the draws in a fifth step is below a micrometre


@dataclass(frozen=True)
class Lifts:
    """Turns that were made: ``bolt`` index, believed true lift and its standard uncertainty in mm, each (turns,)."""

    bolt: IntArray
    mean_mm: FloatArray
    standard_uncertainty_mm: FloatArray


@dataclass(frozen=True)
class Changes:
    """Observed changes of readings: row ``r`` was read at ``s_mm[r]`` through ``weights[r]`` (3,).

    ``value`` (rows,) in the set-up's unit, ``covariance`` (rows, rows); ``caused_by`` (rows, turns) is 1 where a turn
    lies between the two readings whose difference the row is, ``before`` where it lies before both (None: nowhere).
    """

    s_mm: FloatArray
    weights: FloatArray
    value: FloatArray
    covariance: FloatArray
    caused_by: FloatArray
    before: FloatArray | None = None


@dataclass(frozen=True)
class Learned:
    """Draws of the posterior: ``coordinates`` (draws, size), ``lifts_mm`` (draws, turns), and how well they fit.

    ``misfit`` is the mean square of the whitened residuals of the mean estimate: about 1 or below when the physics
    explains what was seen; ``residual`` (rows,) are the residuals themselves. ``load_misfit``: the same for masses.
    """

    prior: Prior
    coordinates: FloatArray
    lifts_mm: FloatArray
    misfit: float
    residual: FloatArray
    load_misfit: float = 0.0

    def state_response(self, s_mm: FloatArray) -> FloatArray:
        """Response of (heave, pitch, roll) to the bolts in every draw: (draws, stations, 3, bolts)."""
        return state_response(self.prior, self.coordinates, s_mm)

    def physics_response(self, s_mm: FloatArray) -> FloatArray:
        """The same without the discrepancy: for lifts of millimetres, which would bend its waves into any shape."""
        return physics_response(self.prior, self.coordinates, s_mm)


def gaussian_gain(jacobian: FloatArray, variance: FloatArray, noise: FloatArray) -> FloatArray:
    """Kalman gain (unknowns, rows) for independent unknowns of ``variance`` seen through ``jacobian`` with
    ``noise``.
    """
    seen = jacobian * variance
    return np.asarray(np.linalg.solve(seen @ jacobian.T + noise, seen).T)


def gaussian_update(
    mean: FloatArray, covariance: FloatArray, jacobian: FloatArray, value: FloatArray, noise: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Condition a Gaussian on ``value = jacobian @ unknown + noise``: posterior mean and covariance (Joseph's form)."""
    seen = jacobian @ covariance
    gain = np.linalg.solve(seen @ jacobian.T + noise, seen).T
    keep = np.eye(len(mean)) - gain @ jacobian
    return mean + gain @ (value - jacobian @ mean), keep @ covariance @ keep.T + gain @ noise @ gain.T


def learn(
    prior: Prior,
    lifts: Lifts,
    changes: Changes,
    draws: int = 200,
    seed: int = 20_260_101,
    loads: tuple[Loaded, ...] = (),
) -> Learned:
    """Draws of machine and lifts given every observed change. With no changes: draws of the prior. Turns of a rail that
    only rests are learned in ``resting_learn``.

    ``loads``: readings with and without a known mass, which answer to the same compliance; ``load_misfit`` says how
    well the physics explains those.
    """
    start = prior.draw(draws, seed)
    turns = len(lifts.bolt)
    rng = np.random.default_rng(seed + 1)
    shifts = rng.standard_normal((draws, turns))
    seen = _Seen.of(prior, lifts, changes, loads)
    if len(seen.value) == 0:
        lifted = lifts.mean_mm + lifts.standard_uncertainty_mm * shifts
        return Learned(prior, start, lifted, 0.0, np.zeros(0))
    begin = np.concatenate([start, shifts], axis=1)
    begin[:, UNLIKE] = posterior_degree(
        seen.linearised, seen.value, seen.covariance, begin.shape[1], UNLIKE, begin[:, UNLIKE]
    )
    root = np.linalg.cholesky(seen.covariance)
    errors = rng.standard_normal((draws, len(seen.value))) @ root.T
    centre, variance = np.zeros(prior.size + turns), np.ones(prior.size + turns)
    centre[UNLIKE], variance[UNLIKE] = begin[:, UNLIKE].mean(), 0.0  # told by the evidence, and by nothing else
    for _ in range(STEPS):
        predicted, jacobian = seen.linearised(centre)
        gain = gaussian_gain(jacobian, variance, seen.covariance)
        wanted = gain @ (seen.value - predicted + jacobian @ (variance * centre))
        centre = _limited(np.where(variance > 0.0, wanted, centre), centre)
    predicted, jacobian = seen.linearised(centre)
    gain = gaussian_gain(jacobian, variance, seen.covariance)
    at = begin + (seen.value + errors - predicted + (centre - begin) @ jacobian.T) @ gain.T
    for _ in range(ENSEMBLE_STEPS):
        at = _ensemble_step(seen, at, seen.value + errors)
    residual = seen.value - seen.predicted(centre[None, :])[0]
    white = np.linalg.solve(root, residual)
    turned, weighed = white[: len(changes.value)], white[len(changes.value) :]
    return Learned(
        prior=prior,
        coordinates=at[:, : prior.size],
        lifts_mm=lifts.mean_mm + lifts.standard_uncertainty_mm * at[:, prior.size :],
        misfit=float(np.mean(turned * turned)) if len(turned) else 0.0,
        residual=residual[: len(changes.value)],
        load_misfit=float(np.mean(weighed * weighed)) if len(weighed) else 0.0,
    )


@dataclass(frozen=True)
class _Seen:
    """All that was observed: what turns changed, then what masses changed, as one vector."""

    prior: Prior
    lifts: Lifts
    changes: Changes
    loads: tuple[Loaded, ...]
    value: FloatArray
    covariance: FloatArray

    @classmethod
    def of(cls, prior: Prior, lifts: Lifts, changes: Changes, loads: tuple[Loaded, ...]) -> _Seen:
        middle = np.zeros((1, prior.size))
        blocks = [changes.covariance]
        blocks += [noise_of(each, prior.bench.carriage, load_response(prior, middle, each)[0]) for each in loads]
        value = np.concatenate([changes.value, *[each.change for each in loads]])
        return cls(prior, lifts, changes, loads, value, block_diag(*blocks))

    def predicted(self, at: FloatArray) -> FloatArray:
        """Expected values (draws, rows) at ``at`` (draws, size + turns)."""
        by_turns = np.zeros((len(at), 0))
        if len(self.changes.value):
            by_turns = _predicted(self.prior, self.lifts, self.changes, at)
        by_loads = [load_response(self.prior, at[:, : self.prior.size], each) for each in self.loads]
        return np.concatenate([by_turns, *by_loads], axis=1)

    def linearised(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Expected values (rows,) at ``at`` (size + turns,) and their Jacobian (rows, size + turns)."""
        predicted, jacobian = np.zeros(0), np.zeros((0, len(at)))
        if len(self.changes.value):
            predicted, jacobian = _linearised(self.prior, self.lifts, self.changes, at)
        if not self.loads:
            return predicted, jacobian
        step, n = 1e-3, self.prior.physics
        trials = np.repeat(at[None, : self.prior.size], n + 1, axis=0)
        trials[1:, :n] += step * np.eye(n)
        effect = np.concatenate([load_response(self.prior, trials, each) for each in self.loads], axis=1)
        by_physics = np.zeros((effect.shape[1], len(at)))
        by_physics[:, :n] = (effect[1:] - effect[0]).T / step
        return np.concatenate([predicted, effect[0]]), np.concatenate([jacobian, by_physics])


def _ensemble_step(seen: _Seen, at: FloatArray, wanted: FloatArray) -> FloatArray:
    """Pull every draw to its own perturbed data along the directions in which the draws differ.

    The Jacobian at the centre is not that of a draw far from it; the draws' own regression of changes on coordinates
    is (G. Evensen, Data Assimilation, 2009, chapter 9: the ensemble form of the same gain).
    """
    predicted = seen.predicted(at)
    spread, answer = at - at.mean(axis=0), predicted - predicted.mean(axis=0)
    gain = np.linalg.solve(answer.T @ answer / len(at) + seen.covariance, answer.T @ spread / len(at))
    gain[:, UNLIKE] = 0.0
    return _limited(at + (wanted - predicted) @ gain, at)


def _limited(wanted: FloatArray, now: FloatArray) -> FloatArray:
    """A step of at most two standard deviations in any coordinate: linearised physics is not trusted further."""
    return np.asarray(now + np.clip(wanted - now, -2.0, 2.0))


def _caused(changes: Changes, lifts: Lifts, rows: FloatArray, lifted: FloatArray) -> FloatArray:
    """Changes (draws, rows) from row responses (draws, rows, bolts) and lifts (draws, turns)."""
    return np.asarray(np.einsum("drt,rt,dt->dr", rows[..., lifts.bolt], changes.caused_by, lifted))


def _predicted(prior: Prior, lifts: Lifts, changes: Changes, at: FloatArray) -> FloatArray:
    lifted = lifts.mean_mm + lifts.standard_uncertainty_mm * at[:, prior.size :]
    state = state_response(prior, at[:, : prior.size], changes.s_mm)
    rows = np.einsum("dsqb,sq->dsb", state, changes.weights)
    return _caused(changes, lifts, rows, lifted)


def _linearised(prior: Prior, lifts: Lifts, changes: Changes, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Predicted changes (rows,) at ``at`` and their Jacobian (rows, size + turns): differences for physics, exact
    beyond.
    """
    step, n = 1e-3, prior.physics
    trials = np.repeat(at[None, :n], n + 1, axis=0)
    trials[1:] += step * np.eye(n)
    rows = np.einsum("dsqb,sq->dsb", physics_response(prior, trials, changes.s_mm), changes.weights)
    lifted = lifts.mean_mm + lifts.standard_uncertainty_mm * at[prior.size :]
    waves = np.einsum("bsqw,sq->sbw", discrepancy_basis(prior, changes.s_mm), changes.weights)
    own = at[n : prior.size].reshape(prior.bench.bolts, 2 * WAVES)
    effect = _caused(changes, lifts, rows, np.repeat(lifted[None], n + 1, axis=0))
    by_physics = (effect[1:] - effect[0]).T / step
    bolt_lift = np.zeros((len(changes.value), prior.bench.bolts))
    np.add.at(bolt_lift.T, lifts.bolt, (changes.caused_by * lifted).T)
    by_waves = (waves * bolt_lift[..., None]).reshape(len(changes.value), -1)
    whole = rows[0] + np.einsum("sbw,bw->sb", waves, own)
    by_lift = whole[:, lifts.bolt] * changes.caused_by * lifts.standard_uncertainty_mm
    predicted = (whole[:, lifts.bolt] * changes.caused_by) @ lifted
    return predicted, np.concatenate([by_physics, by_waves, by_lift], axis=1)

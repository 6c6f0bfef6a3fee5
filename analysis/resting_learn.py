"""Learning a rail that only rests: in every draw with the feet that carry there.

Why it exists: which feet hang is hardly known at first, and what a turn did says it: a bolt that did nothing hung, one
that did half was half in the air. Linear steps shared by all draws mix those that hang with those that carry, settle
on a response no rail has, and are sure of it. It prevents that: every draw goes to its own perturbed data with the
feet that carry in it (``each_draw``).

With the feet as in ``gaps``, readings are ``q (u + g)``; where a set of feet is open, ``g = -K_oo^-1 F_o``, so that
gaps follow forces and stiffness by ``dg = -K_oo^-1 (dF0 + dK (u + g))_o``. How forces and stiffness follow from the
physics is taken at the mean of the draws, scaled to each draw's own stiffness, and what the discrepancy does to forces
is left out; all else is exact.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag

from analysis.each_draw import pulled
from analysis.felt import Felt, as_felt
from analysis.gaps import Feet, feet_of
from analysis.learn import Changes, Learned, Lifts
from analysis.load import Loaded, load_response, noise_of
from analysis.prior import PHYSICS, WAVES, Prior, discrepancy_basis, misfits, state_response
from analysis.results import BoolArray, FloatArray, IntArray

DRAWS = 96  # every one is solved with its own feet
DOUBTS_mm = (0.03, 0.02, 0.01, 0.005, 0.003, 0.0015, 0.0, 0.0)  # added to every reading, step by step
STEP = 1e-3
SAID_PART, SAID_mm = 0.5, 0.03  # no lift is doubted more: a display that may not follow says too little without it


def learn_resting(
    prior: Prior,
    lifts: Lifts,
    changes: Changes,
    loads: tuple[Loaded, ...] = (),
    seed: int = 20_260_101,
    felt: Felt | None = None,
) -> Learned:
    """As ``learn``, for a rail on feet of which some only rest: draws of machine and lifts given every change.

    ``felt``: which feet carried at one state; the draws then begin with the same ones carrying there.
    """
    most = np.maximum(SAID_PART * np.abs(lifts.mean_mm), SAID_mm)
    lifts = replace(lifts, standard_uncertainty_mm=np.minimum(lifts.standard_uncertainty_mm, most))
    rng = np.random.default_rng(seed + 1)
    begin = np.concatenate([prior.draw(DRAWS, seed), rng.standard_normal((DRAWS, len(lifts.bolt)))], axis=1)
    if felt is not None:
        begin[:, : prior.size] = as_felt(prior, begin[:, : prior.size], _turned(lifts, begin, felt), felt, seed + 3)
    value = np.concatenate([changes.value, *[each.change for each in loads]])
    at, residual, misfit, load_misfit = begin, np.zeros(0), 0.0, 0.0
    if len(value):
        model = RestingModel.of(prior, lifts, changes, loads)
        at, predicted, misfit = pulled(model, begin, value, DOUBTS_mm, seed + 2)
        residual = value - predicted.mean(axis=0)
    turned, weighed = residual[: len(changes.value)], residual[len(changes.value) :]
    if len(weighed):
        noise = model.covariance[len(turned) :, len(turned) :]
        load_misfit = float(weighed @ np.linalg.solve(noise, weighed)) / len(weighed)
    lifted = lifts.mean_mm + lifts.standard_uncertainty_mm * at[:, prior.size :]
    return Learned(prior, at[:, : prior.size], lifted, misfit if len(turned) else 0.0, turned, load_misfit)


def _turned(lifts: Lifts, begin: FloatArray, felt: Felt) -> FloatArray:
    """How the bolts of every draw stood (draws, bolts) when the feet were felt."""
    bolts, until = len(felt.goes_mm), felt.turns
    shifts = begin[:, begin.shape[1] - len(lifts.bolt) :]
    moved = lifts.mean_mm + lifts.standard_uncertainty_mm * shifts
    return np.asarray(moved[:, :until] @ np.eye(bolts)[lifts.bolt[:until]])


@dataclass(frozen=True)
class RestingModel:
    """What every change should read, for given coordinates of machine and lifts (draws, size + turns): the rows of
    ``changes``, then those of ``loads``.
    """

    prior: Prior
    lifts: Lifts
    changes: Changes
    loads: tuple[Loaded, ...]
    covariance: FloatArray
    weights: FloatArray
    s_mm: FloatArray
    station: IntArray  # (rows,): which of ``s_mm``
    until: FloatArray  # (2 rows, turns): turns made by the earlier readings, then by the later ones
    once: IntArray  # (states,): of these 2 rows, one for each station and turns made; many share theirs
    state: IntArray  # (2 rows,): which of those
    waves: FloatArray  # (rows, bolts, 2 WAVES)

    @classmethod
    def of(cls, prior: Prior, lifts: Lifts, changes: Changes, loads: tuple[Loaded, ...] = ()) -> RestingModel:
        """The model of these observations."""
        s_mm, station = np.unique(changes.s_mm, return_inverse=True)
        waves = np.zeros((0, prior.bench.bolts, 2 * WAVES))
        if len(s_mm):
            basis = np.moveaxis(discrepancy_basis(prior, s_mm), 0, 1)[station]  # (rows, bolts, 3, 2 WAVES)
            waves = np.einsum("rbqw,rq->rbw", basis, changes.weights)
        before = np.zeros_like(changes.caused_by) if changes.before is None else changes.before
        until = np.concatenate([before, before + changes.caused_by])
        apart = np.column_stack([np.tile(station, 2), until])
        _, once, state = np.unique(apart, axis=0, return_index=True, return_inverse=True)
        middle = np.zeros((1, prior.size))
        noises = [noise_of(each, prior.bench.carriage, load_response(prior, middle, each)[0]) for each in loads]
        weights = [changes.weights, *[np.zeros((len(each.change), 3)) for each in loads]]
        return cls(
            prior,
            lifts,
            changes,
            loads,
            np.asarray(block_diag(*[block for block in (changes.covariance, *noises) if len(block)]), np.float64),
            np.concatenate(weights),
            s_mm,
            station,
            until,
            once,
            state.reshape(-1),
            waves,
        )

    def predicted(self, at: FloatArray) -> FloatArray:
        """Readings (draws, rows)."""
        coordinates = at[:, : self.prior.size]
        by_loads = [load_response(self.prior, coordinates, each) for each in self.loads]
        if not len(self.station):
            return np.concatenate(by_loads, axis=1)
        rows, _, _, effective = self._evaluated(at)
        return np.concatenate([np.sum(rows * self._difference(effective), axis=-1), *by_loads], axis=1)

    def _difference(self, effective: FloatArray) -> FloatArray:
        """Of all states (draws, states, bolts): that of the later less that of the earlier reading of every change."""
        earlier, later = np.split(self.state, 2)
        return np.asarray(effective[:, later] - effective[:, earlier])

    def linearised(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Readings (draws, rows) and their Jacobian (draws, rows, unknowns) with the feet that carry in each draw."""
        predicted, jacobian = self.predicted(at), []
        if len(self.station):
            jacobian.append(self._by_turns(at))
        if self.loads:
            effect = self._trials(at.mean(axis=0))[1]
            by_loads = np.zeros((len(at), effect.shape[1], at.shape[1]))
            by_loads[:, :, : self.prior.physics] = (effect[1:] - effect[0]).T / STEP
            jacobian.append(by_loads)
        return predicted, np.concatenate(jacobian, axis=1)

    def _evaluated(self, at: FloatArray) -> tuple[FloatArray, Feet, FloatArray, FloatArray]:
        """Responses held both ways (draws, rows, bolts); and of every state the feet, the lifts (draws, states, bolts)
        and what they are in effect.
        """
        coordinates, shifts = at[:, : self.prior.size], at[:, self.prior.size :]
        lifted = self.lifts.mean_mm + self.lifts.standard_uncertainty_mm * shifts
        state = state_response(self.prior, coordinates, self.s_mm)
        feet = feet_of(self.prior, coordinates, state)
        by_bolt = lifted[..., None] * np.eye(self.prior.bench.bolts)[self.lifts.bolt]
        lifts = self.until[self.once] @ by_bolt
        here = Feet(feet.stiffness, feet.force_N[:, np.tile(self.station, 2)[self.once]], feet.one_way)
        rows = np.einsum("drqb,rq->drb", state[:, self.station], self.changes.weights)
        return rows, here, lifts, here.effective(lifts)

    def _by_turns(self, at: FloatArray) -> FloatArray:
        """The Jacobian of the changes (draws, rows, unknowns)."""
        prior, twice = self.prior, np.tile(self.station, 2)
        rows, feet, lifts, effective = self._evaluated(at)
        moved = self._difference(effective)
        by_row, by_stiffness, by_weight, of_middle = self._physics_at(at.mean(axis=0))
        signed = np.concatenate([-rows, rows], axis=1)
        by_force = _by_force(feet, (effective > lifts)[:, self.state], signed)
        scale = np.trace(feet.stiffness, axis1=1, axis2=2)[:, None, None] / of_middle
        raised = effective[:, self.state] + misfits(prior, at[:, : prior.size])[:, None, :]
        physics = scale * np.einsum("dkb,pbc,dkc->dkp", by_force, by_stiffness, raised, optimize=True)
        physics = _both(physics + np.einsum("dkb,pkb->dkp", by_force, by_weight[:, twice], optimize=True))
        physics += np.einsum("drb,prb->drp", moved, by_row, optimize=True)
        by_seat = by_force @ feet.stiffness  # a foot pushes by how high its bolt stands, turned or found so
        physics[:, :, self._misfits] += prior.spread.misfit_mm * _both(by_seat)
        waves = (moved[..., None] * self.waves).reshape(*moved.shape[:2], -1)
        by_lift = _both((by_seat + signed)[:, :, self.lifts.bolt] * self.until) * self.lifts.standard_uncertainty_mm
        return np.concatenate([physics, waves, by_lift], axis=2)

    @property
    def _misfits(self) -> slice:
        first = PHYSICS + 3 * self.prior.bench.bolts
        return slice(first, first + self.prior.bench.bolts)

    def _trials(self, middle: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The mean machine and one with each coordinate of the physics a little further, and what masses do to them."""
        n = self.prior.physics
        trials = np.repeat(middle[None, : self.prior.size], n + 1, axis=0)
        trials[range(1, n + 1), range(n)] += STEP
        by_loads = [load_response(self.prior, trials, each) for each in self.loads]
        return trials, np.concatenate([np.zeros((n + 1, 0)), *by_loads], axis=1)

    def _physics_at(self, middle: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, float]:
        """By differences at one machine: how the rows (physics, rows, bolts), the feet's stiffness (physics, bolts,
        bolts) and the weights on them (physics, stations, bolts) follow; and its stiffness, summed.
        """
        trials, _ = self._trials(middle)
        trials[:, self._misfits] = 0.0  # what misfits do is known exactly
        state = state_response(self.prior, trials, self.s_mm)
        feet = feet_of(self.prior, trials, state)
        rows = np.einsum("prqb,rq->prb", state[:, self.station], self.changes.weights)
        return (
            (rows[1:] - rows[0]) / STEP,
            (feet.stiffness[1:] - feet.stiffness[0]) / STEP,
            (feet.force_N[1:] - feet.force_N[0]) / STEP,
            float(np.trace(feet.stiffness[0])),
        )


def _both(of_both: FloatArray) -> FloatArray:
    """(draws, 2 rows, ...) of earlier and later readings: added up."""
    earlier, later = np.split(of_both, 2, axis=1)
    return np.asarray(earlier + later)


def _by_force(feet: Feet, is_open: BoolArray, rows: FloatArray) -> FloatArray:
    """How readings ``rows`` (draws, cases, bolts) of effective lifts follow the feet's forces through the gaps."""
    both = is_open[..., :, None] & is_open[..., None, :]
    stiffness = np.where(both, feet.stiffness[:, None], 0.0)
    matrix = stiffness + np.eye(len(feet.one_way)) * np.where(is_open, 1e-6, 1.0)[..., None, :]
    found = np.linalg.solve(matrix, np.where(is_open, rows, 0.0)[..., None])[..., 0]
    return np.asarray(-np.where(is_open, found, 0.0))

"""Feet felt with a leaf: which of them carry, and how far the others hang in the air.

Why it exists: nothing else tells before the first turn which feet of a resting rail carry, and three rounds can go by
in finding out. It prevents that: draws of the beliefs are made such that in every one the same feet carry as were felt,
with a gap between the leaf that went under and the one that did not.

With the carriage parked and ``e = m + u + g`` (how a foot was found, what it was turned, its gap), the feet push with
``F = F_w + K e`` (``gaps``). Those that carry have ``g = 0`` and ``F > 0``, those that hang ``F = 0``; so for any ``e``
of the carrying feet that of the hanging ones follows,

    e_o = -K_oo^-1 (F_w + K e)_o,   m_o = e_o - u_o - g_o,

and no search is needed. Of many such ``m`` one is drawn, each with its weight in the beliefs (sampling and importance
resampling: D. B. Rubin, The Calculation of Posterior Distributions by Data Augmentation: Comment, 1987), and only if
no carrying foot pulls. What stiffness makes the felt state likelier is not drawn from it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.gaps import feet_of
from analysis.prior import PHYSICS, Prior, state_response
from analysis.results import BoolArray, FloatArray

TRIES = 200  # ways in which the carrying feet may have been found, for every draw


@dataclass(frozen=True)
class Felt:
    """What went under the feet with the carriage parked at ``s_mm``, after the first ``turns`` turns.

    ``goes_mm`` (bolts,): the thickest leaf that goes, 0 where none does (that foot carries); ``stops_mm`` (bolts,): the
    thinnest that does not. nan in both for feet that hold both ways.
    """

    s_mm: float
    goes_mm: FloatArray
    stops_mm: FloatArray
    turns: int = 0

    @property
    def hangs(self) -> BoolArray:
        """Which feet hang (bolts,)."""
        return np.asarray(np.nan_to_num(self.goes_mm) > 0.0)


def as_felt(prior: Prior, coordinates: FloatArray, lifts_mm: FloatArray, felt: Felt, seed: int) -> FloatArray:
    """Draws (draws, >= physics) of a resting rail with their feet found such that those carry that were felt to.

    ``lifts_mm`` (draws, bolts): how the bolts stood against the first sweep when they were felt. Where no way of
    finding the feet leaves all the carrying ones pushing, that with the least pull is taken.
    """
    draws, n = len(coordinates), prior.bench.bolts
    first, spread = PHYSICS + 3 * n, prior.spread.misfit_mm
    bare = coordinates.copy()
    bare[:, first : first + n] = 0.0
    feet = feet_of(prior, bare, state_response(prior, bare, np.array([felt.s_mm])))
    stiffness, weight = feet.stiffness, feet.force_N[:, 0]
    rng = np.random.default_rng(seed)
    hung = np.flatnonzero(felt.hangs)
    found = spread * rng.standard_normal((draws, TRIES, n))
    gap = np.zeros_like(found)
    gap[..., hung] = rng.uniform(felt.goes_mm[hung], felt.stops_mm[hung], (draws, TRIES, len(hung)))
    stands = found + lifts_mm[:, None, :]
    stands[..., hung] = 0.0
    if len(hung):
        push = weight[:, None, :] + stands @ stiffness
        inner = stiffness[:, hung[:, None], hung]
        stands[..., hung] = -np.swapaxes(np.linalg.solve(inner, np.swapaxes(push[..., hung], 1, 2)), 1, 2)
        found[..., hung] = stands[..., hung] - gap[..., hung] - lifts_mm[:, None, hung]
    push = weight[:, None, :] + stands @ stiffness
    carries = feet.one_way & ~felt.hangs
    pull = -np.minimum(push[..., carries], 0.0).sum(axis=-1)
    logarithm = -0.5 * np.sum((found[..., hung] / spread) ** 2, axis=-1)
    least = pull <= pull.min(axis=1, keepdims=True) + 1e-9
    chance = np.exp(np.where(least, logarithm, -np.inf) - np.max(np.where(least, logarithm, -np.inf), 1)[:, None])
    chosen = np.argmax(np.cumsum(chance, axis=1) >= rng.random((draws, 1)) * chance.sum(axis=1)[:, None], axis=1)
    out = coordinates.copy()
    out[:, first : first + n] = np.clip(found[np.arange(draws), chosen] / spread, -4.0, 4.0)
    return out

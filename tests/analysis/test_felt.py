"""Feet felt with a leaf: every draw stands on the feet that were felt to carry, with the gaps that were felt.

The outside check is the complementarity problem as a non-negative least-squares problem (its optimality conditions are
the same: R. W. Cottle, J.-S. Pang & R. E. Stone, The Linear Complementarity Problem, 1992, section 1.2), by scipy.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import nnls

from analysis.felt import Felt, as_felt
from analysis.gaps import feet_of
from analysis.prior import misfits, state_response
from tests.analysis.test_resting_learn import BOLTS, PRIOR

DRAWS, MIDDLE = 48, 1050.0
B2_AND_B4_HANG = Felt(MIDDLE, np.array([0.0, 0.10, 0.0, 0.25, 0.0]), np.array([0.05, 0.15, 0.05, 0.30, 0.05]))


def gaps_by_nnls(coordinates, lifts_mm):
    """Gaps (draws, bolts) with the carriage in the middle: min 1/2 g'Kg + F'g over g >= 0, by scipy."""
    feet = feet_of(PRIOR, coordinates, state_response(PRIOR, coordinates, np.array([MIDDLE])))
    found = []
    for stiffness, force, lift in zip(feet.stiffness, feet.force_N[:, 0], lifts_mm, strict=True):
        root = np.linalg.cholesky(stiffness + 1e-3 * np.eye(BOLTS))  # lifting all feet alike pushes nothing
        found.append(nnls(root.T, -np.linalg.solve(root, force + stiffness @ lift))[0])
    return np.array(found)


def still(draws=DRAWS):
    return np.zeros((draws, BOLTS))


def test_every_draw_hangs_where_it_was_felt_and_by_as_much():
    drawn = as_felt(PRIOR, PRIOR.draw(DRAWS), still(), B2_AND_B4_HANG, 1)
    gap = gaps_by_nnls(drawn, still())
    kept = np.all((gap > 1e-6) == B2_AND_B4_HANG.hangs, axis=1)
    assert kept.mean() > 0.9, "a clipped misfit (four standard deviations) may leave another foot in the air"
    for bolt, (low, high) in {1: (0.10, 0.15), 3: (0.25, 0.30)}.items():
        assert np.all((gap[kept, bolt] > low - 1e-6) & (gap[kept, bolt] < high + 1e-6))


def test_draws_of_the_beliefs_alone_hardly_ever_stand_like_that():
    gap = gaps_by_nnls(PRIOR.draw(DRAWS), still())
    assert np.mean(np.all((gap > 1e-6) == B2_AND_B4_HANG.hangs, axis=1)) < 0.3


def test_feet_felt_after_turns_are_where_the_turns_have_brought_them():
    """B2 was lowered by 0.3 before it was felt: it was found higher than one that hangs as far untouched."""
    lifts = still()
    lifts[:, 1] = -0.3
    drawn = as_felt(PRIOR, PRIOR.draw(DRAWS), lifts, B2_AND_B4_HANG, 1)
    gap = gaps_by_nnls(drawn, lifts)
    kept = np.all((gap > 1e-6) == B2_AND_B4_HANG.hangs, axis=1)
    assert kept.mean() > 0.9
    before = as_felt(PRIOR, PRIOR.draw(DRAWS), still(), B2_AND_B4_HANG, 1)
    higher = misfits(PRIOR, drawn)[:, 1].mean() - misfits(PRIOR, before)[:, 1].mean()
    assert 0.1 < higher < 0.3, "part of it is that the others were found lower"


def test_where_every_foot_carries_none_hangs_in_any_draw():
    every = Felt(MIDDLE, np.zeros(BOLTS), np.full(BOLTS, 0.05))
    assert gaps_by_nnls(as_felt(PRIOR, PRIOR.draw(DRAWS), still(), every, 1), still()).max() < 1e-6


def test_only_the_feet_change():
    start = PRIOR.draw(8)
    drawn = as_felt(PRIOR, start, still(8), B2_AND_B4_HANG, 1)
    assert {int(k) for k in np.flatnonzero(np.any(drawn != start, axis=0))} <= set(range(24, 29)), "their five misfits"

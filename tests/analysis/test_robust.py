"""Fits that count the doubt of the response: against Chebyshev where nothing is in doubt, and by hand where it is."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.chebyshev import Group, chebyshev_lifts
from analysis.robust import response_doubt, robust_sets, robust_targets, scaled_rows
from analysis.situation import Situation

ROWS = 25


def hats(bolts=4):
    x, at = np.linspace(0, 1, ROWS), np.linspace(0, 1, bolts)
    return np.maximum(0.0, 1.0 - np.abs(x[:, None] - at) * (bolts - 1))


def situation(value, response, mean=None):
    bolts = response.shape[-1]
    return Situation(
        np.asarray(value, float), 1e-10 * np.eye(ROWS), response, (Group("across", np.arange(ROWS), 0.05, mean),),
        np.arange(ROWS), np.full(bolts, -1.0), np.full(bolts, 1.0), np.full(bolts, 0.01),
    )  # fmt: skip


def fitted(case, sets):
    start = np.broadcast_to(case.value, case.response.shape[:2])
    rows = scaled_rows(start, case.response, case.groups)
    return robust_sets(case, rows, response_doubt(rows), np.array(sets))


def test_with_a_certain_response_it_is_the_chebyshev_fit():
    """The linear programme is the reference: Lawson's iteration comes to within a few percent in its steps."""
    rng = np.random.default_rng(1)
    for _ in range(5):
        value = 0.1 + 0.1 * hats() @ rng.normal(0, 1, 4) + 0.01 * np.cos(np.linspace(0, 9, ROWS))
        case = situation(value, np.repeat(hats()[None], 3, axis=0))
        score, lifts = fitted(case, [[0, 1, 2, 3]])
        _, exact = chebyshev_lifts(value, hats(), case.groups, np.full(4, -1.0), np.full(4, 1.0), cost_per_mm=1e-6)
        reached = np.ptp(value + hats() @ lifts[0]) / 0.05
        assert score[0] == pytest.approx(reached, rel=0.1)
        assert exact - 1e-6 <= reached <= 1.15 * exact + 0.02


def test_a_doubted_bolt_is_turned_less_by_hand():
    """What is turned comes with an error half its size: turning all of it buys as much error as it takes away."""
    factor = 1.0 + 0.5 * np.array([-1, 1] * 20)[:, None, None]
    shape = np.zeros((ROWS, 1))
    shape[10:15] = 1.0
    sure = fitted(situation(0.2 * shape[:, 0], np.repeat(shape[None], 40, axis=0)), [[0]])[1][0, 0]
    doubted = fitted(situation(0.2 * shape[:, 0], shape[None] * factor), [[0]])[1][0, 0]
    assert sure == pytest.approx(-0.2, abs=0.01)
    assert -0.19 < doubted < -0.08


def test_sets_are_ranked_by_what_they_reach():
    value = 0.2 * hats()[:, 1]
    score, lifts = fitted(situation(value, np.repeat(hats()[None], 3, axis=0)), [[0, 2], [1, 3], [2, 3]])
    assert np.argmin(score) == 1 and score[1] < 0.1
    np.testing.assert_allclose(lifts[1], [-0.2, 0.0], atol=0.01)


def test_targets_never_ask_for_more_than_the_bounds_in_the_mean():
    draws = 30
    value = np.repeat((0.4 * hats(2)[:, 0])[None], draws, axis=0)
    answer = np.repeat(hats(2)[None, :, :1], draws, axis=0)
    group = (Group("across", np.arange(ROWS), 0.05),)
    bounds = (np.array([-0.15]), np.array([0.15]))
    change = robust_targets(value, answer, np.zeros((draws, 1)), np.ones((draws, 1, 1)), group, bounds)
    assert change[0] == pytest.approx(-0.15, abs=1e-6)

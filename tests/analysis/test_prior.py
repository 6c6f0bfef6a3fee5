"""What is believed before a turn, and what a measured bracket does to it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.carriage import Carriage
from analysis.prior import Bench, Prior, rails

CARRIAGE = Carriage((-320.0, 320.0), (0.0, 2600.0), 1200.0, 150.0)
BENCH = Bench(np.array([150, 650, 1150, 1650, 2150, 2650.0]), np.zeros(6), 210e3 * 5.2e5, 81e3 * 8e5, CARRIAGE)


def stiffness(bench):
    """Medians and spreads (of logarithms) of the brackets' stiffness over the draws."""
    prior = Prior(bench)
    rail, _ = rails(prior, prior.draw(400))
    own = np.log(1.0 / np.diagonal(rail.compliance, axis1=-2, axis2=-1))
    return np.exp(np.median(own, axis=0)), own.std(axis=0)


def test_an_unknown_bracket_may_be_a_factor_of_six_either_way():
    middle, spread = stiffness(BENCH)
    assert np.all((middle > 12e3) & (middle < 20e3)) and np.all((spread > 0.8) & (spread < 1.1))


def test_a_measured_bracket_is_what_was_measured_and_the_others_are_like_it():
    given = np.array([np.nan, 60e3, np.nan, 60e3, np.nan, np.nan])
    middle, spread = stiffness(replace(BENCH, stiffness_N_mm=given))
    np.testing.assert_allclose(middle, 60e3, rtol=0.15)
    assert np.all(spread[[1, 3]] < 0.25) and np.all((spread[[0, 2, 4, 5]] > 0.5) & (spread[[0, 2, 4, 5]] < 0.85))


def test_draws_are_antithetic_so_the_mean_machine_is_the_median_one():
    np.testing.assert_allclose(Prior(BENCH).draw(100).mean(axis=0), 0.0, atol=1e-12)

"""How unlike the brackets are: against the posterior by direct integration, and on machines of either kind."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from analysis.learn import learn
from analysis.prior import UNLIKE, Prior
from analysis.rounds import observed
from analysis.unlike import posterior_degree
from tests.analysis.test_learn import BENCH, CARRIAGE, PRIOR, rounds_of

GROWS = 0.8


def scaled(count):
    """``count`` unknowns of standard deviation exp(GROWS z), read with unit noise; z is the last coordinate."""

    def linearised(centre):
        size = np.exp(GROWS * centre[-1])
        jacobian = np.zeros((count, count + 1))
        jacobian[:, :count] = size * np.eye(count)
        jacobian[:, -1] = GROWS * size * centre[:-1]
        return size * centre[:-1], jacobian

    return linearised


@pytest.mark.parametrize("value", [np.full(6, 0.2), np.array([4.0, -5.0, 3.0, -4.0, 6.0, -2.0])])
def test_the_degree_is_drawn_from_the_posterior_by_direct_integration(value):
    # y_i ~ N(0, exp(2 GROWS z) + 1), z ~ N(0, 1): scipy's densities on a fine grid are the outside value.
    z = np.linspace(-5.0, 5.0, 4001)
    density = norm.pdf(z) * np.prod(norm.pdf(value, scale=np.sqrt(np.exp(2 * GROWS * z) + 1.0)[:, None]), axis=1)
    density /= density.sum()
    mean = float(density @ z)
    spread = float(np.sqrt(density @ (z - mean) ** 2))
    draws = norm.ppf((np.arange(400) + 0.5) / 400)
    moved = posterior_degree(scaled(6), value, np.eye(6), 7, 6, draws)
    assert moved.mean() == pytest.approx(mean, abs=0.06)
    assert moved.std() == pytest.approx(spread, abs=0.06)
    assert np.all(np.diff(moved) >= 0.0)


def test_readings_that_say_nothing_leave_the_draws_where_they_were():
    def silent(centre):
        return np.zeros(3), np.zeros((3, 4))

    draws = np.linspace(-2.5, 2.5, 11)
    np.testing.assert_allclose(posterior_degree(silent, np.ones(3), np.eye(3), 4, 3, draws), draws, atol=1e-6)


def test_readings_that_no_degree_explains_tell_little():
    def blind(centre):
        return np.zeros(3), np.array([[0.01 * np.exp(centre[1]), 0.0]] * 3)

    draws = np.linspace(-2.0, 2.0, 9)
    moved = posterior_degree(blind, np.array([30.0, -40.0, 35.0]), np.eye(3), 2, 1, draws)
    assert np.abs(moved - draws).max() < 0.5


def test_a_linearised_update_cannot_learn_it_and_this_does():
    # The naive way: at brackets that are all alike the readings do not change with the degree at all.
    told = np.array([0.15, -0.2, 0.15, -0.2, 0.15, -0.2])
    rng = np.random.default_rng(4)
    degree = {}
    for kind, size in (("alike", 0.05), ("unlike", 3.0)):
        seen = []
        for _ in range(4):
            truth = np.zeros(PRIOR.size)
            truth[UNLIKE + 1 : UNLIKE + 7] = size * rng.choice([-1.0, 1.0], 6)
            rounds, _ = rounds_of(truth, told, parked=True, seed=int(rng.integers(1000)))
            seen.append(learn(PRIOR, *observed(rounds, CARRIAGE), draws=60).coordinates[:, UNLIKE].mean())
        degree[kind] = float(np.mean(seen))
    assert degree["alike"] < -0.1
    assert degree["unlike"] > degree["alike"] + 0.8


def test_measured_brackets_leave_the_degree_alone():
    bench = replace(BENCH, stiffness_N_mm=np.full(6, 16e3))
    prior = Prior(bench)
    rounds, _ = rounds_of(np.zeros(PRIOR.size), np.array([0, 0.15, 0, -0.2, 0, 0.0]), parked=True)
    learned = learn(prior, *observed(rounds, CARRIAGE), draws=40)
    np.testing.assert_allclose(learned.coordinates[:, UNLIKE], prior.draw(40)[:, UNLIKE], atol=1e-3)

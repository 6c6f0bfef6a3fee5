"""A resting rail learned in every draw with the feet that carry there, against difference quotients and known rails."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.carriage import Carriage
from analysis.learn import Changes, Lifts
from analysis.load import Loaded, load_response
from analysis.prior import PHYSICS, Bench, Prior, misfits
from analysis.response import SetUp, reading_weights
from analysis.resting_learn import RestingModel, learn_resting

BOLTS = 5
CARRIAGE = Carriage((-320.0, 320.0), (0.0, 2100.0), 1200.0, 150.0, mass_kg=60.0)
BENCH = Bench(
    np.linspace(100.0, 2100.0, BOLTS), np.zeros(BOLTS), 210e3 * 3.5e5, 81e3 * 6e5, CARRIAGE,
    one_way=np.ones(BOLTS, bool), rail_mm=(-300.0, 2500.0), rail_N_mm=0.29,
)  # fmt: skip
PRIOR = Prior(BENCH)
S_MM = np.linspace(500.0, 1600.0, 10)
SEAT = SetUp("fixed", x_mm=1050.0)
TURNS = Lifts(np.array([1, 3, 2]), np.array([0.15, -0.2, 0.1]), np.full(3, 0.01))


def changes_of(value=None):
    """Two sweeps after the first: one after two turns, one after all three."""
    made = np.repeat([[1.0, 1.0, 0.0], [1.0, 1.0, 1.0]], len(S_MM), axis=0)
    where = np.tile(S_MM, 2)
    weights = reading_weights(SEAT, CARRIAGE, where)
    return Changes(
        where, weights, np.zeros(len(where)) if value is None else value, 0.0015**2 * np.eye(len(where)), made
    )


MODEL = RestingModel.of(PRIOR, TURNS, changes_of())


def machine(seed):
    """One rail with its turns: the coordinates of a draw."""
    return np.concatenate([PRIOR.draw(1, seed), np.random.default_rng(seed).standard_normal((1, 3))], axis=1)


@pytest.mark.parametrize(("which", "within"), [("misfits", 1e-6), ("discrepancy", 1e-4), ("lifts", 1e-6)])
def test_what_gaps_turns_and_waves_do_is_a_difference_quotient(which, within):
    """What the discrepancy does to the forces on the feet is left out: a ten-thousandth of a millimetre."""
    first = PHYSICS + 3 * BOLTS
    columns = {
        "misfits": range(first, first + BOLTS),
        "discrepancy": range(PRIOR.physics, PRIOR.physics + 24),
        "lifts": range(PRIOR.size, PRIOR.size + 3),
    }
    at = np.concatenate([machine(seed) for seed in range(12)])
    predicted, jacobian = MODEL.linearised(at)
    np.testing.assert_array_equal(predicted, MODEL.predicted(at))
    for column in columns[which]:
        further = at.copy()
        further[:, column] += 1e-5
        quotient = (MODEL.predicted(further) - predicted) / 1e-5
        assert np.median(np.abs(quotient - jacobian[:, :, column]).max(axis=1)) < within


def test_what_the_physics_does_is_one_at_the_mean_of_the_draws():
    at = machine(3)
    predicted, jacobian = MODEL.linearised(at)
    for column in range(PHYSICS):
        further = at.copy()
        further[:, column] += 1e-3
        quotient = (MODEL.predicted(further) - predicted) / 1e-3
        np.testing.assert_allclose(jacobian[:, :, column], quotient, atol=3e-4 + 0.05 * np.abs(quotient).max())


def test_feet_found_hanging_are_found_out_by_turns_that_did_too_little():
    """Of seven rails, each with gaps of its own: after two rounds the gaps are nearer to the truth than before, and
    about as near as is said.
    """
    away, said, misfit = [], [], []
    for seed in range(7):
        truth = machine(40 + seed)
        noise = np.random.default_rng(seed).normal(0.0, 0.0015, 2 * len(S_MM))
        learned = learn_resting(PRIOR, TURNS, changes_of(MODEL.predicted(truth)[0] + noise))
        found = misfits(PRIOR, learned.coordinates)
        away.append(found.mean(axis=0) - misfits(PRIOR, truth[:, : PRIOR.size])[0])
        said.append(found.std(axis=0))
        misfit.append(learned.misfit)
    assert np.median(misfit) < 4.0
    assert np.mean(np.square(away)) < 0.8 * PRIOR.spread.misfit_mm**2
    assert 0.4 < np.mean(np.square(away)) / np.mean(np.square(said)) < 2.5


def test_the_end_of_the_next_turn_is_foreseen_within_what_is_said():
    """Held-out turns of the same rails: nine in ten of the draws' bands of two standard deviations hold the truth."""
    ahead = replace(TURNS, mean_mm=TURNS.mean_mm + np.array([0.0, 0.1, -0.1]))
    later, held = RestingModel.of(PRIOR, ahead, changes_of()), []
    for seed in range(5):
        truth = machine(60 + seed)
        noise = np.random.default_rng(seed).normal(0.0, 0.0015, 2 * len(S_MM))
        learned = learn_resting(PRIOR, TURNS, changes_of(MODEL.predicted(truth)[0] + noise))
        shifts = (learned.lifts_mm - TURNS.mean_mm) / TURNS.standard_uncertainty_mm
        drawn = later.predicted(np.concatenate([learned.coordinates, shifts], axis=1))
        away = np.abs(drawn.mean(axis=0) - later.predicted(truth)[0])
        held.append(np.mean(away <= 2.0 * drawn.std(axis=0) + 1e-3))
    assert np.mean(held) > 0.85


def test_nothing_seen_leaves_the_beliefs_as_they_are():
    none = Changes(np.zeros(0), np.zeros((0, 3)), np.zeros(0), np.zeros((0, 0)), np.zeros((0, 3)))
    learned = learn_resting(PRIOR, TURNS, none)
    np.testing.assert_array_equal(learned.coordinates, PRIOR.draw(len(learned.coordinates)))
    assert learned.misfit == learned.load_misfit == 0.0


def test_a_known_mass_narrows_the_stiffness_before_any_turn():
    soft = np.zeros((1, PRIOR.size))
    soft[0, 2] = -1.5
    s_mm = np.array([600.0, 1000.0, 1500.0])
    laid = Loaded(SEAT, 20.0, s_mm, s_mm, 0.0, np.zeros(3), 1e-6 * np.eye(3))
    laid = replace(laid, change=load_response(PRIOR, soft, laid)[0])
    none = Changes(np.zeros(0), np.zeros((0, 3)), np.zeros(0), np.zeros((0, 0)), np.zeros((0, 0)))
    no_turns = Lifts(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0))
    learned = learn_resting(PRIOR, no_turns, none, (laid,))
    assert learned.coordinates[:, 2].mean() < -0.7 and learned.coordinates[:, 2].std() < 0.8
    assert learned.load_misfit < 2.0 and learned.misfit == 0.0


def test_no_lift_is_doubted_by_more_than_half_of_what_was_said():
    """A display may not follow a bolt in the air: what was said then tells more than it does."""
    none = Changes(np.zeros(0), np.zeros((0, 3)), np.zeros(0), np.zeros((0, 0)), np.zeros((0, 3)))
    doubtful = replace(TURNS, standard_uncertainty_mm=np.full(3, 0.3))
    spread = learn_resting(PRIOR, doubtful, none).lifts_mm.std(axis=0)
    np.testing.assert_allclose(spread, 0.5 * np.abs(TURNS.mean_mm), rtol=0.25)

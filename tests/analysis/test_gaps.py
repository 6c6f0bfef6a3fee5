"""Gaps under many resting rails at once, against one rail solved at a time and statics."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.carriage import Carriage
from analysis.feet import at_rest
from analysis.gaps import GRAVITY_m_s2, feet_of, gaps
from analysis.prior import Bench, Prior, misfits, physics_response, rails
from analysis.rail import Load, Rail

X = np.array([150, 650, 1150, 1650, 2150, 2650.0])
CARRIAGE = Carriage((-320.0, 320.0), (0.0, 2600.0), 1200.0, 150.0, mass_kg=40.0)
WEIGHT_N_mm = 20.0 * GRAVITY_m_s2 / 1000.0
BENCH = Bench(
    X, np.zeros(6), 210e3 * 3.5e5, 81e3 * 6e5, CARRIAGE, one_way=np.ones(6, bool), rail_mm=(-300.0, 2900.0),
    rail_N_mm=WEIGHT_N_mm,
)  # fmt: skip
S = np.array([200.0, 1300.0, 2300.0])


def one(rail, draw):
    return Rail(
        rail.EI[draw], rail.GJ[draw], rail.x_mm[draw], rail.y_mm[draw], rail.compliance[draw], rail.foot_twist[draw]
    )


def test_gaps_are_those_of_each_rail_solved_by_itself():
    """feet.at_rest goes another way: it takes the open foot away and solves the rail again."""
    prior = Prior(BENCH)
    at = prior.draw(6, seed=4)
    at[:, prior.physics :] = 0.0
    at[:, 8 + 12 : 8 + 18] = 0.0  # feet on the middle line: torsion stays out, and an open foot's hold on it
    at[:, 5] = at[:, 7] = 0.0
    feet = feet_of(prior, at, physics_response(prior, at, S))
    lifts = np.random.default_rng(0).normal(0, 0.1, (6, 1, 6))
    moved = feet.effective(lifts) - lifts
    rail, _ = rails(prior, at)
    for draw in range(6):
        for station, s in enumerate(S):
            half = 0.5 * CARRIAGE.mass_kg * GRAVITY_m_s2
            loads = (
                Load(-WEIGHT_N_mm * 3200.0, -300.0, 2900.0),
                Load(-half, s - 320.0, s - 320.0),
                Load(-half, s + 320.0, s + 320.0),
            )
            seats = misfits(prior, at)[draw] + lifts[draw, 0]
            found = at_rest(one(rail, draw), seats, loads, np.ones(6, bool))
            np.testing.assert_allclose(moved[draw, station], found.gap_mm, atol=2e-4)
    assert (moved > 0.01).any() and (moved == 0.0).any()


def test_the_feet_carry_all_the_weight_there_is():
    """Statics: rail 3.2 m and carriage, whatever the misfit, with no foot pulling."""
    prior = Prior(BENCH)
    at = prior.draw(20)
    state = physics_response(prior, at, S)
    feet = feet_of(prior, at, state)
    force = feet.force_N + np.einsum("dsb,dbc->dsc", feet.effective(np.zeros((20, 1, 6))), feet.stiffness)
    assert force.min() > -1e-3
    np.testing.assert_allclose(force.sum(axis=-1), WEIGHT_N_mm * 3200.0 + 40.0 * GRAVITY_m_s2, rtol=1e-3)


def test_clamped_feet_never_part_and_the_answer_is_then_the_lift():
    stiffness, force = np.eye(3)[None] * 100.0, np.array([[[-50.0, 10.0, -5.0]]])
    np.testing.assert_allclose(gaps(stiffness, force, np.array([True, True, False]))[0, 0], [0.5, 0.0, 0.0])


def test_a_bolt_in_the_air_answers_nothing_and_the_answer_is_a_difference_quotient():
    prior = Prior(BENCH)
    at = prior.draw(4)
    feet = feet_of(prior, at, physics_response(prior, at, S))
    lifts = np.zeros((4, 1, 6))
    lifts[..., 2] = -1.5
    answer = feet.answer(lifts)
    assert np.abs(answer[..., 2]).max() < 1e-5
    for bolt in range(6):
        step = lifts.copy()
        step[..., bolt] += 1e-6
        quotient = (feet.effective(step) - feet.effective(lifts)) / 1e-6
        np.testing.assert_allclose(answer[..., bolt], quotient, atol=2e-3)


def test_a_bench_that_holds_both_ways_has_no_more_unknowns_than_before():
    held = Bench(X, np.zeros(6), 7e10, 5e10, CARRIAGE)
    assert Prior(BENCH).physics == Prior(held).physics + 6
    assert misfits(Prior(BENCH), Prior(BENCH).draw(2)).shape == (2, 6)
    assert not held.rests and BENCH.rests
    with pytest.raises(AssertionError):
        feet_of(Prior(held), Prior(held).draw(2), np.zeros((2, 3, 3, 6)))

"""Feet that push and never pull."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.feet import NoContact, at_rest
from analysis.rail import Load, Rail, loaded_shape

EI, SPAN = 1.1e11, 500.0


def rail(n=5, k=2e4):
    return Rail(
        np.asarray(EI), np.asarray(6e10), np.arange(n) * SPAN, np.zeros(n), np.eye(n) / k, np.full(n, k * 35.0**2)
    )


WEIGHT = (Load(-0.137 * 4 * SPAN, 0.0, 4 * SPAN),)  # 14 kg/m
ONE_WAY = np.ones(5, dtype=bool)


def test_level_feet_all_carry_and_it_is_the_linear_answer():
    found = at_rest(rail(), np.zeros(5), WEIGHT, ONE_WAY)
    assert found.carries.all()
    np.testing.assert_allclose(found.shape.forces_N, loaded_shape(rail(), np.zeros(5), WEIGHT).forces_N)


def test_a_foot_lowered_far_hangs_in_the_air_and_lowering_it_more_does_nothing():
    low, lower = np.zeros(5), np.zeros(5)
    low[2], lower[2] = -1.0, -2.0
    first, second = (at_rest(rail(), lifts, WEIGHT, ONE_WAY) for lifts in (low, lower))
    assert list(first.carries) == [True, True, False, True, True]
    x = np.linspace(0, 4 * SPAN, 21)
    np.testing.assert_allclose(first.shape.height(x), second.shape.height(x), atol=1e-8)
    assert second.gap_mm[2] - first.gap_mm[2] == pytest.approx(1.0)


def test_forces_push_gaps_open_and_never_both():
    rng = np.random.default_rng(0)
    for _ in range(50):
        found = at_rest(rail(), rng.normal(0, 0.2, 5), (*WEIGHT, Load(-300.0, 700.0, 1100.0)), ONE_WAY)
        force = np.where(found.carries, found.shape.forces_N[:, 0], 0.0)
        assert force.min() > -1e-5 and found.gap_mm.min() >= -1e-8
        assert np.abs(force * found.gap_mm).max() < 1e-9  # one of the two is nothing
        assert force.sum() == pytest.approx(0.137 * 4 * SPAN + 300.0, rel=1e-4)


def test_where_all_hold_both_ways_it_is_linear_however_crooked():
    lifts = np.array([0, 0.5, -0.5, 0.5, 0])
    found = at_rest(rail(), lifts, WEIGHT, np.zeros(5, dtype=bool))
    np.testing.assert_allclose(found.shape.forces_N, loaded_shape(rail(), lifts, WEIGHT).forces_N)


def test_a_rail_balanced_on_one_foot_is_refused():
    with pytest.raises(NoContact, match="tip"):
        at_rest(rail(), np.array([0, 0, 50.0, 0, 0]), WEIGHT, ONE_WAY)

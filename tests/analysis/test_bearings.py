"""How a carriage stands on more than two bearings."""

import numpy as np
import pytest

from analysis.bearings import stand

FOUR = np.array([-420.0, -140.0, 140.0, 420.0])
LEVEL = np.zeros(4)


def test_on_a_flat_rail_every_bearing_gives_alike():
    on = stand(FOUR, np.full((1, 4), 0.1), LEVEL[None], 0.002)
    assert on.carries.all()
    assert on.state[0] == pytest.approx([0.098, 0.0, 0.0], abs=1e-9)


def test_on_a_hump_the_inner_pair_carries():
    """Worked by hand: the line through the inner two is 0.03 high in the middle and slopes by 0.02 over 280 mm."""
    on = stand(FOUR, np.array([[-0.01, 0.02, 0.04, 0.0]]), np.array([[1e-4, 2e-4, 4e-4, 9e-4]]), 0.0)
    assert on.carries[0].tolist() == [False, True, True, False]
    assert on.state[0] == pytest.approx([0.03, 0.02 / 280.0, 3e-4], abs=1e-4)
    assert on.state[0, 1] == pytest.approx(0.02 / 280.0, abs=1e-6)


def test_in_a_hollow_the_outer_pair_carries_and_the_inner_bolts_do_nothing():
    on = stand(FOUR, np.array([[0.05, 0.0, 0.0, 0.05]]), LEVEL[None], 1e-4)
    assert on.carries[0].tolist() == [True, False, False, True]
    assert on.by_height[0, 0].tolist() == pytest.approx([0.5, 0.0, 0.0, 0.5])


def test_soft_bearings_are_the_least_squares_line():
    """The limit of ``numpy.polyfit``, an implementation of its own."""
    heights = np.random.default_rng(1).normal(0.0, 0.05, (50, 4))
    on = stand(FOUR, heights, np.zeros_like(heights), 10.0)
    slope, middle = np.polyfit(FOUR, heights.T, 1)
    assert on.state[:, 0] + 10.0 == pytest.approx(middle, abs=1e-7)
    assert on.state[:, 1] == pytest.approx(slope, abs=1e-9)


def test_stiff_bearings_are_the_lowest_line_over_all():
    """A rigid body at rest: the lowest height over its middle of mass at which it lies on or above every bearing,
    by scipy's linear programme.
    """
    from scipy.optimize import linprog

    rng = np.random.default_rng(2)
    offsets = np.array([-500.0, -260.0, -40.0, 130.0, 460.0])
    heights = rng.normal(0.0, 0.05, (20, 5))
    on = stand(offsets, heights, np.zeros_like(heights), 0.0, middle_mm=20.0)
    for z, state in zip(heights, on.state, strict=True):
        above = np.stack([-np.ones(5), -offsets / 500.0], axis=1)
        lowest = linprog([1.0, 20.0 / 500.0], A_ub=above, b_ub=-z, bounds=[(None, None)] * 2, method="highs")
        assert state[0] + 20.0 * state[1] == pytest.approx(lowest.fun, abs=2e-4)


@pytest.mark.parametrize("bearings", [3, 4, 6])
def test_forces_push_and_balance_the_weight(bearings):
    rng = np.random.default_rng(bearings)
    offsets = np.sort(rng.uniform(-500.0, 500.0, bearings))
    offsets[[0, -1]] = -520.0, 520.0
    heights = rng.normal(0.0, 0.05, (400, bearings))
    on = stand(offsets, heights, np.zeros_like(heights), 0.003, middle_mm=15.0)
    force = np.maximum(heights - on.state[:, :1] - on.state[:, 1:2] * offsets, 0.0) / 0.003
    assert force.sum(axis=1) == pytest.approx(bearings, abs=1e-5)
    assert force @ (offsets - 15.0) == pytest.approx(0.0, abs=1e-2)
    assert ((force > 1e-9) == on.carries).all()


def test_what_it_answers_is_what_a_small_lift_does():
    rng = np.random.default_rng(5)
    heights, twist = rng.normal(0.0, 0.05, (100, 4)), rng.normal(0.0, 1e-4, (100, 4))
    lifted = rng.normal(0.0, 1e-7, (100, 4))
    on = stand(FOUR, heights, twist, 0.004)
    then = stand(FOUR, heights + lifted, twist, 0.004)
    answer = np.einsum("cqb,cb->cq", on.by_height, lifted)
    same = (on.carries == then.carries).all(axis=1)
    assert same.mean() > 0.9
    assert (then.state - on.state)[same, :2] == pytest.approx(answer[same], abs=1e-12)

"""Facts about the outrigger. Derived: an arm about a leaning pivot moves in a plane of that slope."""

import numpy as np
import pytest

from analysis.outrigger import at_both_ends, pivot_move_mm


def arm_height(lean, position_mm, reach_mm=900.0):
    """The outer end of an arm on a pivot whose top leans toward infeed by ``lean``: the turn about the axis itself."""
    axis = np.array([-lean, 0.0, 1.0]) / np.hypot(lean, 1.0)
    level = np.array([position_mm, -np.sqrt(reach_mm**2 - position_mm**2), 0.0])
    return float((level - axis * (axis @ level))[2])


def test_a_leaning_pivot_makes_it_climb_by_the_lean():
    lean = 0.0006
    found = at_both_ends(arm_height(lean, -500.0), arm_height(lean, 500.0), 1000.0, 0.01, 0.01)
    assert found.lean_mm_per_m == pytest.approx(0.6, rel=1e-3)
    assert found.height_mm == pytest.approx(0.0, abs=1e-6)
    assert pivot_move_mm(found, 300.0) == pytest.approx(0.18, rel=1e-3)


def test_setting_one_end_by_the_height_screw_leaves_the_other_out_by_the_whole_climb():
    found = at_both_ends(0.0, 0.4, 2000.0, 0.02, 0.02)
    assert found.climb_mm == pytest.approx(0.4)
    assert found.height_mm == pytest.approx(0.2)
    assert found.height_uncertainty_mm == pytest.approx(0.02 / np.sqrt(2.0))


def test_two_ends_at_one_place_are_refused():
    with pytest.raises(ValueError, match="length above 0"):
        at_both_ends(0.0, 0.1, 0.0, 0.01, 0.01)

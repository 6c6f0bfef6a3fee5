"""Facts about riving knife and scoring blade. Derived by geometry; positions of teeth and knife are built up here."""

import math

import pytest

from analysis.in_line import cone_height_mm, knife, scoring_from_readings, scoring_from_steps


def gaps(middle_mm, kerf_mm, knife_mm):
    """Carriage side and table side gap of a knife whose middle stands ``middle_mm`` toward the table."""
    spare = (kerf_mm - knife_mm) / 2.0
    return spare + middle_mm, spare - middle_mm


def test_half_the_difference_of_both_gaps_is_how_far_the_knife_stands_over():
    low, high = gaps(0.10, 3.2, 2.8), gaps(0.10, 3.2, 2.8)
    found = knife((low[0], high[0]), (low[1], high[1]), 3.2, 2.8, 0.02)
    assert found.offset_mm == pytest.approx(0.10)
    assert found.lean_mm == pytest.approx(0.0, abs=1e-12)
    assert found.spare_mm == pytest.approx(0.10), "0.2 mm on either side, less what it stands over"


def test_a_knife_that_leans_is_judged_where_it_is_tightest():
    low, high = gaps(0.0, 3.2, 2.8), gaps(-0.15, 3.2, 2.8)
    found = knife((low[0], high[0]), (low[1], high[1]), 3.2, 2.8, 0.02)
    assert found.lean_mm == pytest.approx(-0.15)
    assert found.spare_mm == pytest.approx(0.05)


def test_gaps_that_do_not_add_up_to_kerf_less_knife_contradict_each_other():
    with pytest.raises(ValueError, match="contradict each other"):
        knife((0.2, 0.2), (0.6, 0.2), 3.2, 2.8, 0.02)


def test_equal_steps_are_in_line_whatever_the_kerf():
    found = scoring_from_steps(0.05, 0.05, 0.05, 0.02)
    assert (found.shift_mm, found.widen_mm) == (0.0, 0.0)
    assert found.wider_mm == pytest.approx(0.10)


def test_a_step_on_one_side_only_is_shifted_by_half_of_it():
    # main kerf from 0 to 3.2, scoring kerf from 0.1 to 3.4 toward the table: a = -0.1, b = 0.2
    found = scoring_from_steps(-0.1, 0.2, 0.05, 0.02)
    assert found.shift_mm == pytest.approx(-0.15), "back toward the carriage"
    assert found.wider_mm == pytest.approx(0.1)
    assert found.widen_mm == pytest.approx(0.0, abs=1e-12)


def test_readings_of_the_teeth_say_the_same_as_the_cut():
    found = scoring_from_readings((0.30, 0.50), (0.20, 0.70), 0.05, 0.01)
    assert found.shift_mm == pytest.approx(-0.15)
    assert found.wider_mm == pytest.approx(0.1)
    assert found.shift_uncertainty_mm == pytest.approx(0.01)


def test_a_conical_scoring_blade_cuts_wider_the_higher_it_stands():
    # two flanks of 10 degrees: raised by h the cut is wider by 2 h tan 10
    assert cone_height_mm(2.0 * 0.5 * math.tan(math.radians(10.0)), 10.0) == pytest.approx(0.5)
    with pytest.raises(ValueError, match="none of a conical blade"):
        cone_height_mm(0.1, 60.0)

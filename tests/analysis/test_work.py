"""Facts about what the work would show. Derived by geometry; a blade of radius 150 standing out 60 mm is 240.0 mm
long at the table and 208.2 mm at 18 mm up, so 0.1 mm/m leaves 0.024 and 0.021 mm.
"""

import math

import pytest

from analysis import work


def test_a_groove_is_as_uneven_as_the_carriage_rides():
    shown = work.groove_depth("spindle", 0.04, 0.006)
    assert (shown.size_mm, shown.uncertainty_mm) == (0.04, 0.006)


def test_a_panel_is_out_by_error_times_length():
    shown = work.out_of_square(-0.1, 0.02, 800.0)
    assert shown.size_mm == pytest.approx(0.08)
    assert shown.uncertainty_mm == pytest.approx(0.016)


def test_a_rip_carried_along_tapers_by_the_opening_times_its_length():
    assert work.rip_taper(0.05, 0.01, 2500.0).size_mm == pytest.approx(0.125)


def test_saw_marks_are_toe_times_the_blades_length_in_the_wood():
    shown = work.saw_marks("toe", 0.1, 0.02, 150.0, 60.0, 18.0)
    assert shown.size_mm == pytest.approx(0.0240, abs=1e-4)
    assert "208 mm at the top to 240 mm" in shown.why
    assert "away from the guide" in shown.what
    assert "kicks back" in work.saw_marks("toe", -0.1, 0.02, 150.0, 60.0, 18.0).what


def test_a_blade_below_the_table_cuts_nothing():
    with pytest.raises(ValueError, match="cuts nothing"):
        work.saw_marks("toe", 0.1, 0.02, 150.0, 0.0, 18.0)


def test_a_bow_counts_by_the_square_of_the_boards_part_of_it():
    whole, half = (work.hollow_edge(0.2, 0.02, 2400.0, length) for length in (2400.0, 1200.0))
    assert whole.size_mm == pytest.approx(0.2)
    assert half.size_mm == pytest.approx(0.05)
    # a circle's arc: sagitta of a chord c is c^2 / 8r
    radius = 2400.0**2 / (8.0 * 0.2)
    assert half.size_mm == pytest.approx(radius - math.sqrt(radius**2 - 600.0**2), rel=1e-4)


def test_a_panel_tipped_on_the_outrigger_is_cut_out_of_square():
    assert work.edge_tipped(0.5, 0.1, 1500.0, 19.0).size_mm == pytest.approx(0.5 * 19.0 / 1500.0)


def test_a_wobbling_blade_ripples_either_wall_by_half_of_it():
    assert work.wobble_marks(0.1, 0.01).size_mm == pytest.approx(0.05)


def test_what_nobody_can_see_is_not_worth_correcting():
    assert not work.worth_correcting(work.length_error(0.04, 0.02))
    assert work.worth_correcting(work.length_error(0.2, 0.02))
    assert not work.worth_correcting(work.length_error(0.2, 0.18)), "it may be nothing"

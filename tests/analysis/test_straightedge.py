"""Facts about a straightedge's own shape and what its grade allows.

Sources: level ends at 1/sqrt(3) of the length (Airy) and equal sag of ends and middle at 0.554 of it ("the 0.554 l of
the straightedge rule", course material on fitting); 5/384 and 1/8 wl^4/EI, any mechanics handbook; DIN 876 flatness
figures as tabulated there; ISO 8512:1990 and DIN 874 from memory.
"""

import numpy as np
import pytest

from analysis.straightedge import (
    AIRY,
    EQUAL_SAG,
    din_874_mm,
    din_876_grade,
    din_876_mm,
    iso_8512_grade,
    iso_8512_mm,
    own_sag_mm,
    sag_shape,
    supports_from_end_mm,
)


def test_at_the_airy_points_the_end_faces_stand_upright():
    just_before, end = sag_shape(np.array([0.49999, 0.5]), AIRY)
    assert abs(end - just_before) / 1e-5 < 1e-6


def test_at_0_5537_of_the_length_ends_and_middle_hang_equally_low_and_nothing_is_straighter():
    middle, end = sag_shape(np.array([0.0, 0.5]), EQUAL_SAG)
    assert middle == pytest.approx(end, rel=1e-4)
    along = np.linspace(-0.5, 0.5, 2001)
    sags = {part: float(np.ptp(sag_shape(along, part))) for part in np.arange(0.5, 0.62, 0.002)}
    assert min(sags, key=lambda part: sags[part]) == pytest.approx(EQUAL_SAG, abs=0.002)


def test_held_at_its_ends_a_bar_sags_5_384ths_and_in_its_middle_an_eighth_of_half_its_length():
    assert np.ptp(sag_shape(np.linspace(-0.5, 0.5, 2001), 1.0)) == pytest.approx(5.0 / 384.0, rel=1e-6)
    assert -sag_shape(np.array([0.5]), 1e-9)[0] == pytest.approx(0.5**4 / 8.0)


def test_a_steel_straightedge_of_a_metre_sags_a_hundredth_of_a_grade_when_held_right():
    # derived: 5/384 x 12 rho g l^4 / (E h^2), h = 50 mm: 0.0229 mm at its ends, 48 times less at the right points
    at_ends, right = own_sag_mm(1000.0, 50.0, 1000.0), own_sag_mm(1000.0, 50.0, EQUAL_SAG * 1000.0)
    assert at_ends == pytest.approx(5 / 384 * 12 * 7.85e-6 * 9.80665 * 1000.0**4 / (210e3 * 50.0**2), rel=1e-4)
    assert at_ends / right == pytest.approx(48.15, rel=0.01)


def test_the_supports_of_a_two_metre_edge_stand_446_mm_from_its_ends():
    assert supports_from_end_mm(2000.0) == pytest.approx(446.3, abs=0.1)


# DIN 876: tabulated flatness in micrometres of plates by their long side
@pytest.mark.parametrize(
    ("length_mm", "allowed_um"),
    [(200, (4.8, 12, 24, 48)), (1000, (8, 20, 40, 80)), (2500, (14, 35, 70, 140)), (6500, (30, 75, 150, 300))],
)
def test_grades_of_din_876_are_as_tabulated(length_mm, allowed_um):
    for grade, um in zip("0123", allowed_um, strict=True):
        assert 1000.0 * din_876_mm(length_mm, grade) == pytest.approx(um)


# ISO 8512-1/-2:1990, from memory: plates 400 x 250 and 1600 x 1000
@pytest.mark.parametrize(
    ("sides", "allowed_um"), [((400, 250), (4.0, 8.0, 16.0, 32.0)), ((1600, 1000), (8.2, 16.4, 32.8, 65.6))]
)
def test_grades_of_iso_8512_go_by_the_diagonal_rounded_up(sides, allowed_um):
    for grade, um in zip("0123", allowed_um, strict=True):
        assert 1000.0 * iso_8512_mm(float(np.hypot(*sides)), grade) == pytest.approx(um, abs=0.05)


def test_a_straightedge_of_din_874_grade_2_may_be_33_micrometres_out_on_a_metre():
    assert 1000.0 * din_874_mm(1000.0, "2") == pytest.approx(33.0)


def test_the_best_grade_a_surface_keeps_is_named_and_none_is_none():
    assert din_876_grade(0.05, 1000.0) == "3"
    assert din_876_grade(0.008, 1000.0) == "0"
    assert din_876_grade(0.2, 1000.0) is None
    assert (iso_8512_grade(0.004, 400.0), iso_8512_grade(0.2, 400.0)) == ("1", None)

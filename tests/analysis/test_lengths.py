"""Facts about the length stop and its scale. Derived; the line fit is held by the GUM's own example.

Source: JCGM 100:2008 (GUM) H.3, a straight line through eleven thermometer readings, figures from memory: slope
0.00218 with a standard uncertainty of 0.00067.
"""

import numpy as np
import pytest

from analysis.lengths import of_parts


def test_parts_that_come_out_long_are_plus_and_a_scale_that_stretches_is_told_from_an_offset():
    found = of_parts(np.array([300.0, 1000.0, 2000.0]), np.array([300.1, 1000.24, 2000.44]), 0.02)
    assert found.offset_mm == pytest.approx(0.26)
    assert found.scale_mm_per_m == pytest.approx(0.2)
    assert found.worst_mm == pytest.approx(0.44)
    assert found.worst_uncertainty_mm > 0.02 / np.sqrt(3.0)


def test_parts_at_one_setting_tell_offset_and_repeatability_and_nothing_of_the_scale():
    found = of_parts(np.full(5, 600.0), 600.0 + np.array([0.1, 0.3, 0.2, 0.0, 0.4]), 0.02)
    assert found.offset_mm == pytest.approx(0.2)
    assert found.spread_mm == pytest.approx(np.std([0.1, 0.3, 0.2, 0.0, 0.4], ddof=1))
    assert np.isnan(found.scale_uncertainty_mm_per_m)
    assert found.offset_uncertainty_mm == pytest.approx(2.776 * found.spread_mm / np.sqrt(5.0), rel=1e-3)


def test_the_scales_slope_is_that_of_the_guides_thermometer():
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    found = of_parts(1000.0 * t, 1000.0 * t + 1000.0 * b, 1e-6)  # lengths of 21 to 27 m spread widely enough
    assert found.scale_mm_per_m == pytest.approx(2.18, abs=0.005)
    # Student's t of nine degrees, 2.262, where the guide gives the standard uncertainty 0.00067
    assert found.scale_uncertainty_mm_per_m / 2.262 == pytest.approx(0.67, abs=0.005)


def test_a_single_part_is_worth_its_measurement():
    found = of_parts(np.array([500.0]), np.array([500.2]), 0.03)
    assert found.worst_mm == pytest.approx(0.2)
    assert found.worst_uncertainty_mm == pytest.approx(0.03)


def test_no_part_says_nothing():
    with pytest.raises(ValueError, match="one of each for every part"):
        of_parts(np.array([500.0]), np.array([]), 0.03)

"""The table's flatness along a line: three ways, and what each cannot see."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.slopes import reversal
from analysis.straightness import least_squares_line
from analysis.table_map import BadMap, from_level, from_reversal, from_straightedge

X = np.arange(700.0, 1501.0, 100.0)
HOLLOW = 0.020 * ((X - 1100.0) / 400.0) ** 2


def less_its_line(z, x=X):
    slope, offset = least_squares_line(x, z)
    return z - slope * x - offset


def test_a_gap_is_where_the_table_is_low():
    found = from_straightedge(X, 0.05 - HOLLOW, 0.002)
    assert found.height_mm == pytest.approx(less_its_line(HOLLOW))
    assert found.peak_to_valley_mm == pytest.approx(0.020)


def test_a_straightedge_propped_aslant_makes_no_difference():
    found = from_straightedge(X, 0.05 + 1e-4 * X - HOLLOW, 0.002)
    assert found.height_mm == pytest.approx(less_its_line(HOLLOW))


def test_the_grade_of_the_straightedge_stays_in_the_map_s_uncertainty():
    plain = from_straightedge(X, -HOLLOW, 0.002).standard_uncertainty_mm
    with_grade = from_straightedge(X, -HOLLOW, 0.002, 0.0097).standard_uncertainty_mm  # DIN 874 grade 1, 800 mm
    assert with_grade.max() > plain.max() and with_grade.max() < 0.0097


def test_a_level_in_steps_gives_the_same_as_the_heights_it_was_made_from():
    slopes = np.diff(HOLLOW) / 100.0 * 1000.0
    found = from_level(700.0, 100.0, slopes + 0.3, 0.01)  # a tilted machine: no shape has it
    assert found.x_mm == pytest.approx(X)
    assert found.height_mm == pytest.approx(less_its_line(HOLLOW), abs=1e-12)


def test_reversal_is_half_the_difference_and_half_the_sum():
    """The level's own rule (first - turned)/2, (first + turned)/2: +0.07 and -0.03 give +0.05 and +0.02."""
    assert reversal(0.07, -0.03) == pytest.approx((0.05, 0.02))
    first, turned = np.zeros(9), np.zeros(9)
    first[4], turned[4] = 0.07, -0.03
    found = from_reversal(X, first, turned, np.zeros(9), 0.001)
    assert found.straightedge_mm == pytest.approx(less_its_line(np.eye(9)[4] * 0.05))
    assert found.height_mm == pytest.approx(less_its_line(-np.eye(9)[4] * 0.02))


def test_reversal_tells_table_straightedge_and_carriage_apart_where_a_plain_look_mixes_them():
    rng = np.random.default_rng(4)
    edge, path = 0.015 * np.sin(X / 170.0), 0.030 * np.cos(X / 260.0)
    noise = rng.normal(0, 0.0005, (3, len(X)))
    first, turned, table = edge - path + noise[0], -edge - path + noise[1], HOLLOW - path + noise[2]
    found = from_reversal(X, first, turned, table, 0.0005)
    off = found.height_mm - less_its_line(HOLLOW)
    assert np.abs(off).max() < 3.0 * found.standard_uncertainty_mm.max()
    assert found.straightedge_mm == pytest.approx(less_its_line(edge), abs=0.0015)
    naive = less_its_line(table - first) - less_its_line(HOLLOW)  # trusting the straightedge
    assert np.abs(naive).max() > 5.0 * np.abs(off).max()


def test_the_uncertainty_of_a_reversal_is_that_of_its_three_readings():
    rng = np.random.default_rng(8)
    noise = rng.normal(0, 0.001, (2000, 3, len(X)))
    drawn = [from_reversal(X, first, turned, table, 0.001).height_mm for first, turned, table in noise]
    nothing = np.zeros(len(X))
    claimed = from_reversal(X, nothing, nothing, nothing, 0.001).standard_uncertainty_mm
    assert np.std(drawn, axis=0) == pytest.approx(claimed, rel=0.08)


@pytest.mark.parametrize(
    ("x", "gap", "said"),
    [
        ([700.0, 800.0], [0.1, 0.1], "3 or more"),
        ([700.0, 800.0, 900.0], [0.1, 0.1], "each place has one"),
        ([700.0, 900.0, 800.0], [0.1, 0.1, 0.1], "do not rise"),
        ([700.0, 800.0, 900.0], [0.1, np.nan, 0.1], "missing"),
    ],
)
def test_readings_that_make_no_map_are_named(x, gap, said):
    with pytest.raises(BadMap, match=said):
        from_straightedge(np.array(x), np.array(gap), 0.002)

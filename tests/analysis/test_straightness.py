"""Three reference lines, exactly; the Gaussian filter with its ends."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from analysis.straightness import (
    ALPHA,
    REFERENCES,
    NotEnoughPoints,
    gaussian_filter,
    gaussian_transmission,
    local_straightness,
    minimum_zone_line,
    straightness,
)

DATA = Path(__file__).parent.parent / "data"


def zone_by_linear_programming(x, z):
    """The smallest zone by a general-purpose solver, as a cross-check of the hull."""
    ones = np.ones((len(x), 1))
    design = np.column_stack([np.ones_like(x), x])
    rows = np.vstack([np.hstack([design, -ones]), np.hstack([-design, -ones])])
    solved = linprog([0, 0, 1], A_ub=rows, b_ub=np.concatenate([z, -z]), bounds=[(None, None)] * 2 + [(0, None)])
    return 2.0 * float(solved.fun or 0.0)


def test_a_guideway_of_1200_mm_in_six_steps():
    # Fitter's trade examination question and answer (method: subtract the mean): readings +3 +6 -3 -1 -3 +4 divisions
    # of 0.01 mm/m over 200 mm give an error of 10 divisions = 0.02 mm about the end points. The least-squares and
    # minimum-zone figures for the same points are derived.
    with (DATA / "level_example_A2.csv").open() as file:
        readings = [float(row["reading_div"]) for row in csv.DictReader(file)]
    x = np.arange(0.0, 1201.0, 200.0)
    z = np.concatenate([[0.0], np.cumsum(readings)]) * 2.0  # micrometres
    end_points, squares, zone = (straightness(x, z, line) for line in ("end points", "least squares", "minimum zone"))
    assert end_points.STRt == pytest.approx(20.0)
    assert squares.STRt == pytest.approx(16.571429, abs=1e-6)
    assert squares.STRp == pytest.approx(10.0, abs=1e-9)
    assert squares.STRv == pytest.approx(6.571429, abs=1e-6)
    assert squares.STRq == pytest.approx(5.268311, abs=1e-6)
    assert squares.slope - 0.01 == pytest.approx(0.00428571 - 0.01, abs=1e-8)
    assert zone.STRt == pytest.approx(82 / 5, abs=1e-12)
    assert zone.STRt == pytest.approx(zone_by_linear_programming(x, z), abs=1e-7)


def test_the_cubic_separates_the_three_lines():
    # Textbook: of all monic cubics on [-1, 1] Chebyshev's deviates least, by 1/4, so the zone is 1/2 (value from
    # memory, confirmed here); end points 4 / (3 sqrt 3); least squares slope 3/5, zone 0.8, STRq sqrt(1/7 - 3/25):
    # derived.
    x = np.linspace(-1, 1, 20001)
    ends, squares, zone = (straightness(x, x**3, line) for line in ("end points", "least squares", "minimum zone"))
    assert ends.STRt == pytest.approx(4 / (3 * np.sqrt(3)), abs=1e-6)
    assert squares.STRt == pytest.approx(0.8, abs=2e-4)
    assert squares.STRq == pytest.approx(np.sqrt(1 / 7 - 3 / 25), abs=1e-4)
    assert zone.STRt == pytest.approx(0.5, abs=1e-6)


def test_a_symmetrical_bow_is_its_sagitta_about_every_line():
    x = np.linspace(-1, 1, 201)
    assert [straightness(x, -(x**2), line).STRt for line in REFERENCES] == pytest.approx([1.0] * 3)


def test_best_lines_of_the_textbooks():
    # Chebyshev's best lines for the root and the exponential on [0, 1] (textbook examples, from memory).
    x = np.linspace(0, 1, 20001)
    slope, offset = minimum_zone_line(x, np.sqrt(x))
    assert (slope, offset) == pytest.approx((1.0, 1 / 8), abs=1e-4)
    slope, offset = minimum_zone_line(x, np.exp(x))
    assert (slope, offset) == pytest.approx((1.7182818, 0.8940666), abs=1e-4)
    assert straightness(x, np.exp(x), "minimum zone").STRt == pytest.approx(0.2118667, abs=1e-6)


def test_the_three_parameter_fit_of_a_numerical_library_comes_out_of_linear_programming():
    # NAG Library Manual, example of routine e02gc: a e^t + b e^-t + c, largest residual 1.03e-3, 1.0049, 2.0149, 1.4822
    # (the five data pairs are from memory; they give the published answer to every digit). It holds the cross-check
    # used in this file.
    t = np.array([0, 0.2, 0.4, 0.6, 0.8])
    y = np.array([4.501, 4.360, 4.333, 4.418, 4.625])
    design = np.column_stack([np.exp(t), np.exp(-t), np.ones(5)])
    ones = np.ones((5, 1))
    rows = np.vstack([np.hstack([design, -ones]), np.hstack([-design, -ones])])
    solved = linprog([0, 0, 0, 1], A_ub=rows, b_ub=np.concatenate([y, -y]), bounds=[(None, None)] * 3 + [(0, None)])
    assert solved.x == pytest.approx([1.0049, 2.0149, 1.4822, 1.03e-3], abs=6e-5)


def test_an_iterative_fit_that_stops_early_is_not_the_smallest_zone():
    x = np.linspace(0, 1, 101)
    z = (2 * x - 1) ** 3
    stopped = straightness(x, z, "least squares").STRt  # where such an iteration starts
    assert straightness(x, z, "minimum zone").STRt < 0.9 * stopped


POINTS = st.lists(st.floats(-1, 1), min_size=3, max_size=40)


@given(POINTS)
@settings(max_examples=25, deadline=None)
def test_the_hull_agrees_with_a_general_solver(values):
    x, z = np.arange(len(values), dtype=float), np.array(values)
    assert straightness(x, z, "minimum zone").STRt == pytest.approx(zone_by_linear_programming(x, z), abs=1e-7)


@given(POINTS, st.floats(-3, 3), st.floats(-3, 3), st.floats(0.1, 10))
def test_a_line_added_changes_nothing_and_scale_scales(values, slope, lift, scale):
    x, z = np.arange(len(values), dtype=float), np.array(values)
    for line in REFERENCES:
        before, after = straightness(x, z, line), straightness(x, scale * z + slope * x + lift, line)
        assert after.STRt == pytest.approx(scale * before.STRt, abs=1e-9)


@given(POINTS)
def test_the_smallest_zone_is_the_smallest(values):
    x, z = np.arange(len(values), dtype=float), np.array(values)
    zones = {line: straightness(x, z, line).STRt for line in REFERENCES}
    assert zones["minimum zone"] <= min(zones.values()) + 1e-12


def test_several_points_at_one_place():
    x = np.array([0.0, 0.0, 1.0, 1.0, 2.0])
    z = np.array([0.0, 1.0, 0.0, 1.0, 0.5])
    assert straightness(x, z, "minimum zone").STRt == pytest.approx(zone_by_linear_programming(x, z), abs=1e-9)


def test_local_straightness_finds_the_step_a_long_line_hides():
    x = np.arange(0.0, 2001.0, 10.0)
    z = np.where(np.abs(x - 1200) < 30, 0.02, 0.0)
    zone, where = local_straightness(x, z, 300.0)
    assert zone == pytest.approx(0.02)
    assert abs(where - 1200) < 200


def test_no_line_through_one_point():
    with pytest.raises(NotEnoughPoints, match="2 points"):
        straightness(np.array([1.0]), np.array([0.0]))
    with pytest.raises(NotEnoughPoints):
        straightness(np.array([1.0, 1.0]), np.array([0.0, 0.1]))
    with pytest.raises(ValueError, match="finite"):
        straightness(np.array([1.0, 2.0]), np.array([0.0, np.nan]))


def test_the_filter_passes_what_iso_16610_21_says():
    # ISO 16610-21:2011, weighting function with alpha = sqrt(ln 2 / pi); the table is computed from the formula.
    assert pytest.approx(0.469718639349826, abs=1e-15) == ALPHA
    with (DATA / "gauss_transmission.csv").open() as file:
        for row in csv.DictReader(file):
            said = gaussian_transmission(float(row["lambda_over_cutoff"]), 1.0)
            assert said == pytest.approx(
                float(row["longwave_transmission"]), rel=1e-4, abs=1e-12
            )  # the table's first column is rounded


@pytest.mark.parametrize("ratio", [1.0, 2.0, 3.0, 5.0])
def test_cosines_come_out_with_that_transmission(ratio):
    cutoff = 250.0
    x = np.arange(0.0, 5000.0, 5.0)
    wave = np.cos(2 * np.pi * x / (ratio * cutoff))
    middle = slice(len(x) // 3, 2 * len(x) // 3)
    gain = np.ptp(gaussian_filter(x, wave, cutoff)[middle]) / np.ptp(wave[middle])
    assert gain == pytest.approx(float(gaussian_transmission(ratio, 1.0)), abs=2e-3)


def test_the_ends_keep_constants_and_ramps_where_plain_convolution_halves_them():
    x = np.arange(0.0, 2000.0, 5.0)
    cutoff = 250.0
    kernel = np.exp(-np.pi * (np.arange(-250, 251, 5.0) / (ALPHA * cutoff)) ** 2)
    kernel /= kernel.sum()
    plain = np.convolve(np.ones_like(x), kernel, mode="same")
    assert plain[0] == pytest.approx(0.5, abs=0.03)  # derived: exactly one half for a fine grid
    assert gaussian_filter(x, np.ones_like(x), cutoff) == pytest.approx(np.ones_like(x), abs=1e-12)
    assert gaussian_filter(x, 0.001 * x, cutoff) == pytest.approx(0.001 * x, abs=1e-12)
    # A renormalised kernel bends the ramp up by alpha cutoff / pi at its end (derived).
    weights = kernel[50:] / kernel[50:].sum()
    assert float(weights @ x[: len(weights)]) == pytest.approx(ALPHA * cutoff / np.pi, rel=0.08)


def test_a_cut_off_of_nothing_is_refused():
    with pytest.raises(ValueError, match="cut-off"):
        gaussian_filter(np.arange(5.0), np.arange(5.0), 0.0)

"""A level's slopes to heights."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.slopes import (
    BadSteps,
    closure,
    heights_from_overlapping,
    heights_from_steps,
    reversal,
    tied_to_ends,
    twist_from_roll,
)
from analysis.straightness import straightness

DATA = Path(__file__).parent.parent / "data"


def readings():
    with (DATA / "level_example_A2.csv").open() as file:
        return np.array([float(row["reading_div"]) for row in csv.DictReader(file)]) * 0.01  # mm/m


def test_the_guideway_of_the_trade_examination():
    # Fitter's trade examination: 0.01 mm/m a division, 200 mm steps, error 0.02 mm; heights 0 +2 +7 +3 +1 -3 0 div.
    found = heights_from_steps(readings(), 200.0)
    line = straightness(found.x_mm, found.height_mm, "end points")
    assert line.STRt == pytest.approx(0.02, abs=1e-12)
    assert line.deviations / 0.002 == pytest.approx([0, 2, 7, 3, 1, -3, 0], abs=1e-9)


def test_feet_of_the_step_length_overlap_to_the_same_heights():
    middles = np.arange(100.0, 1101.0, 200.0)
    chained = heights_from_overlapping(middles, readings(), 200.0, 0.01)
    stepped = heights_from_steps(readings(), 200.0)
    assert chained.x_mm == pytest.approx(stepped.x_mm)
    assert chained.height_mm == pytest.approx(stepped.height_mm, abs=1e-4)


def test_overlapping_steps_find_a_smooth_line():
    x = np.arange(0.0, 2401.0, 100.0)
    shape = 0.05 * np.sin(x / 500)
    foot = 300.0
    middle = np.arange(150.0, 2251.0, 100.0)
    slope = (np.interp(middle + 150, x, shape) - np.interp(middle - 150, x, shape)) / foot * 1000
    found = heights_from_overlapping(np.tile(middle, 2), np.tile(slope, 2), foot, 0.005)
    truth = np.interp(found.x_mm, x, shape)
    error = straightness(found.x_mm, found.height_mm - truth, "least squares")
    assert error.STRt < 0.004


def test_summing_at_another_step_than_the_foot_is_wrong():
    x = np.arange(0.0, 2401.0, 100.0)
    shape = 0.05 * np.sin(x / 500)
    middle = np.arange(150.0, 2251.0, 100.0)
    slope = (np.interp(middle + 150, x, shape) - np.interp(middle - 150, x, shape)) / 300 * 1000
    naive = np.concatenate([[0], np.cumsum(slope * 0.300)])  # every 100 mm, but summed as if stepped by the foot
    assert np.ptp(naive) > 2.5 * np.ptp(shape)


def test_a_return_over_the_same_steps_closes_but_for_the_drift():
    out = readings()
    assert closure(out, out, 200.0) == pytest.approx(0.0, abs=1e-15)
    assert closure(out, out - 0.01, 200.0) == pytest.approx(0.012)
    with pytest.raises(BadSteps, match="6 steps forth and 5 back"):
        closure(out, out[:-1], 200.0)


def test_reversal_parts_tilt_and_zero():
    # Derived: +0.07 then -0.03 after turning end for end.
    assert reversal(0.07, -0.03) == pytest.approx((0.05, 0.02))


def test_uncertainty_grows_along_a_chain_and_is_shared_between_held_ends():
    found = heights_from_steps(np.zeros(9), 200.0, 0.01)
    sd = np.sqrt(np.diag(found.covariance_mm2))
    assert sd[9] == pytest.approx(3 * 0.002)
    held = tied_to_ends(found, 0.1, 0.2, 0.001)
    sd = np.sqrt(np.diag(held.covariance_mm2))
    assert held.height_mm[[0, -1]] == pytest.approx([0.1, 0.2])
    assert sd[0] == pytest.approx(0.001) and sd[-1] == pytest.approx(0.001) and sd[5] > 0.002


def test_twist_of_a_line_from_roll():
    x = np.arange(0.0, 2601.0, 200.0)
    twist, uncertainty = twist_from_roll(x, 0.3 + 0.05 * x / 1000)
    assert twist == pytest.approx(0.05) and uncertainty < 1e-12
    with pytest.raises(BadSteps):
        twist_from_roll(np.array([1.0]), np.array([0.1]))


@given(st.floats(-2, 2))
def test_the_level_s_own_zero_tilts_and_never_bends(zero):
    plain, tilted = heights_from_steps(readings(), 200.0), heights_from_steps(readings() + zero, 200.0)
    for line in ("least squares", "minimum zone", "end points"):
        assert straightness(tilted.x_mm, tilted.height_mm, line).STRt == pytest.approx(
            straightness(plain.x_mm, plain.height_mm, line).STRt, abs=1e-9
        )


def test_gaps_and_nothing_are_refused():
    with pytest.raises(BadSteps, match="gap"):
        heights_from_steps(np.array([0.1, np.nan]), 200.0)
    with pytest.raises(BadSteps, match="no slopes"):
        heights_from_overlapping(np.zeros(0), np.zeros(0), 200.0)
    with pytest.raises(BadSteps, match="foot"):
        heights_from_overlapping(np.ones(2), np.ones(2), 0.0)
    with pytest.raises(BadSteps, match="step"):
        heights_from_steps(np.ones(2), -1.0)


def test_repeating_a_line_back_shrinks_its_uncertainty():
    middles, slopes = np.arange(100.0, 1100.0, 200.0), np.zeros(5)
    once = heights_from_overlapping(middles, slopes, 200.0)
    twice = heights_from_overlapping(np.tile(middles, 2), np.tile(slopes, 2), 200.0)
    assert twice.covariance_mm2[-1, -1] == pytest.approx(once.covariance_mm2[-1, -1] / 2.0, rel=0.05)

"""Level readings become heights: a published guideway, hand-worked steps, and what a level cannot see."""

from __future__ import annotations

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

DATA = Path(__file__).parents[1] / "data"
SLOPES = st.lists(st.floats(-5.0, 5.0), min_size=3, max_size=30)


def guideway() -> tuple[np.ndarray, list[dict[str, str]]]:
    """Level with 0.01 mm/m a division moved in six steps of 200 mm (fitter's examination question with its answer)."""
    with (DATA / "level_example_A2.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return np.array([float(row["reading_div"]) for row in rows]) * 0.01, rows


def test_a_published_guideway_gives_its_published_heights():
    # Fitter's trade examination (Chinese text): 1200 mm in 200 mm steps, mean subtracted, heights 2, 7, 3, 1, -3, 0
    # divisions of 2 um, straightness error 0.02 mm.
    slope, rows = guideway()
    heights = heights_from_steps(slope - slope.mean(), 200.0)
    assert heights.height_mm[1:] == pytest.approx(
        [float(row["height_um_endpoint"]) / 1000.0 for row in rows], abs=1e-12
    )
    assert np.ptp(heights.height_mm) == pytest.approx(0.020, abs=1e-12)


def test_the_three_reference_lines_give_three_answers_for_that_guideway():
    # Derived from the same seven points: end points 20, least squares 16.571429, minimum zone exactly 82/5 = 16.4 um.
    heights = heights_from_steps(guideway()[0], 200.0)
    zones = {
        line: 1e3 * straightness(heights.x_mm, heights.height_mm, line).STRt
        for line in ("end points", "least squares", "minimum zone")
    }
    assert zones == pytest.approx({"end points": 20.0, "least squares": 16.571429, "minimum zone": 16.4}, abs=1e-6)


def test_summing_as_if_the_step_were_another_is_wrong():
    slope, _ = guideway()
    right, naive = heights_from_steps(slope, 200.0), heights_from_steps(slope, 1000.0)
    assert np.ptp(naive.height_mm) == pytest.approx(5.0 * np.ptp(right.height_mm))


@given(SLOPES, st.floats(50.0, 1000.0), st.floats(-3.0, 3.0))
def test_a_tilt_of_the_whole_line_changes_no_straightness(slopes, step_mm, tilt):
    plain, tilted = (heights_from_steps(np.array(slopes) + more, step_mm) for more in (0.0, tilt))
    zones = [straightness(h.x_mm, h.height_mm, "end points").STRt for h in (plain, tilted)]
    assert zones[0] == pytest.approx(zones[1], abs=1e-9)


@given(SLOPES)
def test_overlapping_feet_agree_with_plain_steps_where_they_do_not_overlap(slopes):
    plain = heights_from_steps(np.array(slopes), 200.0)
    middles = plain.x_mm[:-1] + 100.0
    overlapping = heights_from_overlapping(middles, np.array(slopes), 200.0)
    assert overlapping.height_mm == pytest.approx(plain.height_mm, abs=2e-3 + 1e-3 * np.ptp(plain.height_mm))


def test_overlapping_feet_find_a_known_shape_between_the_steps():
    foot = 200.0
    middles = np.arange(100.0, 1101.0, 50.0)

    def shape(x):
        return 0.05 * np.sin(2 * np.pi * x / 1200.0)

    slopes = (shape(middles + foot / 2) - shape(middles - foot / 2)) / foot * 1000.0
    found = heights_from_overlapping(middles, slopes, foot)
    assert found.height_mm == pytest.approx(shape(found.x_mm) - shape(found.x_mm[0]), abs=2e-3)


def test_repeating_a_line_back_shrinks_its_uncertainty():
    middles, slopes = np.arange(100.0, 1100.0, 200.0), np.zeros(5)
    once = heights_from_overlapping(middles, slopes, 200.0)
    twice = heights_from_overlapping(np.tile(middles, 2), np.tile(slopes, 2), 200.0)
    assert twice.covariance_mm2[-1, -1] == pytest.approx(once.covariance_mm2[-1, -1] / 2.0, rel=0.05)


def test_the_uncertainty_of_a_running_sum_grows_with_the_root_of_the_steps():
    heights = heights_from_steps(np.zeros(9), 100.0, 0.02)
    assert np.sqrt(np.diag(heights.covariance_mm2)) == pytest.approx(0.002 * np.sqrt(np.arange(10)), abs=1e-12)


def test_a_drift_shows_as_closure():
    assert closure(np.array([0.1, 0.1]), np.array([0.2, 0.1]), 500.0) == pytest.approx(-0.05)
    assert closure(np.array([0.1, -0.3]), np.array([0.1, -0.3]), 500.0) == 0.0


def test_turning_the_level_parts_its_zero_from_the_tilt():
    # Derived: readings +0.07 and -0.03 mm/m give tilt +0.05 and zero error +0.02.
    assert reversal(0.07, -0.03) == pytest.approx((0.05, 0.02))


def test_twist_is_the_slope_of_roll():
    x = np.array([0.0, 500.0, 1000.0, 1500.0])
    twist, uncertainty = twist_from_roll(x, 0.1 + 0.2 * x / 1000.0)
    assert twist == pytest.approx(0.2)
    assert uncertainty == pytest.approx(0.0, abs=1e-9)


def test_heights_at_both_ends_give_the_lift_and_tilt_a_level_cannot_see():
    tied = tied_to_ends(heights_from_steps(np.array([0.3, 0.1, -0.1]), 100.0), 0.10, 0.16, 0.002)
    assert tied.height_mm[[0, -1]] == pytest.approx([0.10, 0.16])
    assert np.sqrt(tied.covariance_mm2[0, 0]) == pytest.approx(0.002)


@pytest.mark.parametrize(
    "call",
    [
        lambda: heights_from_steps(np.zeros(0), 200.0),
        lambda: heights_from_steps(np.array([0.1, np.nan]), 200.0),
        lambda: heights_from_steps(np.array([0.1]), 0.0),
        lambda: heights_from_overlapping(np.array([100.0]), np.array([0.1]), -1.0),
        lambda: closure(np.zeros(2), np.zeros(3), 200.0),
        lambda: twist_from_roll(np.array([100.0]), np.array([0.1])),
    ],
)
def test_steps_that_do_not_fit_are_refused(call):
    with pytest.raises(BadSteps):
        call()

"""Facts about feet: a plane on four feet, built here, is level after the lifts, and a twist is gone."""

import numpy as np
import pytest

from analysis.base import CORNERS, corner_feet, level_feet, twist, untwist

FEET = corner_feet(1200.0, 700.0)


def slopes(heights):
    """Slopes (along, across), mm/m, of the plane through the feet by least squares."""
    rows = np.array([[1.0, *FEET[name]] for name in CORNERS])
    fitted, *_ = np.linalg.lstsq(rows, np.array([heights[name] for name in CORNERS]), rcond=None)
    return 1000 * fitted[1:]


@pytest.mark.parametrize(("along", "across"), [(0.5, 0.0), (-0.4, 0.3), (0.2, -1.1)])
def test_the_lifts_level_the_plane_and_none_lowers(along, across):
    lifts = level_feet(along, across, FEET)
    after = {name: (along * x + across * y) / 1000 + lifts[name] for name, (x, y) in FEET.items()}
    assert slopes(after) == pytest.approx([0.0, 0.0], abs=1e-9)
    assert min(lifts.values()) == 0.0
    assert max(lifts, key=lambda name: lifts[name]) == min(
        FEET, key=lambda name: along * FEET[name][0] + across * FEET[name][1]
    )


def test_a_levels_own_zero_error_cancels_in_the_twist():
    assert twist(0.10 + 0.07, 0.25 + 0.07, 700.0, 0.02).twist_mm_per_m == pytest.approx(0.15)
    assert twist(0.0, 0.15, 700.0, 0.02).over_width_mm == pytest.approx(0.105)


@pytest.mark.parametrize("size", [0.15, -0.3])
def test_the_smallest_lifts_take_the_twist_out_of_a_body_that_follows(size):
    lifts = untwist(twist(0.0, size, 700.0, 0.02))
    across = {}
    for end, before in (("infeed", 0.0), ("outfeed", size)):
        table, carriage = (lifts.get(f"{end}, {side} side", 0.0) for side in ("table", "carriage"))
        across[end] = before + 1000 * (table - carriage) / 700.0
    assert across["outfeed"] - across["infeed"] == pytest.approx(0.0, abs=1e-12)
    assert min(lifts.values()) > 0

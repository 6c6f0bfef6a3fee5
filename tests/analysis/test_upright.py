"""Facts about blade and spindle square over a height, at a stop, and to the carriage's plane.

The truth is built here with vectors: a spindle's direction, a plane's normal, the tip's circle about the spindle.
1 degree is 17.4533 mm/m by the arc (1000 pi / 180).
"""

import numpy as np
import pytest

from analysis.circle import swing
from analysis.upright import at_stop, from_arc, over_height, to_other_plane


def swung(spindle, normal, radius, angles_deg):
    """Readings (pushed in +) of a tip swung about ``spindle`` over the plane with ``normal`` through the origin."""
    spindle, normal = spindle / np.linalg.norm(spindle), normal / np.linalg.norm(normal)
    along = np.array([1.0, 0.0, 0.0]) - spindle * spindle[0]
    along /= np.linalg.norm(along)
    across = np.cross(spindle, along)
    turn = np.deg2rad(angles_deg)
    arm = radius * (np.outer(np.cos(turn), along) + np.outer(np.sin(turn), across))
    above = 100.0 * spindle  # where the arm is clamped
    depth = (above + arm) @ normal / (spindle @ normal)  # how far along the spindle's axis the plane is below
    return -(depth - 100.0)


TABLE = np.array([0.0, 0.0, 1.0])
LEANING = np.array([0.0004, 0.0002, 1.0])  # toward outfeed and the table side


def test_an_arc_over_the_carriage_says_what_a_whole_turn_says():
    whole = np.arange(0.0, 360.0, 30.0)
    arc = np.arange(210.0, 331.0, 20.0)
    turn = swing(whole, swung(LEANING, TABLE, 200.0, whole), 200.0, 0.002)
    part = from_arc(arc, swung(LEANING, TABLE, 200.0, arc), 200.0, 0.002)
    assert part.tilt_mm_per_m == pytest.approx(turn.tilt_mm_per_m, rel=1e-3)
    assert part.tilt_mm_per_m == pytest.approx(1000.0 * np.hypot(0.0004, 0.0002), rel=1e-3)
    assert part.direction_deg == pytest.approx(np.degrees(np.arctan2(0.0002, 0.0004)), abs=0.1)
    assert part.uncertainty_mm_per_m > turn.uncertainty_mm_per_m, "an arc holds it up worse"


def test_a_short_arc_or_three_places_are_too_few():
    with pytest.raises(ValueError, match="span 45 degrees"):
        from_arc(np.array([0.0, 15.0, 30.0, 45.0]), np.zeros(4), 200.0, 0.002)
    with pytest.raises(ValueError, match="3 different angles"):
        from_arc(np.array([0.0, 60.0, 120.0]), np.zeros(3), 200.0, 0.002)


def test_the_carriages_plane_is_met_through_a_level_as_well_as_by_the_arc():
    steeper = np.array([-0.0003, 0.0005, 1.0])  # normal of a plane that rises 0.3 mm/m along and falls 0.5 across
    arc = np.arange(200.0, 341.0, 20.0)
    direct = from_arc(arc, swung(LEANING, steeper, 200.0, arc), 200.0, 0.002)
    whole = np.arange(0.0, 360.0, 30.0)
    table = from_arc(whole, swung(LEANING, TABLE, 200.0, whole), 200.0, 0.002)
    told = to_other_plane(table, 0.3, -0.5, 0.02)
    assert told.along_mm_per_m == pytest.approx(direct.along_mm_per_m, abs=1e-3)
    assert told.across_mm_per_m == pytest.approx(direct.across_mm_per_m, abs=1e-3)
    assert told.along_uncertainty_mm_per_m >= 0.02


def test_square_to_the_table_is_not_square_to_a_carriage_that_rolls():
    told = to_other_plane(from_arc(np.arange(0.0, 360.0, 45.0), np.zeros(8), 200.0, 0.002), 0.0, 0.4, 0.02)
    assert told.tilt_mm_per_m == pytest.approx(0.4)
    assert told.direction_deg == pytest.approx(90.0)


def test_a_wobbling_blade_is_square_when_half_a_turn_is_averaged():
    # a plate that wobbles by 0.06 over 100 mm of height, true otherwise
    low, high = np.array([0.03, -0.03]), np.array([-0.03, 0.03])
    assert over_height(low, high, 100.0, 0.004)[0] == pytest.approx(0.0)
    assert over_height(low[:1], high[:1], 100.0, 0.004)[0] == pytest.approx(0.6), "one turn alone reads the wobble"


def test_more_pushed_in_at_the_top_leans_toward_the_carriage():
    lean, doubt = over_height(np.array([0.0]), np.array([0.05]), 100.0, 0.004)
    assert lean == pytest.approx(-0.5)
    assert doubt == pytest.approx(np.sqrt(2.0) * 0.04)


def test_a_stop_is_told_from_the_table_the_level_was_zeroed_on():
    error, doubt = at_stop(np.array([45.12]), np.array([0.02]), 45.0, 0.05)
    assert error == pytest.approx(0.1 * 17.4533, rel=1e-4)
    assert doubt == pytest.approx(np.sqrt(2.0) * 0.05 * 17.4533, rel=1e-4)


def test_pairs_and_heights_that_are_missing_are_said():
    with pytest.raises(ValueError, match="pairs are needed"):
        over_height(np.array([0.0]), np.array([]), 100.0, 0.004)
    with pytest.raises(ValueError, match="distance between the two readings"):
        over_height(np.array([0.0]), np.array([0.1]), 0.0, 0.004)


def test_the_arcs_uncertainty_holds_the_truth_about_95_times_in_100():
    rng = np.random.default_rng(3)
    arc = np.arange(200.0, 341.0, 20.0)
    inside = 0
    for _ in range(400):
        lean = rng.normal(0.0, 0.0005, 2)
        clean = swung(np.array([*lean, 1.0]), TABLE, 200.0, arc)
        found = from_arc(arc, clean + rng.normal(0.0, 0.002, len(arc)), 200.0, 0.004)
        inside += abs(found.across_mm_per_m - 1000.0 * lean[1]) <= found.across_uncertainty_mm_per_m
    assert 0.90 * 400 <= inside <= 0.99 * 400

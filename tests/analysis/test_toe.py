"""Facts about toe: the same tooth twice, the marks of the rear teeth, and the way the rail must go.

Worked figures are derived by geometry; that marks on the wall away from the guide mean opening is derived here with a
kerf swept tooth by tooth (``fixtures.cutter``), which knows nothing of the rule.
"""

from dataclasses import replace

import numpy as np
import pytest

from analysis.toe import (
    Toe,
    chord_mm,
    from_distances,
    from_marks,
    from_plate,
    from_same_tooth,
    from_straightedge,
    groove_mm,
    heights_lost,
    sideways_shifts,
    slacken_turns,
    tilt_axis,
    to_the_blade,
)
from fixtures.cutter import kerf_marks
from fixtures.plan_rail import draw_rail

OPENING = 0.020  # mm over 300 mm, derived example
WOBBLE = 0.030  # 0.06 mm total reading


def reading(where, tooth_deg):
    """An indicator on the carriage, + pushed in: the blade is OPENING farther away at the rear; a tooth wobbles."""
    return (0.0 if where == "front" else -OPENING) + WOBBLE * np.cos(np.deg2rad(tooth_deg))


def test_the_same_tooth_front_and_rear_cancels_the_wobble():
    found = from_same_tooth(np.array([reading("front", 0.0)]), np.array([reading("rear", 0.0)]), 300.0, 0.004)
    assert found.over_span_mm == pytest.approx(0.020)
    assert found.toe_mm_per_m == pytest.approx(0.0667, abs=5e-5)


def test_another_tooth_at_the_rear_reads_the_wobble_instead():
    # derived: two teeth half a turn apart on the same blade read -0.040
    wrong = from_same_tooth(np.array([reading("front", 180.0)]), np.array([reading("rear", 0.0)]), 300.0, 0.004)
    assert wrong.over_span_mm == pytest.approx(-0.040)


def test_a_plate_turned_half_round_gives_it_without_a_tooth():
    found = from_plate(
        np.array([reading("front", 180.0), reading("front", 0.0)]),
        np.array([reading("rear", 0.0), reading("rear", 180.0)]),
        300.0,
        0.004,
    )
    assert found.over_span_mm == pytest.approx(0.020)


def test_several_teeth_cover_the_truth_by_their_scatter():
    rng = np.random.default_rng(2)
    hits = 0
    for _ in range(400):
        found = from_same_tooth(rng.normal(0.02, 0.01, 4), rng.normal(0.0, 0.01, 4), 300.0, 0.002)
        hits += abs(found.over_span_mm - 0.02) <= found.uncertainty_mm_per_m * 0.3
    assert 0.92 <= hits / 400 <= 0.98


def test_a_guide_opens_when_its_distance_grows_toward_outfeed():
    found = from_distances(np.array([0.0, 400.0]), np.array([100.00, 100.04]), 0.02)
    assert found.toe_mm_per_m == pytest.approx(0.1)
    assert found.uncertainty_mm_per_m == pytest.approx(1000 * 0.02 * 2**0.5 / 400)


def test_distances_that_do_not_lie_on_a_line_widen_the_uncertainty():
    x = np.array([0.0, 200.0, 400.0, 600.0])
    straight = from_distances(x, 100 + 1e-4 * x, 0.01)
    bent = from_distances(x, 100 + 1e-4 * x + np.array([0, 0.2, 0.2, 0]), 0.01)
    assert bent.toe_mm_per_m == pytest.approx(straight.toe_mm_per_m)
    assert bent.uncertainty_mm_per_m > 5 * straight.uncertainty_mm_per_m


def test_the_chord_and_the_groove():
    # derived: radius 150, projection 60: 240.0 mm at the table, 208.2 mm at 18 mm up; 0.1 mm/m leaves 0.024, 0.021 mm
    assert chord_mm(150.0, 60.0) == pytest.approx(240.0)
    assert chord_mm(150.0, 60.0, 18.0) == pytest.approx(208.2, abs=0.05)
    assert groove_mm(0.1, chord_mm(150.0, 60.0)) == pytest.approx(0.024)
    assert groove_mm(-0.1, chord_mm(150.0, 60.0, 18.0)) == pytest.approx(0.021, abs=5e-4)
    assert chord_mm(150.0, 60.0, 80.0) == 0.0


@pytest.mark.parametrize("guide", ["carriage", "rip fence"])
@pytest.mark.parametrize("toe", [0.0001, -0.0001, 0.0005])
def test_the_rear_teeth_mark_the_wall_the_rule_says_as_deep_as_it_says(toe, guide):
    marks = kerf_marks(toe, 240.0, guide=guide)
    assert from_marks(away=marks.away_mm > 1e-9, guide=marks.guide_mm > 1e-9) == ("opening" if toe > 0 else "closing")
    assert max(marks.away_mm, marks.guide_mm) == pytest.approx(groove_mm(1000 * toe, 240.0))


@pytest.mark.parametrize("guide", ["carriage", "rip fence"])
def test_a_wobbling_blade_marks_both_walls_and_nothing_is_told(guide):
    wobble = 0.03 * np.cos(2 * np.pi * np.arange(24) / 24)
    marks = kerf_marks(0.00005, 240.0, list(wobble), guide=guide)
    assert marks.away_mm > 0.01 < marks.guide_mm
    assert from_marks(away=True, guide=True) == "cannot tell"
    assert from_marks(away=False, guide=False) == "cannot tell"


def test_the_rail_turns_about_the_bolt_left_tight():
    """The corrected line is laid down again and its opening measured as a distance to the blade (y = 0)."""
    x_mm = {"B1": 150.0, "B2": 650.0, "B3": 1150.0}
    line = {name: -200.0 - 0.0005 * x for name, x in x_mm.items()}  # opens by 0.5 mm/m
    shifts = sideways_shifts(0.5, 0.05, x_mm, "B2")
    after = np.array([-(line[name] + shifts[name]) for name in x_mm])
    found = from_distances(np.array(list(x_mm.values())), after, 0.0)
    assert found.toe_mm_per_m == pytest.approx(0.05)
    assert shifts["B2"] == 0.0
    assert shifts["B3"] > 0 > shifts["B1"]


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: from_same_tooth(np.array([0.0]), np.array([]), 300.0, 0.01),
        lambda: from_same_tooth(np.array([0.0]), np.array([0.0]), 0.0, 0.01),
        lambda: from_plate(np.array([0.0]), np.array([0.0]), 300.0, 0.01),
        lambda: from_distances(np.array([0.0, 0.0]), np.array([1.0, 1.0]), 0.01),
    ],
)
def test_too_little_is_refused(wrong):
    with pytest.raises(ValueError, match=r"needed|needs"):
        wrong()


# --- other ways, full tilt, what a shift does ------------------------------------------------------------------------


def turned_about(axis, angle, vector):
    """A vector turned about an axis: Rodrigues' formula, written out."""
    axis = axis / np.linalg.norm(axis)
    cross = np.cross(axis, vector)
    return vector * np.cos(angle) + cross * np.sin(angle) + axis * (axis @ vector) * (1 - np.cos(angle))


def read_square(normal):
    """Toe (mm/m) of a plate with this normal, read square to it by a tip that travels along x: the normal's x part."""
    return -1000.0 * normal[0] / np.linalg.norm(normal)


@pytest.mark.parametrize(("top", "sense"), [("carriage", 1.0), ("table", -1.0)])
def test_a_tilt_axis_that_climbs_changes_the_toe_with_the_bevel(top, sense):
    axis = np.array([1.0, 0.0, 0.0004])  # climbs by 0.4 mm/m toward outfeed
    upright = np.array([-0.0001, 1.0, 0.0])  # opens by 0.1 mm/m
    tilted = turned_about(axis, sense * np.deg2rad(45.0), upright)
    assert (tilted[2] > 0) == (top == "carriage"), "turned so that the top leans there"
    toes = [Toe(read_square(each), 0.01, 0.0, 240.0) for each in (upright, tilted)]
    found = tilt_axis(toes[0], toes[1], 45.0, top)
    assert toes[0].toe_mm_per_m == pytest.approx(0.1, abs=1e-6)
    assert found.climb_mm_per_m == pytest.approx(0.4, rel=1e-3)
    assert found.uncertainty_mm_per_m == pytest.approx(0.01 * 2**0.5)


def test_an_axis_along_the_travel_leaves_the_toe_alone_and_one_askew_in_plan_changes_it_little():
    upright = np.array([-0.0001, 1.0, 0.0])
    along = turned_about(np.array([1.0, 0.0, 0.0]), np.deg2rad(45.0), upright)
    assert read_square(along) == pytest.approx(0.1, abs=1e-6)
    askew = turned_about(np.array([1.0, 0.0004, 0.0]), np.deg2rad(45.0), upright)
    assert read_square(askew) - 0.1 == pytest.approx(-0.4 * (1 - np.cos(np.deg2rad(45.0))), rel=1e-2)


def test_a_straightedge_laid_on_a_wobbling_blade_reads_the_wobble_until_the_blade_is_half_round():
    x = np.array([0.0, 200.0, 400.0])
    opening, wobble = 0.0002, 0.0005
    first, half = (-(opening + sense * wobble) * x for sense in (1.0, -1.0))
    found, seen = from_straightedge(x, first, half, 0.004, 0.01)
    assert found.toe_mm_per_m == pytest.approx(0.2)
    assert seen == pytest.approx(0.2)
    assert from_distances(x, -first, 0.004).toe_mm_per_m == pytest.approx(0.7), "the naive reading"
    assert found.uncertainty_mm_per_m > 1000 * 0.01 / 400


def test_distances_by_feelers_weigh_by_their_intervals():
    x = np.array([0.0, 300.0, 600.0])
    found = from_distances(x, np.array([0.125, 0.160, 0.185]), np.array([0.03, 0.2, 0.03]))
    assert found.toe_mm_per_m == pytest.approx(0.1, abs=0.005)
    assert found.uncertainty_mm_per_m == pytest.approx(1000 * 0.03 * 2**0.5 / 600, rel=0.05)


def test_a_sheet_carries_the_travel_and_its_corner_not_the_blade():
    """The sheet's edge, the travel and the fence are laid down as lines; the opening to the blade is read off."""
    toe, corner, opening = 0.08, 0.05, 0.30  # mm/m
    edge = (corner - toe) / 1000.0  # dy/dx against the blade: the travel runs at -toe
    gap_slope = opening / 1000.0 - edge
    gaps = from_distances(np.array([0.0, 600.0]), np.array([0.2, 0.2 + gap_slope * 600]), 0.0)
    found = to_the_blade(gaps, (corner, 0.1), (toe, 0.05))
    assert found.toe_mm_per_m == pytest.approx(opening)
    assert found.uncertainty_mm_per_m == pytest.approx(np.hypot(0.1, 0.05))


def test_slackening_by_a_tenth_of_a_millimetre_is_about_a_sixteenth_of_a_turn():
    # common practice, no source: toe is corrected with the bolts slackened a sixteenth of a turn
    assert slacken_turns(1.5) == pytest.approx(1 / 16, abs=0.006)
    with pytest.raises(ValueError, match="pitch"):
        slacken_turns(0.0)


def test_heights_that_changed_by_no_more_than_readings_do_are_kept():
    lost = heights_lost(np.array([0.10, 0.12, 0.09]), np.array([0.104, 0.06, 0.09]), 0.006)
    assert lost == pytest.approx([0.0, -0.06, 0.0])


def test_a_rail_in_plan_comes_to_the_wanted_toe_by_the_shifts_and_not_by_its_end_alone():
    rail = draw_rail(np.random.default_rng(4))
    wanted, toe = 0.05, rail.toe_mm_per_m(240.0)
    names = {f"B{n}": float(x) for n, x in enumerate(rail.bolts_x_mm)}
    shifts = sideways_shifts(toe, wanted, names, "B2")
    alone = replace(rail, seat_mm=rail.seat_mm.copy())
    for bolt, shift in enumerate(shifts.values()):
        rail.seat_mm[bolt] += shift
    assert rail.toe_mm_per_m(240.0) == pytest.approx(wanted, abs=0.005)
    last = len(names) - 1
    alone.seat_mm[last] += list(shifts.values())[last]
    assert abs(alone.toe_mm_per_m(240.0) - wanted) > 0.5 * abs(toe - wanted)


def test_a_line_through_distances_is_the_published_calibration_line():
    # JCGM 100:2008, H.3 (data from memory; they reproduce slope 0.00218 and its u 0.00067), 9 degrees of
    # freedom, Student's t 2.262
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    found = from_distances(t, b, 1e-6)
    assert found.toe_mm_per_m == pytest.approx(2.18, abs=5e-3)
    assert found.uncertainty_mm_per_m / 2.262 == pytest.approx(0.67, abs=5e-3)

"""Facts about cut tests: what they add up, which way it counts, and which way the fence's screw goes.

The truth is ``fixtures.cutter``: an exact polygon is laid on a fence that is out of square and cut by half planes; it
knows none of the formulas. Worked figures are derived by geometry; dividing by four is common practice (a trade article
on squaring a saw takes five cuts and allows 0.004 in on about 4 ft).
"""

import math

import numpy as np
import pytest

from analysis.square import (
    Squareness,
    cut_tests_for,
    fence_screw,
    from_diagonals,
    from_kept_panel,
    from_strip,
    from_strip_and_panel,
    length_that_decides,
    out_of_square_mm,
    seating_from_refits,
    worth_doing,
)
from fixtures.cutter import Panel, Saw, corner_between, width_at
from fixtures.fence_seat import draw_fence

EPSILON = [0.0001, -0.0001, 0.002, -0.0007]
FENCES = ["behind", "in front"]


def saw_with(epsilon, fence):
    """A fence whose corner is 90 degrees + epsilon: behind, its outer end too far infeed; in front, too far outfeed."""
    return Saw(-epsilon if fence == "behind" else epsilon, fence)


def after_cuts(saw, count, length=605.0, width=625.0):
    """Cut, turn so that the fresh edge lies on the fence, cut again; every panel and the piece that fell off it."""
    panel, against, done = Panel.rough(length, width), "a", []
    for number in range(1, count + 1):
        panel, piece = saw.cut(panel, against, str(number), 25.0 if number >= 5 else 20.0)
        done.append((panel, piece))
        against = str(number)
    return done


def corner_rad(panel, one, other):
    here = corner_between(panel, one, other)
    ends = []
    for name in (one, other):
        ends += [point for point in panel.edge(name) if math.dist(point, here) > 1e-6]
    return math.acos(sum((ends[0] - here) * (ends[1] - here)) / math.dist(ends[0], here) / math.dist(ends[1], here))


@pytest.mark.parametrize("fence", FENCES)
@pytest.mark.parametrize("epsilon", EPSILON)
def test_the_cutter_makes_the_corner_it_is_set_to(epsilon, fence):
    (_, _), (panel, _) = after_cuts(saw_with(epsilon, fence), 2)
    assert corner_rad(panel, "1", "2") == pytest.approx(math.pi / 2 + epsilon, abs=1e-9)


@pytest.mark.parametrize("fence", FENCES)
@pytest.mark.parametrize("epsilon", EPSILON)
def test_three_cuts_of_a_turned_panel(epsilon, fence):
    panel, _ = after_cuts(saw_with(epsilon, fence), 3)[-1]
    near, far = (width_at(panel, "1", "3", end, 20.0) for end in ("2", _other(panel, "1", "2")))
    length = math.dist(*panel.edge("1")) - 40.0
    assert from_kept_panel(near, far, length, 0.02).error_mm_per_m == pytest.approx(1000 * epsilon, rel=2e-3)


@pytest.mark.parametrize("fence", FENCES)
@pytest.mark.parametrize("epsilon", EPSILON)
def test_three_cuts_of_a_panel_turned_over_on_the_same_reference_edge(epsilon, fence):
    saw = saw_with(epsilon, fence)
    panel, _ = saw.cut(Panel.rough(600.0, 800.0), "a", "reference", 10.0)
    panel, _ = saw.cut(panel, "reference", "one side", 10.0)
    panel, _ = saw.cut(panel, "reference", "other side", 10.0, turned_over=True)
    near = width_at(panel, "one side", "other side", "reference", 20.0)
    far = width_at(panel, "one side", "other side", _other(panel, "one side", "reference"), 20.0)
    length = math.dist(*panel.edge("one side")) - 40.0
    assert from_kept_panel(near, far, length, 0.02).error_mm_per_m == pytest.approx(1000 * epsilon, rel=5e-3)


@pytest.mark.parametrize("fence", FENCES)
@pytest.mark.parametrize("epsilon", EPSILON)
def test_the_strip_of_the_fifth_cut(epsilon, fence):
    _, strip = after_cuts(saw_with(epsilon, fence), 5)[-1]
    near = width_at(strip, "5", "1", "4", 10.0)
    far = width_at(strip, "5", "1", _other(strip, "5", "4"), 10.0)
    length = math.dist(*strip.edge("5")) - 20.0
    assert from_strip(near, far, length, 0.02).error_mm_per_m == pytest.approx(1000 * epsilon, rel=2e-3)


@pytest.mark.parametrize("fence", FENCES)
@pytest.mark.parametrize("epsilon", EPSILON)
def test_strip_and_panel_after_the_seventh_cut(epsilon, fence):
    cuts = after_cuts(saw_with(epsilon, fence), 7)
    strip, panel = cuts[4][1], cuts[6][0]
    near, far = (width_at(strip, "5", "1", end, 10.0) for end in ("4", _other(strip, "5", "4")))
    here, there = (width_at(panel, "5", "7", end, 10.0) for end in ("6", _other(panel, "5", "6")))
    lengths = [math.dist(*each.edge("5")) - 20.0 for each in (strip, panel)]
    assert lengths[0] > lengths[1] + 10.0, "the strip is longer than the edge that the sixth cut left"
    found = from_strip_and_panel(near, far, here, there, lengths[0], 0.02, panel_length_mm=lengths[1])
    assert found.error_mm_per_m == pytest.approx(1000 * epsilon, rel=3e-3)


@pytest.mark.parametrize("fence", FENCES)
@pytest.mark.parametrize("epsilon", EPSILON)
def test_the_diagonals_of_a_panel_cut_four_times(epsilon, fence):
    panel, _ = after_cuts(saw_with(epsilon, fence), 4)[-1]
    assert corner_rad(panel, "4", "1") == pytest.approx(math.pi / 2 - 3 * epsilon, abs=1e-9)
    last, opposite = corner_between(panel, "4", "1"), corner_between(panel, "2", "3")
    other = math.dist(corner_between(panel, "1", "2"), corner_between(panel, "3", "4"))
    sides = (math.dist(*panel.edge("1")), math.dist(*panel.edge("2")))
    found = from_diagonals(math.dist(last, opposite), other, sides, 0.5)
    assert found.error_mm_per_m == pytest.approx(1000 * epsilon, rel=1e-2)


def _seated(rng, epsilon, count):
    """The cuts of a panel that is laid against the fence a little differently each time (0.04 mm/m, k = 2)."""
    panel, against, done = Panel.rough(605.0, 625.0), "a", []
    for number in range(1, count + 1):
        saw = saw_with(epsilon + rng.normal(0.0, 0.00002), "behind")
        panel, piece = saw.cut(panel, against, str(number), 25.0 if number >= 5 else 20.0)
        done.append((panel, piece))
        against = str(number)
    return done


def _read(rng, panel, along, across, near):
    """Both widths with calipers of 0.04 mm (k = 2), and the distance between them."""
    ends = (near, _other(panel, along, near))
    widths = [width_at(panel, along, across, end, 10.0) + rng.normal(0.0, 0.02) for end in ends]
    return widths[0], widths[1], math.dist(*panel.edge(along)) - 20.0


@pytest.mark.parametrize("cuts", ["three", "five"])
def test_the_stated_uncertainty_covers_the_simulated_saw(cuts):
    rng = np.random.default_rng(11)
    hits, runs = 0, 300
    for _ in range(runs):
        epsilon = rng.uniform(-0.0005, 0.0005)
        if cuts == "three":
            panel, _ = _seated(rng, epsilon, 3)[-1]
            near, far, length = _read(rng, panel, "1", "3", "2")
            found = from_kept_panel(near, far, length, 0.04, 0.04)
        else:
            _, strip = _seated(rng, epsilon, 5)[-1]
            near, far, length = _read(rng, strip, "5", "1", "4")
            found = from_strip(near, far, length, 0.04, 0.04)
        hits += abs(found.error_mm_per_m - 1000 * epsilon) <= found.uncertainty_mm_per_m
    assert 0.90 <= hits / runs <= 0.98


def test_the_panel_and_the_strip_taper_opposite_ways():
    """The naive reading, one sign for both, is wrong by twice the error."""
    cuts = after_cuts(saw_with(0.001, "behind"), 5)
    panel, strip = cuts[2][0], cuts[4][1]
    kept = width_at(panel, "1", "3", _other(panel, "1", "2"), 10.0) - width_at(panel, "1", "3", "2", 10.0)
    off = width_at(strip, "5", "1", _other(strip, "5", "4"), 10.0) - width_at(strip, "5", "1", "4", 10.0)
    assert kept > 0 > off


def test_worked_figures():
    # derived: A - B 0.12 mm over 300 mm is 0.1 mm/m = 20.63 arcsec; a screw 1500 mm from the pivot moves 0.15 mm
    found = from_strip(25.12, 25.00, 300.0, 0.0)
    assert found.error_mm_per_m == pytest.approx(0.1)
    assert math.degrees(found.error_mm_per_m / 1000) * 3600 == pytest.approx(20.63, abs=0.005)
    assert fence_screw(found, 1500.0, "behind").toward_outfeed_mm == pytest.approx(0.15)
    # derived: A - B 0.004 in over 20 in, screw 30 in from the pivot: 0.0015 in
    inches = from_strip(0.004 * 25.4, 0.0, 20 * 25.4, 0.0)
    assert fence_screw(inches, 30 * 25.4, "behind").toward_outfeed_mm / 25.4 == pytest.approx(0.0015)
    # derived, exact polygon of 800 x 600 mm with 1e-4 rad: the diagonals differ by 0.0960256 mm
    assert from_diagonals(0.0960256, 0.0, (800.0, 600.0), 0.0).error_mm_per_m == pytest.approx(0.1, rel=1e-3)
    # a trade article: 0.004 in after five cuts and division by four, on 48 in, is 0.0833 mm/m
    assert pytest.approx(0.0833, abs=5e-5) == 1000 * 0.004 / 48


@pytest.mark.parametrize("fence", FENCES)
@pytest.mark.parametrize("epsilon", EPSILON)
def test_the_correction_makes_the_next_cut_square(epsilon, fence):
    """The screw is moved on the simulated fence itself, and the fence's own geometry says what that does."""
    saw = saw_with(epsilon, fence)
    move = fence_screw(Squareness(1000 * epsilon, 0.0), 1200.0, fence).toward_outfeed_mm
    corrected = Saw(saw.outer_end_outfeed_rad + move / 1200.0, fence)
    panel, _ = after_cuts(corrected, 2)[-1]
    assert corner_rad(panel, "1", "2") == pytest.approx(math.pi / 2, abs=1e-8)


def test_the_same_corner_asks_for_opposite_movements_behind_and_in_front():
    obtuse = Squareness(0.1, 0.02)
    behind, front = fence_screw(obtuse, 1000.0, "behind", 1.0), fence_screw(obtuse, 1000.0, "in front", 1.0)
    assert behind.toward_outfeed_mm == pytest.approx(0.1) == -front.toward_outfeed_mm
    assert behind.turns == front.turns == pytest.approx(0.1)
    nearer_the_blade = fence_screw(obtuse, -500.0, "behind")
    assert nearer_the_blade.toward_outfeed_mm == pytest.approx(-0.05)
    assert nearer_the_blade.turns is None


def test_more_cuts_make_calipers_matter_less_and_seating_too():
    few = from_kept_panel(0.0, 0.0, 600.0, 0.04, 0.05).uncertainty_mm_per_m
    five = from_strip(0.0, 0.0, 600.0, 0.04, 0.05).uncertainty_mm_per_m
    assert five < few
    assert from_strip(0.0, 0.0, 600.0, 0.04).uncertainty_mm_per_m == pytest.approx(1000 * 2**0.5 * 0.04 / 4 / 600)
    assert from_strip(0.0, 0.0, 600.0, 0.0, 0.05).uncertainty_mm_per_m == pytest.approx(0.025)


def test_the_test_worth_doing_depends_on_the_panel_and_the_calipers():
    shop = {"calipers_mm": 0.04, "calipers_open_mm": 150.0, "tape_mm": 0.5}
    shop |= {"seating_mm_per_m": 0.02, "allowed_mm_per_m": 0.1}
    assert worth_doing(cut_tests_for((800.0, 700.0), **shop)).name == "five"
    small = worth_doing(cut_tests_for((150.0, 140.0), **shop))
    assert not small.decides, "a panel too small to decide says so"
    wide = {**shop, "calipers_open_mm": 1000.0}
    assert worth_doing(cut_tests_for((1000.0, 900.0), **wide)).name == "over"
    assert [each.name for each in cut_tests_for((800.0, 700.0), **shop)] == ["four", "five"], (
        "150 mm calipers, no width"
    )


def test_what_it_comes_to_on_a_panel():
    assert out_of_square_mm(0.1, 600.0) == pytest.approx(0.06)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: from_strip(25.0, 25.0, 0.0, 0.02),
        lambda: fence_screw(Squareness(0.1, 0.0), 0.0, "behind"),
        lambda: fence_screw(Squareness(0.1, 0.0), 100.0, "beside"),  # type: ignore[arg-type]
    ],
)
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(ValueError, match=r"needed|allowed"):
        wrong()


def _other(panel, along, near):
    """The name of the edge that meets ``along`` at its other end."""
    i = panel.edges.index(along)
    sides = (panel.edges[i - 1], panel.edges[(i + 1) % len(panel.edges)])
    return sides[1] if sides[0] == near else sides[0]


# --- how a fence comes back, and how long a panel must be ------------------------------------------------------------


def test_refits_state_how_far_the_next_one_may_be():
    # five refits of 0, 0.02, -0.01, 0.01, 0.03 mm at 1000 mm: s = 0.015811 mm; Student's t(4) = 2.776 (GUM table G.2)
    found = seating_from_refits([0.0, 0.02, -0.01, 0.01, 0.03], 1000.0)
    assert found.standard_mm_per_m == pytest.approx(0.015811, abs=1e-6)
    assert found.uncertainty_mm_per_m == pytest.approx(2.776 * 2**0.5 * 0.015811, rel=1e-3)
    with pytest.raises(ValueError, match="three or more"):
        seating_from_refits([0.0, 0.02], 1000.0)


def test_the_stated_spread_covers_the_next_refit_of_a_worn_seat():
    rng, hits = np.random.default_rng(8), 0
    for _ in range(400):
        fence = draw_fence(rng, "loose")
        touched = []
        for _ in range(5):
            fence.refit(rng)
            touched.append(fence.touched_at(1000.0, rng, 0.0))
        now = fence.error_now_mm_per_m
        fence.refit(rng)
        hits += abs(fence.error_now_mm_per_m - now) <= seating_from_refits(touched, 1000.0).uncertainty_mm_per_m
    assert 0.92 <= hits / 400 <= 0.98


def test_a_panel_of_the_length_named_decides_and_a_shorter_one_does_not():
    length = length_that_decides(4, 2, 0.04, 0.02, 0.1)
    assert length is not None
    assert from_strip(25.0, 25.0, length, 0.04, 0.02).uncertainty_mm_per_m == pytest.approx(0.05)
    assert length_that_decides(2, 2, 0.04, 0.2, 0.1) is None, "seating alone is too much"


def test_the_spread_of_refits_is_the_published_type_a_evaluation():
    # JCGM 100:2008, 4.4.3: twenty readings (from memory; they reproduce mean 100.145, s 1.489), as mm at 1000 mm
    readings = [96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68, 100.95,
                101.11, 101.20, 101.57, 101.84, 102.36, 102.72]  # fmt: skip
    assert seating_from_refits(readings, 1000.0).standard_mm_per_m == pytest.approx(1.489, abs=5e-4)


@pytest.mark.parametrize(("pitch", "degrees"), [(1.75, 2.057), (2.0, 1.8), (2.5, 1.44)])
def test_turns_of_a_stop_screw_follow_its_thread(pitch, degrees):
    # ISO 261 coarse threads M12, M16, M20: a hundredth of a millimetre is 3.6 / pitch degrees (derived)
    move = fence_screw(Squareness(0.01, 0.0), 1000.0, "behind", pitch)
    assert move.toward_outfeed_mm == pytest.approx(0.01)
    assert move.turns is not None
    assert move.turns * 360.0 == pytest.approx(degrees, abs=5e-4)

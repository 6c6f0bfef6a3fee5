"""Facts about the rear teeth's marks: how deep, which wall, and what a wobble does to them.

Derived by geometry: a blade of radius 150 mm that stands 60 mm out is 240.0 mm long at the table and 208.2 mm 18 mm up.
That marks on the wall away from the guide mean opening, and on the guide's wall closing, is common practice without a
source; here it is held against a kerf swept tooth by tooth (``fixtures.blade``), which knows nothing of the rule.
"""

import numpy as np
import pytest

from analysis.kerf import at_height, from_depths
from fixtures.blade import Blade, Waves, draw_blade, sawn


def test_the_depth_is_toe_times_the_chord_at_the_height_it_was_read():
    assert at_height(150.0, 60.0, 0.0) == pytest.approx(240.0)
    assert at_height(150.0, 60.0, 18.0) == pytest.approx(208.2, abs=0.05)
    # 0.1 mm/m leaves 0.024 mm at the table and 0.021 mm at 18 mm; a blade that does not swing hides nothing
    for depth, height in ((0.024, 0.0), (0.0208, 18.0)):
        found = from_depths("away", depth, 0.0, 0.0, at_height(150.0, 60.0, height), swing_mm=0.0)
        assert found.toe_mm_per_m == pytest.approx(0.1, abs=2e-4)
        assert found.says == "opening"


def test_marks_on_the_guides_wall_are_closing_and_negative():
    found = from_depths("guide", 0.0, 0.024, 0.0, 240.0, swing_mm=0.0)
    assert found.toe_mm_per_m == pytest.approx(-0.1)
    assert found.says == "closing"


def test_a_wobble_deepens_the_marks_so_that_the_toe_is_between_half_the_depth_and_all_of_it():
    found = from_depths("away", 0.060, 0.0, 0.0, 240.0)
    assert found.highest_mm_per_m == pytest.approx(0.25)
    # less what can be seen (0.010) and what teeth stand out unlike on their two sides (a twelfth of it)
    assert found.lowest_mm_per_m == pytest.approx(1000 * (0.060 * 0.92 - 0.010) / 2 / 240)
    known = from_depths("away", 0.060, 0.0, 0.0, 240.0, swing_mm=0.012)
    assert known.lowest_mm_per_m == pytest.approx(0.2)
    assert known.uncertainty_mm_per_m < found.uncertainty_mm_per_m


def test_both_walls_or_none_cannot_tell_and_none_still_bounds_it():
    assert from_depths("both", 0.05, 0.04, 0.005, 240.0).says == "cannot tell"
    none = from_depths("none", 0.0, 0.0, 0.005, 240.0)
    assert none.says == "cannot tell"
    assert none.toe_mm_per_m == 0.0
    assert none.highest_mm_per_m == pytest.approx(0.010 / 0.240)


@pytest.mark.parametrize("guide", ["carriage", "rip fence"])
@pytest.mark.parametrize("toe", [0.3, -0.3])
def test_the_swept_kerf_marks_the_wall_the_rule_says(toe, guide):
    still = Blade(150.0, Waves(((0.0, 0.0),)), np.zeros(36))
    left = sawn(still, toe, 0.0, 60.0, np.random.default_rng(1), guide=guide, length_mm=60.0)
    depth = max(left.away_mm, left.guide_mm)
    assert depth == pytest.approx(0.072, abs=1e-6)
    assert (left.away_mm > left.guide_mm) == (toe > 0)


def test_the_naive_depth_is_too_deep_on_a_blade_that_wobbles_and_the_stated_interval_holds():
    naive, held = [], []
    for seed in range(25):
        rng = np.random.default_rng(seed)
        blade, toe = draw_blade(rng, "good"), float(rng.uniform(0.3, 0.5))
        left = sawn(blade, toe, 0.0, 60.0, rng, length_mm=80.0)
        if left.guide_mm > 0.01:
            continue
        found = from_depths("away", left.away_mm, 0.0, 0.004, at_height(blade.radius_mm, 60.0, 0.0))
        naive.append(1000 * left.away_mm / found.chord_mm / toe)
        held.append(abs(found.toe_mm_per_m - toe) <= found.uncertainty_mm_per_m)
    assert len(held) > 10
    assert min(naive) > 1.02
    assert np.mean(held) >= 0.85


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (lambda: from_depths("away", 0.0, 0.02, 0.0, 240.0), "contradict each other"),
        (lambda: from_depths("none", 0.02, 0.0, 0.0, 240.0), "contradict each other"),
        (lambda: at_height(150.0, 60.0, 60.0), "height below it is needed"),
        (lambda: at_height(150.0, 400.0, 0.0), "cannot stand 400 mm out"),
    ],
)
def test_what_cannot_be_is_said(wrong, says):
    with pytest.raises(ValueError, match=says):
        wrong()

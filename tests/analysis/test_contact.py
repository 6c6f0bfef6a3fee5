"""What an indicator can touch, and how the edge of it is found in the readings."""

import numpy as np
import pytest

from analysis.contact import carried_windows, find_touching, fixed_windows, not_seen
from analysis.motion import Motion

STROKE = (0.0, 2600.0)


def test_a_fixed_indicator_is_touched_while_the_top_is_over_it():
    assert fixed_windows(STROKE, 1100.0, 1200.0) == [(500.0, 1700.0)]
    assert fixed_windows(STROKE, 100.0, 1200.0) == [(0.0, 700.0)]
    assert fixed_windows(STROKE, 9000.0, 1200.0) == []


def test_a_carried_one_sees_the_table_without_its_openings():
    assert carried_windows(STROKE, 250.0, (700.0, 1500.0), [(1010.0, 1090.0)]) == [(450.0, 760.0), (840.0, 1250.0)]
    several = carried_windows(STROKE, 0.0, (700.0, 1500.0), [(800.0, 900.0), (1000.0, 1100.0)])
    assert several == [(700.0, 800.0), (900.0, 1000.0), (1100.0, 1500.0)]


def test_what_was_not_seen_is_the_rest_of_the_stroke():
    assert not_seen(STROKE, [(450.0, 760.0), (840.0, 1250.0)]) == ((0.0, 450.0), (760.0, 840.0), (1250.0, 2600.0))
    assert not_seen(STROKE, [STROKE]) == ()


def a_pass(rest=None, snag=0.0, shift_mm=0.0):
    """A steady pass at 150 mm/s over a slightly sloping top seen from 500 to 1700 mm."""
    t = np.arange(0.0, 2600 / 150, 0.01)
    s = 150.0 * t + shift_mm
    z = 0.1 + 2e-5 * s + 0.0005 * np.random.default_rng(0).standard_normal(len(t))
    on = (s >= 500) & (s <= 1700)
    z = z + snag * np.exp(-np.maximum(s - 500, 0) / 8.0) * on
    silent = np.zeros(0)
    if rest is None:
        silent, t, z, s = t[~on], t[on], z[on], s[on]
    else:
        z = np.where(on, z, rest)
    motion = Motion(1, np.array([0.0, 2600 / 150]), np.array([0.0, 2600.0]), np.full(2, 12.0), np.ones(2, bool))
    return motion, t, z, silent, s


@pytest.mark.parametrize("rest", [None, -0.6, 0.4])
@pytest.mark.parametrize("shift_mm", [-25.0, 0.0, 25.0])
def test_only_touching_readings_are_kept_with_or_without_a_no_value_line(rest, shift_mm):
    motion, t, z, silent, s = a_pass(rest, 0.04, shift_mm)
    touch = find_touching(motion, t, z, silent, [(500.0, 1700.0)], STROKE)
    kept = s[touch.touching]
    assert kept.min() >= 500 and kept.max() <= 1700
    assert kept.min() < 560 and kept.max() > 1690
    assert np.abs(z[touch.touching] - 0.1 - 2e-5 * kept).max() < 0.01  # no snag, no rest


def test_smoothing_over_the_edge_would_make_a_valley():
    motion, t, z, _, s = a_pass(-0.6)
    by_position_alone = (motion.position_mm(t) > 480) & (motion.position_mm(t) < 1720)
    assert np.ptp(z[by_position_alone]) > 0.5
    assert np.ptp(z[find_touching(motion, t, z, np.zeros(0), [(500.0, 1700.0)], STROKE).touching]) < 0.05
    del s


def test_the_edges_become_landmarks():
    motion, t, z, silent, s = a_pass(-0.6, shift_mm=25.0)
    touch = find_touching(motion, t, z, silent, [(500.0, 1700.0)], STROKE)
    for place in (500.0, 1700.0):
        assert place in touch.motion.x_mm
        assert np.interp(touch.motion.t_s[touch.motion.x_mm == place][0], t, s) == pytest.approx(place, abs=3.0)
    assert touch.steps == pytest.approx((-0.71, -0.73), abs=0.02)


def test_an_indicator_that_holds_its_last_value_loses_only_the_doubtful_stretch():
    motion, t, z, _, s = a_pass(-0.6)
    held = np.where(s > 1700, z[s <= 1700][-1], np.where(s < 500, z[s >= 500][0], z))
    touch = find_touching(motion, t, held, np.zeros(0), [(500.0, 1700.0)], STROKE)
    kept = s[touch.touching]
    assert kept.min() >= 500 and kept.max() <= 1700
    assert len(touch.unclear) == 2


def test_nothing_at_all():
    motion, *_ = a_pass()
    touch = find_touching(motion, np.zeros(0), np.zeros(0), np.zeros(0), [(500.0, 1700.0)], STROKE)
    assert not touch.touching.any()

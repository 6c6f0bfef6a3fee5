"""When nothing but the readings says where the carriage was: edges, rests and turns."""

import numpy as np
import pytest

from analysis.ends import NoMotion, free_rest, motions_from_ends
from analysis.midway import stood_words
from analysis.motion import Motion, monotone_slopes
from fixtures.sweeps import Indicator, Layout, rough_rail, simulate

STROKE = (0.0, 2600.0)
OPENING = Layout(table_mm=(700.0, 1500.0), openings_mm=((1010.0, 1090.0),))


def found(sweep, resolution=0.001):
    sign = 1.0 if sweep.set_up["kind"] == "fixed" else -1.0
    return motions_from_ends(
        sweep.t_s, sign * sweep.value, sweep.no_value_t_s, 2, sweep.true_windows, STROKE, 1, resolution
    )


def missed_mm(sweep, motions):
    """Root mean square of the places' errors."""
    errors = []
    for motion in motions:
        inside = (sweep.t_s >= motion.t_s[0]) & (sweep.t_s <= motion.t_s[-1])
        errors.append(motion.position_mm(sweep.t_s[inside]) - sweep.true_position_mm[inside])
    return float(np.sqrt(np.mean(np.concatenate(errors) ** 2)))


@pytest.mark.parametrize("rate_hz", [100.0, 10.0, 5.0])
@pytest.mark.parametrize("says_no_value", [True, False])
def test_an_opening_gives_four_edges_a_pass_however_slow_the_instrument(rate_hz, says_no_value):
    sweep = simulate(8, layout=OPENING, rate_hz=rate_hz, says_no_value=says_no_value)
    motions = found(sweep)
    assert [len(motion.t_s) for motion in motions] == [4, 4]
    assert missed_mm(sweep, motions) < 40.0


def test_the_free_rest_is_one_height_far_from_all_others():
    rng = np.random.default_rng(0)
    surface = 0.1 + 0.08 * np.sin(np.linspace(0, 6, 900)) + 0.001 * rng.standard_normal(900)
    assert free_rest(surface) is None
    rest = free_rest(np.concatenate([np.full(200, -0.6), surface, np.full(200, -0.6)]))
    assert rest is not None and rest.value == pytest.approx(-0.6)
    # Two heights of a rail with a step in it are both surface: each of them is rough.
    assert free_rest(np.concatenate([surface, surface + 0.3])) is None


@pytest.mark.parametrize("resolution", [0.001, 0.01])
def test_setting_off_and_coming_to_rest_are_seen_to_a_hand_s_width(resolution):
    sweep = simulate(3, rail=rough_rail(3, 0.08), rate_hz=50.0, indicator=Indicator(resolution_mm=resolution))
    motions = found(sweep, resolution)
    for motion in motions:
        for end in (0, -1):
            there = np.interp(motion.t_s[end], sweep.t_s, sweep.true_position_mm)
            assert abs(there - motion.x_mm[end]) < 120.0
    assert [motion.direction for motion in motions] == [1, -1]


def test_a_reading_that_never_changes_shows_no_motion():
    t = np.arange(0.0, 20.0, 0.05)
    with pytest.raises(NoMotion, match="never changed"):
        motions_from_ends(t, np.full(len(t), 0.1), np.zeros(0), 2, [STROKE], STROKE, 1, 0.001)


def test_a_short_slow_start_does_not_bend_the_long_way_after_it():
    # 20 mm in the first 0.5 s, then 2560 mm in 17 s at an even pace: the usual monotone slopes (a harmonic mean of
    # neighbours) make the carriage lag by a hundred millimetres in the middle.
    t = np.array([0.0, 0.5, 17.5, 18.0])
    x = np.array([0.0, 20.0, 2580.0, 2600.0])
    even = np.interp(np.linspace(0.5, 17.5, 50), t, x)
    motion = Motion(1, t, x, np.full(4, 20.0), np.zeros(4, bool))
    assert motion.position_mm(np.linspace(0.5, 17.5, 50)) == pytest.approx(even, abs=1.0)
    assert monotone_slopes(t, x)[1] == pytest.approx(2560.0 / 17.0)
    fine = motion.position_mm(np.linspace(0.0, 18.0, 400))
    assert np.all(np.diff(fine) >= -1e-9)


def test_a_carriage_that_stood_midway_is_seen_where_the_ground_shows_it():
    sweep = simulate(6, rail=rough_rail(6, 0.08), rate_hz=50.0)
    at = int(np.searchsorted(sweep.t_s, 9.0))
    place, height = float(sweep.true_position_mm[at]), -float(sweep.value[at])
    waited = np.arange(0.02, 6.0, 0.02)
    t = np.concatenate([sweep.t_s[:at], sweep.t_s[at] + waited, sweep.t_s[at:] + 6.0])
    rng = np.random.default_rng(0)
    z = np.concatenate([-sweep.value[:at], height + 0.001 * rng.standard_normal(len(waited)), -sweep.value[at:]])
    motions = motions_from_ends(t, z, np.zeros(0), 2, [STROKE], STROKE, 1, 0.001)
    words = stood_words(motions)
    assert len(words) == 1 and "pass 1" in words[0]
    found_at = motions[0].position_mm(np.array([t[at] + 3.0]))[0]
    assert abs(found_at - place) < 250.0
    straight = 2600.0 * (t[at] + 3.0 - t[0]) / (motions[0].t_s[-1] - t[0])  # constant speed, the stop not seen
    assert abs(straight - place) > abs(found_at - place)
    assert stood_words(found(sweep)) == []

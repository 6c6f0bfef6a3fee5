"""A carriage that stopped on its way: seen by the pass back, not mistaken on level ground, taken out of the places."""

import numpy as np
import pytest

from analysis.ends import motions_from_ends
from analysis.midway import Leg, quieted, stood_midway, stood_words, stopped_between, with_waits, without_waits
from analysis.motion import Motion
from fixtures.sweeps import Indicator, rough_rail, simulate

STROKE = (0.0, 2600.0)


def with_a_stop(sweep, at_s, seconds, noise_mm=0.001, step_mm=0.001):
    """(times, heights, true places) of the sweep with the carriage held for so long at that moment."""
    at = int(np.searchsorted(sweep.t_s, at_s))
    waited = np.arange(0.02, seconds, 0.02)
    held = -sweep.value[at] + noise_mm * np.random.default_rng(0).standard_normal(len(waited))
    t = np.concatenate([sweep.t_s[:at], sweep.t_s[at] + waited, sweep.t_s[at:] + seconds])
    z = np.concatenate([-sweep.value[:at], np.round(held / step_mm) * step_mm, -sweep.value[at:]])
    place = sweep.true_position_mm
    return t, z, np.concatenate([place[:at], np.full(len(waited), place[at]), place[at:]])


def rms_mm(motions, t, place):
    missed = []
    for motion in motions:
        inside = (t >= motion.t_s[0]) & (t <= motion.t_s[-1])
        missed.append(motion.position_mm(t[inside]) - place[inside])
    return float(np.sqrt(np.mean(np.concatenate(missed) ** 2)))


@pytest.mark.parametrize("at_s", [6.0, 11.0, 27.0])
def test_a_stop_is_seen_and_costs_little(at_s):
    sweep = simulate(7, rail=rough_rail(7, 0.08), rate_hz=50.0)
    t, z, place = with_a_stop(sweep, at_s, 5.0)
    motions = motions_from_ends(t, z, np.zeros(0), 2, [STROKE], STROKE, 1, 0.001)
    words = stood_words(motions)
    assert len(words) == 1
    assert f"In pass {1 if at_s < 15 else 2}" in words[0]
    plain = motions_from_ends(sweep.t_s, -sweep.value, np.zeros(0), 2, [STROKE], STROKE, 1, 0.001)
    assert stood_words(plain) == []
    assert rms_mm(motions, t, place) < rms_mm(plain, sweep.t_s, sweep.true_position_mm) + 40.0
    # Constant speed, the stop not seen, misses it far more: 5 s at 150 mm/s spread over the pass.
    naive = [Motion(m.direction, m.t_s[[0, -1]], m.x_mm[[0, -1]], np.full(2, 20.0), np.zeros(2, bool)) for m in motions]
    assert rms_mm(naive, t, place) > 2.0 * rms_mm(motions, t, place)


def flat_in_the_middle(speed_out, speed_back):
    """(times, heights, legs) over ground that is level from 1000 to 1600 mm, there and back at two speeds."""
    t = np.arange(0.0, 60.0, 0.02)
    out, back = 2600.0 / speed_out, 2600.0 / speed_back
    x = np.interp(t, [1.0, 1.0 + out, 2.0 + out, 2.0 + out + back], [0.0, 2600.0, 2600.0, 0.0])
    z = 0.1 * np.clip(1000.0 - x, 0.0, None) / 1000.0 + 0.1 * np.clip(x - 1600.0, 0.0, None) / 1000.0
    z = z + 0.0004 * np.random.default_rng(1).standard_normal(len(t))
    return t, z, [Leg(1.0, 1.0 + out, 1, 0.003), Leg(2.0 + out, 2.0 + out + back, -1, 0.003)]


def test_level_ground_is_no_stop_even_for_an_uneven_hand():
    for back in (110.0, 150.0, 200.0):
        assert stood_midway(*flat_in_the_middle(150.0, back)) == [[], []]


def test_a_stop_on_level_ground_is_seen_by_the_time_the_other_pass_takes_for_it():
    t, z, legs = flat_in_the_middle(150.0, 150.0)
    wait = 9.0  # longer than the four seconds that the level stretch takes, by more than a hand's unevenness
    moved = np.where(t > 9.5, t + wait, t)
    grid = np.arange(0.0, moved[-1], 0.02)
    legs = [Leg(1.0, legs[0].until_s + wait, 1, 0.003), Leg(legs[1].from_s + wait, legs[1].until_s + wait, -1, 0.003)]
    (first,), second = stood_midway(grid, np.interp(grid, moved, z), legs)
    assert second == []
    assert first[1] - first[0] == pytest.approx(wait, abs=1.5)
    assert first[0] < 9.5 + 4.5 and first[1] > 9.5


def test_one_pass_alone_says_it_where_the_ground_slopes():
    sweep = simulate(6, rail=rough_rail(6, 0.08), rate_hz=50.0, passes=1)
    t, z, _ = with_a_stop(sweep, 9.0, 6.0)
    smooth, threshold = quieted(t, z, 0.001)
    ((found,),) = stood_midway(t, smooth, [Leg(1.5, float(t[-1]) - 2.0, 1, threshold)])
    assert found == pytest.approx((9.0, 15.0), abs=0.8)


def test_a_stop_between_two_marks_is_seen_and_one_at_a_mark_is_the_marks():
    stations = tuple(np.linspace(0.0, 2600.0, 5).tolist())
    sweep = simulate(5, rail=rough_rail(5, 0.08), rate_hz=50.0, stations_mm=stations, indicator=Indicator())
    at = float(sweep.mark_t_s[1]) + 2.0
    t, z, _ = with_a_stop(sweep, at, 5.0)
    marks = np.where(sweep.mark_t_s > at, sweep.mark_t_s + 5.0, sweep.mark_t_s)
    places = [np.array(stations), np.array(stations)[::-1]]
    motions = [
        Motion(way, marks[5 * k : 5 * k + 5], places[k], np.full(5, 10.0), np.ones(5, bool))
        for k, way in enumerate((1, -1))
    ]
    found = stopped_between(motions, t, z, 0.001)
    assert len(stood_words(found)) == 1
    assert len(found[0].t_s) == 7
    assert np.all(np.diff(found[0].position_mm(t[(t > marks[0]) & (t < marks[4])])) >= -1e-9)
    shown = replace_mark(motions[0], at + 2.5)
    assert stood_words(stopped_between([shown, motions[1]], t, z, 0.001)) == []


def replace_mark(motion, moment_s):
    """The pass with its third mark pressed at that moment."""
    t = motion.t_s.copy()
    t[2] = moment_s
    return Motion(motion.direction, t, motion.x_mm, motion.standard_uncertainty_mm, motion.delayed)


def test_waits_taken_out_and_put_back_are_where_they_were():
    t = np.arange(0.0, 20.0, 0.5)
    stood = [(5.0, 8.0), (12.0, 13.0)]
    short, value = without_waits(t, t, stood)
    assert np.all(np.diff(short) >= 0)
    assert short[-1] == t[-1] - 4.0
    moving = (value < 5.0) | ((value > 8.0) & (value < 12.0)) | (value > 13.0)
    assert with_waits(short[moving], stood) == pytest.approx(value[moving])

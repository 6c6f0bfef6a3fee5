"""Positions between anchors: monotone, held at the ends, honest about the hand."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline

from analysis.motion import Motion, with_idle_time

DATA = Path(__file__).parent.parent / "data"


def motion(t, x, u=10.0, **more):
    t, x = np.array(t, float), np.array(x, float)
    return Motion(1 if x[-1] > x[0] else -1, t, x, np.full(len(t), u), np.ones(len(t), bool), **more)


def published(kind):
    with (DATA / "rpn14_pchip.csv").open() as file:
        rows = [(float(r["x"]), float(r["value"])) for r in csv.DictReader(file) if r["kind"] == kind]
    return np.array(rows).T


def test_the_published_monotone_interpolation():
    # Data RPN 14 of Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980) 238-246; interpolated values as published in
    # the NAG C Library manual (routines e01bec, e01bfc), four decimals.
    x, values = published("data")
    where, said = published("nag_published_4dp")
    assert motion(x, values).position_mm(where) == pytest.approx(said, abs=6e-5)


def test_a_plain_cubic_spline_through_the_same_data_runs_backwards():
    x, values = published("data")
    fine = np.linspace(x[0], x[-1], 2000)
    assert np.diff(CubicSpline(x, values)(fine)).min() < -1e-4
    assert np.diff(motion(x, values).position_mm(fine)).min() >= -1e-12


@given(st.lists(st.floats(0.2, 5.0), min_size=2, max_size=8), st.lists(st.floats(1.0, 900.0), min_size=8, max_size=8))
@settings(max_examples=40, deadline=None)
def test_never_backwards_and_through_every_anchor(steps, ways):
    t = np.concatenate([[0.0], np.cumsum(steps)])
    x = np.concatenate([[0.0], np.cumsum(ways[: len(steps)])])
    track = motion(t, x)
    assert np.diff(track.position_mm(np.linspace(t[0] - 1, t[-1] + 1, 400))).min() >= -1e-9
    assert track.position_mm(t) == pytest.approx(x, abs=1e-9)
    back = motion(t, x[::-1].copy())
    assert np.diff(back.position_mm(np.linspace(t[0], t[-1], 400))).max() <= 1e-9


def test_before_the_first_and_after_the_last_mark_it_stands():
    track = motion([1, 2, 3, 4], [0, 100, 250, 400])
    assert track.position_mm(np.array([-10.0, 0.9, 4.1, 60.0])).tolist() == [0, 0, 400, 400]


def test_least_is_known_midway_between_marks():
    track = motion([0, 5, 10], [0, 750, 1500], u=3.0)
    sd = np.sqrt(np.diag(track.covariance_mm2(np.linspace(0, 10, 41))))
    assert sd[0] == pytest.approx(3.0, abs=0.3) and sd[20] == pytest.approx(3.0, abs=0.3)
    assert 8 < sd[10] < 80
    closer = motion([0, 2.5, 5, 7.5, 10], [0, 375, 750, 1125, 1500], u=3.0)
    assert np.sqrt(np.diag(closer.covariance_mm2(np.array([1.25])))[0]) < 0.7 * sd[10]


def test_the_delay_moves_a_return_the_other_way():
    out, back = motion([0, 5, 10], [0, 750, 1500]), motion([0, 5, 10], [1500, 750, 0])
    assert out.delay_effect_mm_s(np.array([5.0]))[0] == pytest.approx(150.0)
    assert back.delay_effect_mm_s(np.array([5.0]))[0] == pytest.approx(-150.0)


def test_a_standing_mark_has_no_delay():
    out = motion([0, 5, 10], [0, 750, 1500], standing=(True, True))
    assert out.delay_effect_mm_s(np.array([0.0, 10.0])) == pytest.approx([0.0, 0.0])


def test_the_idle_time_is_read_from_the_end_intervals():
    t = [0.0, 4.0, 7.0, 10.0, 13.0, 17.0]  # a second lost at either end
    tracks = with_idle_time([motion(t, np.linspace(0, 2250, 6), standing=(True, True)) for _ in range(6)])
    assert tracks[0].idle_s[0] == pytest.approx(0.85, abs=0.2)
    none = with_idle_time([motion([0, 3, 6, 9, 12, 15], np.linspace(0, 2250, 6), standing=(True, True))] * 6)
    assert none[0].idle_s[0] < 0.2


def test_a_landmark_displaces_what_it_contradicts():
    track = motion([0, 5, 10], [0, 750, 1500], u=12.0)
    better = track.with_anchor(4.9, 800.0, 2.5)
    assert better.x_mm.tolist() == [0, 800, 1500]
    assert track.with_anchor(4.0, 500.0, 2.5).x_mm.tolist() == [0, 500, 750, 1500]


def test_a_weak_landmark_gives_way_to_a_strong_mark():
    track = motion([0, 5, 10], [0, 750, 1500], u=1.0)
    assert track.with_anchor(4.9, 800.0, 2.5) is track


def test_when_it_went_by_a_place():
    back = motion([0, 5, 10], [1500, 750, 0])
    assert back.time_s(np.array([1500.0, 750.0, 0.0])) == pytest.approx([0, 5, 10], abs=0.05)


def test_marks_are_evened_by_how_evenly_a_hand_pushes():
    # Hand-worked sense: nine stations at an even 130 mm/s, each key 0.1 s off by turns; the carriage went evenly.
    x = np.linspace(0.0, 2600.0, 9)
    t = x / 130.0
    pressed = t + 0.1 * np.array([0, 1, -1, 1, -1, 1, -1, 1, 0])
    u = np.array([2.0, *[13.0] * 7, 2.0])
    delayed = np.array([False, *[True] * 7, False])
    motion = Motion(1, pressed, x, u, delayed, standing=(True, True))
    fine = np.linspace(1.5, 18.5, 200)
    off = np.std(motion.position_mm(fine) - 130.0 * fine)
    evened = motion.evened(0.0)
    assert np.std(evened.position_mm(fine) - 130.0 * fine) < 0.9 * off
    assert evened.x_mm[0] == 0.0 and evened.x_mm[-1] == 2600.0
    # A delay that all share is no unevenness: it stays, for the fit to find.
    late = Motion(1, np.where(delayed, t + 0.3, t), x, u, delayed, standing=(True, True))
    assert np.abs(late.evened(0.3).x_mm - x).max() < 2.0


def test_what_is_measured_or_at_rest_is_not_evened():
    x, t = np.linspace(0.0, 2600.0, 5), np.linspace(0.0, 20.0, 5)
    measured = Motion(1, t, x, np.full(5, 10.0), np.ones(5, bool), measured=True)
    assert measured.evened(0.1) is measured
    strips = Motion(1, t, x, np.full(5, 1.5), np.zeros(5, bool))
    assert strips.evened(0.1) is strips

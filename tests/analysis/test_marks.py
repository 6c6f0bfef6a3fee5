"""Marks find their stations by order, spacing and speed; counting alone is not enough."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.marks import BadStations, clip_stations, match_marks, motions_from_marks, station_of

STATIONS = (0.0, 500.0, 1000.0, 1500.0, 2000.0, 2600.0)
STROKE = (0.0, 2600.0)


def pressed(passes=2, pace=1 / 150, seed=0, scatter=0.07):
    rng = np.random.default_rng(seed)
    times, now = [], 1.0
    for k in range(passes):
        order = STATIONS if k % 2 == 0 else STATIONS[::-1]
        for i, place in enumerate(order):
            if i:
                now += abs(place - order[i - 1]) * pace * rng.uniform(0.9, 1.1)
            times.append(now + scatter * rng.standard_normal())
        now += 1.5
    return np.array(times)


def test_n_stations_and_p_passes_give_n_times_p_marks():
    matched = match_marks(pressed(3), STATIONS, 3)
    assert matched.expected.tolist() == list(range(18))
    assert matched.warnings == ()


def test_the_second_pass_begins_where_the_first_ended():
    assert station_of(5, STATIONS) == (0, 2600.0)
    assert station_of(6, STATIONS) == (1, 2600.0)
    assert station_of(11, STATIONS) == (1, 0.0)


@pytest.mark.parametrize("missed", [1, 2, 4, 7, 9])
def test_a_missed_mark_leaves_the_others_where_they_belong(missed):
    marks = np.delete(pressed(), missed)
    expected = [i for i in range(12) if i != missed]
    matched = match_marks(marks, STATIONS, 2)
    assert matched.expected.tolist() == expected
    assert any("missing" in note for note in matched.warnings)
    counted = np.arange(11)  # by counting alone every later mark is a station off
    assert np.sum(counted != np.array(expected)) == 11 - missed


@pytest.mark.parametrize("doubled", [1, 3, 6, 10])
def test_a_doubled_mark_is_left_out(doubled):
    good = pressed()
    marks = np.sort(np.append(good, good[doubled] + 0.2))
    matched = match_marks(marks, STATIONS, 2)
    kept = matched.expected[matched.expected >= 0].tolist()
    assert kept == list(range(12))
    assert any("pressed twice" in note for note in matched.warnings)


def test_one_missed_and_one_doubled_have_the_right_number_and_are_still_found():
    good = pressed()
    marks = np.sort(np.append(np.delete(good, 2), good[8] + 0.25))
    matched = match_marks(marks, STATIONS, 2)
    used = {int(e): marks[i] for i, e in enumerate(matched.expected) if e >= 0}
    assert 2 not in used
    assert all(abs(used[k] - good[k]) < 0.3 for k in used)


def test_far_too_few_and_none():
    assert match_marks(np.zeros(0), STATIONS, 2).warnings == ("There are no marks.",)
    matched = match_marks(pressed()[:1], STATIONS, 2)
    assert motions_from_marks(pressed()[:1], matched, STATIONS, 2, STROKE) == []


def test_a_storm_of_marks_is_bounded():
    marks = np.sort(np.random.default_rng(1).uniform(0, 60, 3000))
    matched = match_marks(marks, STATIONS, 2)
    assert len(matched.expected) == 3000
    assert any("3000 marks" in note for note in matched.warnings)


def test_stations_a_little_outside_the_stroke_are_clipped_with_a_note():
    stations, notes = clip_stations([-3.0, 1000.0, 2604.0], STROKE)
    assert stations == (0.0, 1000.0, 2600.0)
    assert len(notes) == 2
    with pytest.raises(BadStations, match="outside the stroke"):
        clip_stations([-300.0, 1000.0], STROKE)
    with pytest.raises(BadStations, match="twice"):
        clip_stations([1000.0, 1000.0], STROKE)
    with pytest.raises(BadStations, match="outside"):
        clip_stations([float("nan")], STROKE)


def test_stations_given_from_the_outfeed_end_run_back_first():
    stations, _ = clip_stations([2600.0, 1300.0, 0.0], STROKE)
    marks = np.array([0.0, 8.7, 17.3, 19.0, 27.7, 36.3])
    motions = motions_from_marks(marks, match_marks(marks, stations, 2), stations, 2, STROKE)
    assert [m.direction for m in motions] == [-1, 1]


@given(st.integers(0, 1000), st.floats(1 / 400, 1 / 40), st.integers(1, 4))
@settings(max_examples=25, deadline=None)
def test_any_ordinary_pace_matches(seed, pace, passes):
    matched = match_marks(pressed(passes, pace, seed), STATIONS, passes)
    assert matched.expected.tolist() == list(range(6 * passes))

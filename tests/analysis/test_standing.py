"""Whether a carriage stood at its marks, what it showed there, and what lies between two stops."""

import numpy as np
import pytest

from analysis.standing import standing_at_marks, stood_still
from analysis.stop_profile import height_profile
from analysis.stops import Stop, last_dwell
from fixtures.sweeps import Indicator, rough_rail, simulate

STATIONS = tuple(np.linspace(0.0, 2600.0, 17))


def stopped(resolution=0.001, stops_s=2.0, seed=1):
    return simulate(
        seed, rail=rough_rail(seed), stations_mm=STATIONS, stops_s=stops_s, rate_hz=20.0,
        indicator=Indicator(resolution_mm=resolution),
    )  # fmt: skip


def inner(sweep):
    marks = sweep.mark_t_s
    return np.concatenate([marks[1:16], marks[18:33]])


@pytest.mark.parametrize("resolution", [0.001, 0.01])
def test_stops_are_told_from_a_push_by_the_readings_at_the_marks(resolution):
    at_stops = stopped(resolution)
    assert stood_still(at_stops.t_s, at_stops.value, inner(at_stops), resolution)
    pushed = stopped(resolution, stops_s=0.0)
    assert not stood_still(pushed.t_s, pushed.value, inner(pushed), resolution)


def test_a_slow_push_over_a_shallow_bow_is_no_stop():
    t = np.arange(0.0, 104.0, 0.05)
    bow = np.round(0.1 + 0.05 * ((25.0 * t - 1300.0) / 1300.0) ** 2, 3)
    assert not stood_still(t, bow, np.array([20.0, 40.0, 60.0, 80.0]), 0.001)


def test_nothing_and_a_flat_line_are_no_stops():
    assert not stood_still(np.zeros(0), np.zeros(0), np.zeros(0))
    t = np.arange(0, 60, 0.1)
    assert not stood_still(t, np.zeros(len(t)), np.arange(5.0, 55.0, 5.0), 0.01)


def test_the_settled_reading_at_each_mark_is_the_height_there():
    sweep = stopped()
    dwells = standing_at_marks(sweep.t_s, -sweep.value, sweep.mark_t_s, 0.001)
    places = [*STATIONS, *STATIONS[::-1]]
    for dwell, place in zip(dwells, places, strict=True):
        assert dwell is not None
        assert dwell.value == pytest.approx(float(sweep.true_height(np.array([place]))[0]), abs=0.006)


def stops_of_a_wave(step_mm, wave_mm=900.0):
    places = np.arange(0.0, 2600.1, step_mm)
    return [
        Stop(number, direction, number * 60.0 + i, float(x), 0.05 * np.sin(2 * np.pi * x / wave_mm), 0.0003)
        for number, direction in ((0, 1), (1, -1))
        for i, x in enumerate(places[::direction])
    ], places


def test_at_stops_the_profile_is_what_was_read_and_between_them_it_is_less_sure():
    stops, places = stops_of_a_wave(200.0)
    profile = height_profile(stops, [(0.0, 2600.0)], (0.0, 2600.0), True, 0.001, 0.0)
    truth = 0.05 * np.sin(2 * np.pi * profile.x_mm / 900.0)
    assert np.mean(np.abs(profile.value - truth) <= profile.uncertainty) > 0.95
    at = np.isin(profile.x_mm, places)
    assert np.abs(profile.value[at] - truth[at]).max() < 0.001
    middle = np.min(np.abs(profile.x_mm[:, None] - (places[:-1] + 100.0)), axis=1) < 1.0
    assert np.median(profile.uncertainty[middle]) > 1.5 * np.median(profile.uncertainty[at])
    assert profile.parts["between stops"][middle].min() > profile.parts["between stops"][at].max()


def test_a_line_from_stop_to_stop_does_not_hold_what_is_said_of_it():
    # The naive way: the line between two stops with the stops' own uncertainty.
    stops, places = stops_of_a_wave(260.0)
    profile = height_profile(stops, [(0.0, 2600.0)], (0.0, 2600.0), True, 0.001, 0.0)
    truth = 0.05 * np.sin(2 * np.pi * profile.x_mm / 900.0)
    naive = np.interp(profile.x_mm, places, 0.05 * np.sin(2 * np.pi * places / 900.0))
    assert np.mean(np.abs(naive - truth) <= 0.001) < 0.5
    assert np.mean(np.abs(profile.value - truth) <= profile.uncertainty) > 0.9


def test_stops_too_far_apart_leave_a_stretch_unseen():
    places = [0.0, 200.0, 400.0, 1000.0, 1200.0, 1400.0]
    stops = [Stop(0, 1, float(i), x, 0.1, 0.0005) for i, x in enumerate(places)]
    profile = height_profile(stops, [(0.0, 2600.0)], (0.0, 2600.0), True, 0.001, 0.0)
    assert not np.any((profile.x_mm > 401.0) & (profile.x_mm < 999.0))
    assert (400.0, 1000.0) in profile.not_seen


def test_three_stations_are_no_profile():
    with pytest.raises(ValueError, match="4 stations"):
        height_profile([Stop(0, 1, 0.0, float(x), 0.0, 0.001) for x in range(3)], [], (0.0, 10.0), True, 0.001, 0.0)


def test_a_level_that_had_no_time_to_settle_at_the_last_mark_keeps_it_with_what_is_left_as_uncertainty():
    t = np.arange(0.0, 1.0, 0.05)
    z = 0.2 + 0.5 * np.exp(-t / 0.5)
    (dwell,) = last_dwell(t, z, 0.0, ())
    assert abs(dwell.value - 0.2) <= 2.0 * dwell.standard_uncertainty
    assert last_dwell(t, z, 0.0, (dwell,)) == (dwell,)
    assert last_dwell(t[:3], z[:3], 0.0, ()) == ()

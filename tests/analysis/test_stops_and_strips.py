"""Stops: settled means without transients. Strips: steps of one height that say where the carriage was."""

import numpy as np
import pytest

from analysis.motion import Motion
from analysis.positions import Evidence, locate
from analysis.stops import find_dwells, settled_mean, station_profile, stood_at_marks, stops_of, von_neumann_ratio
from analysis.strips import find_bumps
from analysis.sweeps import Geometry, SweepData, profile_of
from fixtures.sweeps import Indicator, rough_rail, simulate

STROKE = (0.0, 2600.0)


def test_white_noise_has_a_successive_difference_ratio_of_two():
    # J. von Neumann, Ann. Math. Statist. 12 (1941) 367-395: the expectation is 2 (from memory).
    noise = np.random.default_rng(0).standard_normal(20_000)
    assert von_neumann_ratio(noise) == pytest.approx(2.0, abs=0.05)
    assert von_neumann_ratio(np.cumsum(noise)) < 0.05
    assert von_neumann_ratio(np.ones(10)) == 2.0


def a_level(stations=7, passes=2, tau=0.5, dwell=4.0, seed=0):
    """A slow level carried from station to station: true tilt, 7 mm/m of push, exponential settling, 0.01 steps."""
    rng = np.random.default_rng(seed)
    x = np.linspace(0, 2400, stations)
    tilt = 0.2 * np.sin(x / 600)
    rate, t, raw, marks = 20.0, 0.0, [], []
    for k in range(passes):
        for i in range(stations) if k % 2 == 0 else range(stations - 1, -1, -1):
            marks.append(t + 0.6 * dwell)
            raw += [tilt[i]] * int(dwell * rate)
            push = np.sin(np.linspace(0, 2 * np.pi, int(2.0 * rate)))
            raw += (tilt[i] + 7.0 * push).tolist()
            t = len(raw) / rate
    shown, out = raw[0], []
    for value in raw:
        shown += (value - shown) * (1 - np.exp(-1 / rate / tau))
        out.append(shown)
    value = np.round((np.array(out) + 0.003 * rng.standard_normal(len(out))) / 0.01) * 0.01
    return np.arange(len(value)) / rate, value, np.array(marks), x, tilt


def test_a_level_s_stations_come_out_of_the_settled_parts_only():
    t, value, marks, x, tilt = a_level()
    evidence = Evidence(
        t, value, (0.0, 2400.0), [(0.0, 2400.0)], 2, mark_t_s=marks, stations_mm=tuple(x), unit="mm/m", resolution=0.01
    )
    located = locate(evidence)
    stops = stops_of(located.motions, located.dwells)
    profile = station_profile(stops, "pitch", "mm/m", (0.0, 2400.0), True, 0.01, 0.05, 2e-4)
    assert profile.x_mm.tolist() == pytest.approx(x.tolist())
    assert profile.value == pytest.approx(tilt, abs=0.02)
    assert np.all(np.abs(profile.value - tilt) <= profile.uncertainty + 0.01)
    pushed = np.array([value[(t > m - 2.0) & (t < m + 3.0)].mean() for m in marks[: len(x)]])
    assert np.abs(pushed - tilt).max() > 0.3  # the mean of everything round the mark


def test_a_settled_mean_leaves_the_transient_out():
    t = np.arange(0, 5, 0.02)
    z = 0.3 + 2.0 * np.exp(-t / 0.5) + 0.002 * np.random.default_rng(0).standard_normal(len(t))
    mean, u, count = settled_mean(z)
    assert mean == pytest.approx(0.3, abs=0.005)
    assert u < 0.01 and count >= 12
    assert z.mean() > 0.45


def test_dwells_in_nothing_and_in_motion():
    assert find_dwells(np.zeros(0), np.zeros(0)) == ()
    t = np.arange(0, 10, 0.02)
    assert find_dwells(t, np.full(len(t), np.nan)) == ()


def test_marks_are_given_to_the_dwell_around_them():
    t = np.arange(0, 30, 0.02)
    z = np.floor(t / 5.0) + np.clip((t % 5.0) - 4.0, 0, 1)
    dwells = find_dwells(t, z)
    assert len(dwells) == 6
    assert stood_at_marks(dwells, np.array([2.0, 12.0, 14.7])).tolist() == [0, 2, -1]


def test_strips_are_found_with_their_thickness_and_their_places():
    places = (300.0, 800.0, 1300.0, 1800.0, 2300.0)
    sweep = simulate(0, rail=rough_rail(0, 0.03), rate_hz=100.0, strips_mm=places, indicator=Indicator())
    evidence = Evidence(
        sweep.t_s, -sweep.value, STROKE, [STROKE], 2, stations_mm=places, strip_sign=-1, resolution=0.001
    )
    located = locate(evidence)
    assert located.source == "strips"
    for motion in located.motions:
        for place in places:
            when = motion.t_s[motion.x_mm == place]
            assert np.interp(when, sweep.t_s, sweep.true_position_mm) == pytest.approx(place, abs=4.0)
    on = np.min(np.abs(sweep.true_position_mm[:, None] - np.array(places)), axis=1) < 11.0
    assert located.on_strip is not None and located.on_strip[on].mean() > 0.98


def test_a_knock_is_no_strip():
    t = np.arange(0, 17, 0.01)
    z = 0.05 * np.sin(t) + 0.0005 * np.random.default_rng(0).standard_normal(len(t))
    z[500] += 0.1
    assert find_bumps(t, z, 150.0, 1) == []
    z[900:917] += 0.1
    (bump,) = find_bumps(t, z, 150.0, 1)
    assert bump.height == pytest.approx(0.1, abs=0.015)
    assert bump.middle_s == pytest.approx(9.08, abs=0.02)


def test_too_few_strips_fall_back_to_the_ends_and_say_so():
    sweep = simulate(0, rail=rough_rail(0, 0.05), rate_hz=50.0)
    evidence = Evidence(
        sweep.t_s, -sweep.value, STROKE, [STROKE], 2, stations_mm=(300.0, 1300.0, 2300.0), strip_sign=-1
    )
    located = locate(evidence)
    assert located.source == "ends only"
    assert any("none came" in note for note in located.warnings)
    assert any("weak evidence" in note for note in located.warnings)


def test_a_stop_of_one_pass_has_the_uncertainty_of_the_hysteresis():
    motion = Motion(1, np.array([1.0, 5.0]), np.array([0.0, 500.0]), np.ones(2), np.zeros(2, bool))
    t = np.arange(0, 7, 0.05)
    z = np.where(t < 2.5, 0.1, np.where(t > 3.5, 0.3, 5.0))
    stops = stops_of([motion], find_dwells(t, z, 0.01))
    profile = station_profile(stops, "roll", "mm/m", (0.0, 500.0), True, 0.01, 0.05, 2e-4)
    assert profile.value == pytest.approx([0.1, 0.3], abs=1e-3)
    assert profile.uncertainty.min() > 0.01


def test_a_strip_that_moved_between_the_passes_is_left_out_of_both():
    places = (60.0, 680.0, 1300.0, 1920.0, 2540.0)
    sweep = simulate(5, rail=rough_rail(5, 0.06), rate_hz=100.0)
    t, s = sweep.t_s, sweep.true_position_mm
    back = np.arange(len(t)) > np.argmax(s)
    height = -sweep.value
    for place in places:
        lay = place + np.where(back, 90.0 if place == 1300.0 else 0.0, 0.0)
        height = height - 0.1 * (np.abs(s - lay) <= 12.5)
    evidence = Evidence(t, height, STROKE, [STROKE], 2, stations_mm=places, strip_sign=-1, resolution=0.001)
    outcome = profile_of([SweepData("0001", evidence)], Geometry(STROKE, (STROKE,), resolution=0.001, tip_falls=1))
    assert outcome.source == "strips"
    assert any("strip at 1300 mm" in text and "moved" in text for text in outcome.warnings)
    error = outcome.profile.value - sweep.true_height(outcome.profile.x_mm)
    assert np.std(error) < 0.006  # used as it lay: 0.020
    assert np.mean(np.abs(error - error.mean()) <= outcome.profile.uncertainty) > 0.9

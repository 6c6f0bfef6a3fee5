"""The instrument check: noise, resolution as seen, drift, repeatability, hysteresis, cosine error."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.instrument_check import come_back, floor_of, lever_factor, plunger_excess, resolution_seen, stand_still

# GUM (JCGM 100:2008), 4.4.3: twenty temperatures (values from memory; they give the three published figures).
GUM_443 = (
    "96.90 98.18 98.25 98.61 99.03 99.49 99.56 99.74 99.89 100.07 100.33 100.42 100.68 100.95 101.11 101.20 101.57 "
    "101.84 102.36 102.72"
)


def still(noise=0.002, drift_per_hour=0.0, step=0.001, seconds=60.0, seed=1):
    t_s = np.arange(0.0, seconds, 0.1)
    chance = np.random.default_rng(seed)
    value = 0.5 + drift_per_hour * t_s / 3600 + noise * chance.standard_normal(len(t_s))
    return t_s, np.round(value / step) * step


def test_repeatability_is_the_standard_deviation_of_the_gum():
    values = np.array([float(text) for text in GUM_443.split()])
    found = come_back(values, np.ones(20, dtype=np.int64))
    assert found.repeatability == pytest.approx(1.489, abs=0.0005)
    assert found.repeatability / math.sqrt(20) == pytest.approx(0.333, abs=0.0005)
    assert math.isnan(found.hysteresis)


def test_hysteresis_is_above_minus_below_and_no_part_of_repeatability():
    # Worked by hand: below 0.100, 0.102; above 0.110, 0.112: each side spreads by 0.00141, apart by 0.010.
    found = come_back(np.array([0.100, 0.110, 0.102, 0.112]), np.array([1, -1, 1, -1]))
    assert found.hysteresis == pytest.approx(0.010)
    assert found.repeatability == pytest.approx(0.002 / math.sqrt(2))
    assert found.hysteresis_standard_uncertainty == pytest.approx(0.002 / math.sqrt(2))


def test_noise_and_drift_of_an_instrument_that_stands_still():
    found = stand_still(*still(noise=0.002, drift_per_hour=0.6))
    assert found.noise == pytest.approx(0.002, rel=0.1)
    assert abs(found.drift_per_hour - 0.6) < 3 * found.drift_standard_uncertainty
    assert found.resolution == pytest.approx(0.001)


def test_drift_is_not_claimed_from_noise():
    claimed = 0
    for seed in range(100):
        found = stand_still(*still(seed=seed))
        claimed += abs(found.drift_per_hour) > 3 * found.drift_standard_uncertainty
    assert claimed <= 8


@pytest.mark.parametrize("step", [0.001, 0.01, 0.005, 0.0005, 0.0127])
def test_the_step_that_is_seen(step):
    assert resolution_seen(0.3 + step * np.array([0, 3, 5, 8, 3, 0])) == pytest.approx(step)


def test_a_display_that_moves_in_fives():
    assert resolution_seen(np.array([0.105, 0.115, 0.120, 0.105])) == pytest.approx(0.005)


def test_a_value_that_never_changes_shows_no_step():
    assert math.isnan(resolution_seen(np.full(50, 0.12)))


@given(st.lists(st.integers(-500, 500), min_size=2, max_size=40, unique=True), st.sampled_from([0.001, 0.01, 0.0005]))
@settings(max_examples=60, deadline=None)
def test_every_difference_is_a_multiple_of_the_step(counts, step):
    found = resolution_seen(step * np.array(counts, dtype=np.float64))
    multiples = np.diff(np.sort(step * np.array(counts, dtype=np.float64))) / found
    assert np.allclose(multiples, np.round(multiples), atol=1e-3)
    assert found >= step * 0.999


def test_a_steady_display_is_not_perfect():
    # The naive way, the standard deviation of what is shown, is zero; the floor is a step over root twelve.
    quiet = stand_still(np.arange(50.0), np.full(50, 0.12))
    back = come_back(np.full(10, 0.12), np.array([1, -1] * 5))
    floor = floor_of(quiet, back, stated_resolution=0.01, sweep_s=20.0)
    assert floor.standard_uncertainty == pytest.approx(0.01 / math.sqrt(12))


def test_the_parts_of_the_floor_add_in_squares():
    floor = floor_of(
        stand_still(*still()), come_back(np.array([0.10, 0.11, 0.102, 0.112]), np.array([1, -1, 1, -1])), 0.001, 20.0
    )
    assert floor.standard_uncertainty == pytest.approx(math.hypot(*floor.parts.values()))
    assert set(floor.parts) == {"repeatability", "resolution", "hysteresis", "drift"}


@pytest.mark.parametrize(
    ("angle", "factor"),
    [(0, 1.0), (10, 0.98481), (15, 0.96593), (20, 0.93969), (30, 0.86603), (45, 0.70711), (60, 0.5)],
)
def test_a_lever_at_an_angle(angle, factor):
    # Cosine, worked out; at 60 degrees a reading of 0.004 in is 0.002 in (common practice, no source).
    assert lever_factor(angle) == pytest.approx(factor, abs=5e-6)


@pytest.mark.parametrize(("tilt", "percent"), [(1, 0.0152), (2, 0.0610), (5, 0.3820), (10, 1.543)])
def test_a_tilted_plunger_reads_too_much(tilt, percent):
    assert 100 * plunger_excess(tilt) == pytest.approx(percent, abs=6e-4)


def test_too_little_to_judge_is_refused():
    with pytest.raises(ValueError, match="at least 20"):
        stand_still(np.arange(5.0), np.zeros(5))
    with pytest.raises(ValueError, match="at least 4"):
        come_back(np.zeros(3), np.array([1, 1, 1]))
    with pytest.raises(ValueError, match=r"\+1 or -1"):
        come_back(np.zeros(6), np.array([1, 1, 1, 0, 0, 0]))

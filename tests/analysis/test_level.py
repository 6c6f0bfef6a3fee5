"""Levels: reversal, damping, rest, and acceleration taken for slope."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.level import acceleration_as_slope, at_rest, laid_along, reversal, settle, waiting_time_s


def creep(value=0.3, step=5.0, constant=0.5, seconds=4.0, noise=0.0, seed=1):
    t_s = np.arange(0.0, seconds, 0.05)
    chance = np.random.default_rng(seed)
    return t_s, value + step * np.exp(-t_s / constant) + noise * chance.standard_normal(len(t_s))


def test_turned_end_for_end():
    # Worked by hand: +0.07 and -0.03 mm/m are a slope of +0.05 and a zero error of +0.02.
    found = reversal(0.07, -0.03, standard_uncertainty=0.01)
    assert found.slope == pytest.approx(0.05)
    assert found.zero_error == pytest.approx(0.02)
    assert found.standard_uncertainty == pytest.approx(0.01 / math.sqrt(2))


@given(st.floats(-50, 50), st.floats(-50, 50))
def test_reversal_takes_any_zero_error_out(slope, zero):
    found = reversal(zero + slope, zero - slope)
    assert found.slope == pytest.approx(slope, abs=1e-9)
    assert found.zero_error == pytest.approx(zero, abs=1e-9)


def test_laid_foot_to_foot_only_the_two_ends_of_the_form_are_left():
    """By hand: four feet of 200 mm over heights 0, 8, -4, 6, 2 um slope by 40, -60, 50 and -20 um/m, mean 2.5; the ends
    differ by 2 um over 0.8 m, which is those 2.5 um/m. A base of 120 um/m is what is left.
    """
    form = np.array([0.0, 0.008, -0.004, 0.006, 0.002])
    shown = 0.12 + 1000.0 * np.diff(form) / 200.0
    found = laid_along(shown, np.full(4, 0.01), 800.0, (0.0, 0.002), (0.003, 0.003))
    assert np.mean(shown) == pytest.approx(0.1225)
    assert found.slope_mm_per_m == pytest.approx(0.12)
    by_hand = math.hypot(0.01 / 2.0, 0.003 * math.sqrt(2) / 0.8)
    assert found.standard_uncertainty_mm_per_m == pytest.approx(by_hand)


@given(st.lists(st.floats(-0.02, 0.02), min_size=2, max_size=9), st.floats(-3, 3))
def test_whatever_the_table_s_form_its_slope_comes_out(form, base):
    z = np.array(form)
    shown = base + 1000.0 * np.diff(z) / 150.0
    found = laid_along(shown, np.full(len(shown), 0.01), 150.0 * len(shown), (z[0], z[-1]))
    assert found.slope_mm_per_m == pytest.approx(base, abs=1e-9)


def test_no_reading_or_no_length_says_no_slope():
    for shown, length in (((), 800.0), ((0.1,), 0.0)):
        with pytest.raises(ValueError, match="say no slope"):
            laid_along(np.array(shown), np.array(shown), length)


def test_a_push_is_a_slope():
    # Worked by hand with standard gravity 9.80665 m/s2 (3rd CGPM): 0.0980665 m/s2 is 10 mm/m.
    assert acceleration_as_slope(0.0980665) == pytest.approx(10.0)
    assert acceleration_as_slope(-0.0980665) == pytest.approx(-10.0)


def test_a_creeping_level_comes_to_its_value_before_it_is_there():
    t_s, slope = creep(seconds=1.5, noise=0.01)
    found = settle(t_s, slope, tolerance=0.02)
    assert not found.settled
    assert abs(found.value - 0.3) < 4 * found.standard_uncertainty
    assert found.time_constant_s == pytest.approx(0.5, rel=0.05)
    # The naive way, the last reading, is a quarter of a millimetre a metre out.
    assert abs(slope[-1] - 0.3) > 0.2
    assert found.left == pytest.approx(-5.0 * math.exp(-t_s[-1] / 0.5), rel=0.1)


def test_after_six_time_constants_it_has_settled():
    t_s, slope = creep(seconds=4.0, noise=0.01)
    found = settle(t_s, slope, tolerance=0.02)
    assert found.settled
    assert found.value == pytest.approx(0.3, abs=0.01)


def test_noise_alone_is_no_creep():
    t_s = np.arange(0.0, 3.0, 0.05)
    claims = 0
    for seed in range(100):
        slope = 0.3 + 0.01 * np.random.default_rng(seed).standard_normal(len(t_s))
        claims += not math.isnan(settle(t_s, slope, tolerance=0.02).time_constant_s)
    assert claims <= 8


def test_a_reading_that_never_changes():
    found = settle(np.arange(10.0), np.full(10, 0.12), tolerance=0.01)
    assert found.settled
    assert found.value == pytest.approx(0.12)
    assert found.standard_uncertainty == pytest.approx(0.0)


def test_too_few_readings_are_refused():
    with pytest.raises(ValueError, match="at least 8"):
        settle(np.arange(5.0), np.zeros(5), tolerance=0.01)


def test_rest_is_found_only_after_six_time_constants_of_quiet():
    t_s = np.arange(0.0, 10.0, 0.1)
    slope = np.where((t_s > 2.0) & (t_s < 4.0), 7.0 * np.sin(9 * t_s), 0.1)
    rest = at_rest(t_s, slope, time_constant_s=0.5, tolerance=0.02)
    assert not rest[t_s < 2.95].any()
    assert not rest[(t_s > 2.05) & (t_s < 6.9)].any()
    assert rest[t_s > 7.05].all()


def test_a_large_step_needs_longer():
    assert waiting_time_s(0.5, step=1.0, tolerance=0.02) == 3.0
    assert waiting_time_s(0.5, step=100.0, tolerance=0.02) == pytest.approx(0.5 * math.log(5000.0))

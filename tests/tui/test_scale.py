"""Numbers to cells: limits on cell borders, rounding that never crosses them, words that wait."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.rail_picture import corridor
from logger.tui.scale import Along, Decade, Steady, Up, bin_columns, to_columns, up_from_band, up_from_values


def test_the_band_fills_whole_rows_and_its_lines_lie_on_their_borders():
    up = up_from_band(0.075, 0.125, np.array([0.06, 0.14]), 2, 3, 2)
    assert (up.lower_row, up.upper_row) == (2, 5)
    assert up.value_at_row(2) == pytest.approx(0.075)
    assert up.value_at_row(5) == pytest.approx(0.125)


def test_a_profile_that_would_not_fit_gives_the_band_fewer_rows():
    up = up_from_band(0.0, 0.05, np.array([-0.1, 0.15]), 2, 3, 2)
    assert (up.lower_row, up.upper_row) == (up.lower_row, (up.lower_row or 0) + 1)
    assert up.bottom <= -0.1
    assert up.top >= 0.15


finite = st.floats(-1.0, 1.0, allow_nan=False)


@given(st.lists(finite, min_size=1, max_size=20), st.sampled_from([(1, 1, 1), (2, 3, 2), (4, 5, 4), (6, 8, 6)]))
def test_the_lines_stay_on_borders_and_a_value_never_rounds_across_them(values, rows):
    lower, upper = 0.075, 0.125
    data = np.array(values)
    up = up_from_band(lower, upper, data, *rows)
    assert up.rows == sum(rows)
    assert up.lower_row is not None and up.upper_row is not None
    assert up.value_at_row(up.lower_row) == pytest.approx(lower)
    assert up.value_at_row(up.upper_row) == pytest.approx(upper)
    for value, eighths in zip(data, up.eighths(data), strict=True):
        if value > upper + 1e-6 and up.upper_row < up.rows:
            assert eighths > up.upper_row * 8
        elif value < lower - 1e-6 and up.lower_row > 0:
            assert eighths < up.lower_row * 8
        elif lower + 1e-6 < value < upper - 1e-6:
            assert up.lower_row * 8 <= eighths <= up.upper_row * 8


def test_rounding_alone_would_have_hidden_a_value_just_above_the_limit():
    up = Up(0.0, 0.01, 5, 1, 3)
    just_above = 0.03 + 0.0001
    assert round(just_above / 0.01 * 8) == 24  # the naive figure: on the line
    assert up.eighths(np.array([just_above]))[0] == 25


def test_an_unseen_value_has_no_height():
    assert up_from_values(np.array([np.nan]), 5, 0.05).eighths(np.array([np.nan]))[0] == -1


def test_the_corridor_lies_where_least_work_is_and_keeps_to_the_mean_limits():
    assert corridor(np.array([0.08, 0.12]), 0.05, (0.05, 0.15)) == pytest.approx((0.075, 0.125))
    assert corridor(np.array([0.30, 0.34]), 0.05, (0.05, 0.15)) == pytest.approx((0.125, 0.175))


@given(st.lists(st.floats(0.0, 0.2), min_size=2, max_size=30))
def test_a_profile_leaves_its_corridor_exactly_if_it_is_too_wide_or_its_middle_too_high_or_low(values):
    data = np.array(values)
    lower, upper = corridor(data, 0.05, (0.05, 0.15))
    middle = (data.min() + data.max()) / 2
    leaves = data.max() > upper + 1e-12 or data.min() < lower - 1e-12
    fits = np.ptp(data) <= 0.05 - 2 * abs(middle - min(max(middle, 0.05), 0.15)) + 1e-12
    assert leaves == (not fits) or abs(np.ptp(data) - 0.05) < 1e-9


def test_a_narrow_opening_keeps_a_column():
    along = Along(0.0, 1000.0, 10)
    columns = to_columns(along, np.array([0.0, 1000.0]), np.array([1.0, 1.0]), ((510.0, 520.0),))
    assert np.isnan(columns[along.column(515.0)])
    assert np.isfinite(columns).sum() == 9


def test_readings_in_a_column_are_averaged():
    columns = bin_columns(Along(0.0, 100.0, 2), np.array([10.0, 20.0, np.nan]), np.array([1.0, 3.0, 9.0]))
    assert columns[0] == 2.0
    assert np.isnan(columns[1])


def test_a_word_changes_only_after_its_time():
    steady = Steady(0.3)
    assert steady.update(0.0, "low") == "low"
    assert steady.update(0.1, "inside") == "low"
    assert steady.update(0.39, "inside") == "low"
    assert steady.update(0.41, "inside") == "inside"


def test_a_word_that_flickers_never_changes():
    steady = Steady(0.3)
    words = [steady.update(i * 0.1, "inside" if i % 2 else "low") for i in range(40)]
    assert set(words) == {"low"}


def test_a_lost_link_does_not_wait():
    steady = Steady(0.3)
    steady.update(0.0, "inside")
    assert steady.update(0.01, "lost", at_once=True) == "lost"


def test_off_the_scale_for_half_a_second_is_drawn_at_a_tenth_and_comes_back_when_well_inside():
    decade, up = Decade(), Up(0.0, 0.01, 10)
    assert decade.update(0.0, 0.3, up) == 1.0
    assert decade.update(0.6, 0.3, up) == 10.0
    assert decade.update(0.7, 0.099, up) == 10.0  # inside, but not well inside
    assert decade.update(1.5, 0.099, up) == 10.0
    assert decade.update(1.6, 0.06, up) == 10.0
    assert decade.update(2.2, 0.06, up) == 1.0

"""Facts about a casting that gives way again. Derived; when to look again is common practice, no source."""

import numpy as np
import pytest

from analysis.relaxation import drift, next_look_h


def test_it_is_looked_at_after_an_hour_a_day_a_week_a_month_and_then_no_more():
    assert [next_look_h(hours) for hours in (0.0, 0.5, 1.0, 23.0, 100.0, 700.0)] == [1.0, 1.0, 24.0, 168.0, 168.0, None]


def test_creep_over_the_logarithm_of_time_adds_as_much_each_decade():
    hours = np.array([1.0, 10.0, 100.0])
    found = drift(hours, 0.02 + 0.015 * np.log10(hours), np.full(3, 0.004), 0.1)
    assert found.since_first == pytest.approx(0.03)
    assert found.by_next == pytest.approx(0.015)
    assert found.settles
    assert not drift(hours, 0.2 * np.log10(hours), np.full(3, 0.004), 0.1).settles


def test_two_readings_close_together_show_a_change_but_no_law():
    found = drift(np.array([1.0, 1.5]), np.array([0.0, 0.01]), np.array([0.004, 0.004]), 0.1)
    assert found.since_first == pytest.approx(0.01)
    assert np.isnan(found.by_next)


def test_one_reading_shows_no_drift():
    with pytest.raises(ValueError, match="two measurements"):
        drift(np.array([1.0]), np.array([0.1]), np.array([0.01]), 0.1)

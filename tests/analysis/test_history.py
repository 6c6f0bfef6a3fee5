"""Creeping, seasons and what moved: against worked examples from outside, and where a naive look goes wrong."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.history import DAYS_PER_YEAR, at_places, course, fit, sag, shifts

DATA = Path(__file__).parents[1] / "data"


def columns(name):
    with (DATA / name).open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}


# -- against the outside -----------------------------------------------------------------------------------------------


def test_a_straight_line_with_equal_weights_is_nists_certified_one():
    """NIST Statistical Reference Datasets, Norris: certified slope, intercept and their standard deviations."""
    d = columns("nist_norris.csv")
    found = fit(np.column_stack([np.ones_like(d["x"]), d["x"]]), d["y"], np.ones_like(d["y"]))
    assert found.coefficients == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-10)
    spread = found.scatter * np.sqrt(np.diag(found.covariance))
    assert spread == pytest.approx([0.232818234301152, 0.429796848199937e-3], rel=1e-9)
    assert found.scatter == pytest.approx(0.884796396144373, rel=1e-10)  # certified residual standard deviation


def test_weights_count_as_one_over_u_squared():
    """The weighted mean of 10 ± 1 and 16 ± 2 (standard): weights 1 and 1/4, 11.2 with u = 1/sqrt(1.25) (by hand)."""
    found = fit(np.ones((2, 1)), np.array([10.0, 16.0]), np.array([1.0, 2.0]))
    assert found.coefficients[0] == pytest.approx(11.2)
    assert math.sqrt(found.covariance[0, 0]) == pytest.approx(1 / math.sqrt(1.25))


def test_birges_ratio_of_values_that_scatter_three_times_too_much():
    """Two values 6 apart with u = sqrt(2) each: chi-squared 9 with one freedom, ratio 3 (by hand)."""
    found = fit(np.ones((2, 1)), np.array([-3.0, 3.0]), np.full(2, math.sqrt(2.0)))
    assert found.scatter == pytest.approx(3.0)


def test_columns_that_cannot_be_told_apart_are_refused():
    with pytest.raises(ValueError, match="told apart"):
        fit(np.ones((5, 2)), np.arange(5.0), np.ones(5))
    with pytest.raises(ValueError, match="1 values cannot fix 2 unknowns"):
        fit(np.ones((1, 2)), np.ones(1), np.ones(1))


def size_of(term):
    assert term is not None
    return term.size, term.uncertainty


def is_clear(term):
    assert term is not None
    return term.clear


# -- creeping, steps and seasons ---------------------------------------------------------------------------------------

DAYS = np.arange(0.0, 730.0, 30.0)
NOBODY_TURNED = np.zeros(len(DAYS), int)
U = np.full(len(DAYS), 0.002)


def noise(seed=1, size=0.002):
    return size * np.random.default_rng(seed).standard_normal(len(DAYS))


def test_creeping_is_found_with_its_uncertainty():
    found = course(DAYS, 0.1 - 0.010 * DAYS / DAYS_PER_YEAR + noise(), U, NOBODY_TURNED)
    assert found.per_year is not None
    assert found.per_year.clear
    assert size_of(found.per_year)[0] == pytest.approx(-0.010, abs=found.per_year.uncertainty)


def test_what_does_not_creep_is_clear_of_nothing_19_times_of_20():
    clear = sum(is_clear(course(DAYS, 0.1 + noise(seed), U, NOBODY_TURNED).per_year) for seed in range(400))
    assert 0.02 <= clear / 400 <= 0.08


def test_with_uncertainties_far_too_small_noise_is_still_no_creeping():
    clear = sum(is_clear(course(DAYS, 0.1 + noise(seed), U / 20, NOBODY_TURNED).per_year) for seed in range(400))
    assert clear / 400 <= 0.08


def test_the_step_of_a_turned_bolt_is_no_creeping():
    """The naive line through everything sees the turn as 0.05 mm a year of creeping."""
    turned = (DAYS > 300).astype(int)
    value = 0.1 - 0.08 * turned + noise()
    naive = np.polyfit(DAYS / DAYS_PER_YEAR, value, 1)[0]
    found = course(DAYS, value, U, turned)
    assert abs(naive) > 0.04
    assert abs(size_of(found.per_year)[0]) < 0.005
    assert found.levels[1] - found.levels[0] == pytest.approx(-0.08, abs=0.006)


def test_a_warm_summer_is_no_creeping():
    """From a summer to a winter later: time alone takes the cold for sinking."""
    days = np.arange(0.0, 260.0, 10.0)
    warm = 20.0 + 8.0 * np.cos(2 * np.pi * days / DAYS_PER_YEAR)
    value = 0.1 + 0.002 * (warm - 20.0) + 0.001 * np.random.default_rng(3).standard_normal(len(days))
    u, state = np.full(len(days), 0.001), np.zeros(len(days), int)
    alone, together = course(days, value, u, state), course(days, value, u, state, warm)
    creeping, season = size_of(together.per_year), size_of(together.per_C)
    assert size_of(alone.per_year)[0] < -0.03
    assert abs(creeping[0]) < creeping[1] < 0.01
    assert season[0] == pytest.approx(0.002, abs=season[1])
    assert together.value(100.0, 0, float(warm[5])) == pytest.approx(value[5], abs=0.004)


@pytest.mark.parametrize(
    ("temperature", "said"),
    [
        (None, "No temperature was noted"),
        (np.where(DAYS > 100, np.nan, 18.0), "noted for 4 of 25 values"),
        (np.full(len(DAYS), 18.0), "differ by 0.0 °C"),
        (10.0 + DAYS / 50.0, "cannot be told apart"),
    ],
)
def test_where_the_seasons_cannot_be_told_it_says_why(temperature, said):
    found = course(DAYS, 0.1 + noise(), U, NOBODY_TURNED, temperature)
    assert found.per_C is None
    assert any(said in why for why in found.why)


def test_over_a_few_days_no_creeping_is_claimed():
    found = course(np.array([0.0, 1.0, 3.0]), np.array([0.1, 0.2, 0.3]), np.full(3, 0.001), np.zeros(3, int))
    assert found.per_year is None
    assert "3 days at most" in found.why[0]


def test_one_value_has_a_level_and_nothing_more():
    found = course(np.zeros(1), np.array([0.3]), np.array([0.01]), np.zeros(1, int))
    assert found.per_year is None
    assert found.value(0.0, 0) == pytest.approx(0.3)
    with pytest.raises(ValueError, match="no value"):
        course(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0, int))


@given(st.floats(-1, 1), st.floats(-0.2, 0.2))
def test_a_course_without_noise_is_found_exactly(level, per_year):
    found = course(DAYS, level + per_year * DAYS / DAYS_PER_YEAR, U, NOBODY_TURNED)
    assert size_of(found.per_year)[0] == pytest.approx(per_year, abs=1e-9)
    assert found.value(0.0, 0) == pytest.approx(level, abs=1e-9)


# -- places and what moved ---------------------------------------------------------------------------------------------

X = np.linspace(0.0, 2000.0, 21)


def test_a_profile_at_places_is_straight_between_stations_and_unseen_outside():
    values, covariance = at_places(X, X / 1000.0, np.eye(21), (-10.0, 50.0, 100.0, 550.0), [(500.0, 600.0)])
    assert values[1:3] == pytest.approx([0.05, 0.1])
    assert np.isnan(values[[0, 3]]).all()
    assert covariance[1, 1] == pytest.approx(0.5)  # half of each of two: 1/4 + 1/4
    assert covariance[2, 2] == pytest.approx(1.0)


def test_sag_is_the_middle_under_the_line_through_the_ends_whatever_tilt_and_zero():
    shape = -0.030 * (1.0 - ((X - 1000.0) / 1000.0) ** 2)
    level, u = sag(X, shape, 1e-6 * np.eye(21), 0.0, 2000.0)
    tilted, _ = sag(X, shape + 0.4 + 0.0002 * X, 1e-6 * np.eye(21), 0.0, 2000.0)
    assert level == pytest.approx(-0.030)
    assert tilted == pytest.approx(level)
    assert u == pytest.approx(1e-3 * math.sqrt(1.5))
    _, common = sag(X, shape, np.full((21, 21), 1e-4), 0.0, 2000.0)
    assert common == pytest.approx(0.0, abs=1e-9)  # a zero set wrong lifts all and bends nothing


def test_a_place_that_moved_stands_clear_and_the_others_do_not():
    quiet = 1e-6 * np.eye(3)
    found = shifts(
        ("B1", "B2", "B3"), (100.0, 900.0, 1800.0), (np.zeros(3), quiet), (np.array([0.0, -0.01, np.nan]), quiet)
    )
    assert [each.place for each in found] == ["B1", "B2"]
    assert [each.clear for each in found] == [False, True]
    assert found[1].change == pytest.approx(-0.01)


def test_looking_at_ten_places_still_cries_wolf_once_in_twenty():
    """With k = 2 at each of ten places about four in ten comparisons of an unmoved machine would name one."""
    rng, quiet, wolf, naive = np.random.default_rng(5), np.eye(10), 0, 0
    names, at = tuple("abcdefghij"), tuple(range(10))
    for _ in range(1000):
        one, other = rng.standard_normal((2, 10))
        found = shifts(names, at, (one, quiet), (other, quiet))
        wolf += any(each.clear for each in found)
        naive += bool(np.any(np.abs(other - one) > 2 * math.sqrt(2)))
    assert 0.03 <= wolf / 1000 <= 0.07
    assert naive / 1000 > 0.3


def test_where_the_zero_is_not_known_a_lift_of_all_is_no_change():
    quiet = 1e-6 * np.eye(3)
    found = shifts(("a", "b", "c"), (0, 1, 2), (np.zeros(3), quiet), (np.full(3, 0.2), quiet), shape_only=True)
    assert not any(each.clear for each in found)
    assert shifts(("a",), (0,), (np.array([np.nan]), np.eye(1)), (np.zeros(1), np.eye(1))) == ()

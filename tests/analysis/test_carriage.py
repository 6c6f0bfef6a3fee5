"""The carriage on its bearings, and what each set-up reads: signs by hand."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.carriage import HEAVE, PITCH, ROLL, Carriage, bearing_positions, state_on_rail
from analysis.response import SetUp, Table, covering_positions, place_weights, reading_weights, seen_by_geometry

CARRIAGE = Carriage((-320.0, 320.0), (0.0, 2600.0), 1200.0, 150.0)


def state_of(carriage, s, height, twist):
    at = bearing_positions(carriage, s)
    return state_on_rail(carriage, s, height(at)[..., None], twist(at)[..., None])[..., 0]


def test_a_rail_rising_toward_outfeed_pitches_the_carriage_up():
    s = np.array([500.0, 1500.0])
    state = state_of(CARRIAGE, s, lambda x: 1e-3 * x, np.zeros_like)
    np.testing.assert_allclose(state[:, HEAVE], [0.5, 1.5])
    np.testing.assert_allclose(state[:, PITCH], 1e-3)
    np.testing.assert_allclose(state[:, ROLL], 0.0)


def test_four_bearings_ride_on_the_least_squares_line():
    carriage = Carriage((-420.0, -140.0, 140.0, 420.0), (0.0, 2600.0), 1400.0, 160.0)
    s = np.array([1000.0])
    state = state_of(carriage, s, lambda x: 1e-6 * (x - 900.0) ** 2, np.zeros_like)
    at = s + np.array(carriage.bearing_offsets_mm)
    slope, value = np.polyfit(at - 1000.0, 1e-6 * (at - 900.0) ** 2, 1)
    np.testing.assert_allclose(state[0, :2], [value, slope])


def test_a_cage_travels_half_as_far():
    carriage = Carriage((-300.0, 300.0), (0.0, 1000.0), 2000.0, 150.0, travel_ratio=0.5, cage_middle_mm=250.0)
    np.testing.assert_allclose(bearing_positions(carriage, np.array([0.0, 1000.0])), [[-50, 550], [450, 1050]])
    state = state_of(carriage, np.array([1000.0]), lambda x: 1e-3 * x, np.zeros_like)
    np.testing.assert_allclose(state[0, :2], [1.0, 1e-3])


def test_what_each_set_up_reads_by_hand():
    # heave 0.10 mm, pitch 0.2 mm/m (outfeed high), roll -0.4 mm/m (table side low), carriage at 800.
    state, s = np.array([0.10, 0.2e-3, -0.4e-3]), np.array([800.0])

    def read(set_up):
        return float((reading_weights(set_up, CARRIAGE, s) @ state)[0])

    assert read(SetUp("fixed", x_mm=1100.0)) == pytest.approx(0.10 + 300 * 0.2e-3 - 150 * 0.4e-3)
    assert read(SetUp("fixed", x_mm=1100.0, y_mm=0.0)) == pytest.approx(0.16)
    assert read(SetUp("carried", offset_mm=-250.0)) == pytest.approx(0.10 - 0.05 - 0.06)
    assert read(SetUp("level", axis="pitch")) == pytest.approx(0.2)
    assert read(SetUp("level", axis="roll")) == pytest.approx(-0.4)


def test_where_each_set_up_reads():
    s, table = np.arange(0.0, 2601.0, 100.0), Table(700.0, 1500.0, (1010.0, 1090.0))
    fixed = s[seen_by_geometry(SetUp("fixed", x_mm=1100.0), CARRIAGE, table, s)]
    assert (fixed[0], fixed[-1]) == (500.0, 1700.0)
    carried = s[seen_by_geometry(SetUp("carried", offset_mm=250.0), CARRIAGE, table, s)]
    np.testing.assert_allclose(carried, [500, 600, 700, 900, 1000, 1100, 1200])  # tip over the opening at 800
    assert seen_by_geometry(SetUp("level"), CARRIAGE, table, s).all()


def test_a_place_sees_heave_plus_lever_times_pitch_plus_arm_times_roll():
    s = covering_positions(CARRIAGE, 1450.0)
    assert (s[0], s[-1]) == (850.0, 2050.0)
    np.testing.assert_allclose(place_weights(1450.0, 250.0, np.array([850.0])), [[1.0, 600.0, 250.0]])

"""Facts about what turns: the once-a-turn part, what is hidden in the rest, and a spindle's lean.

Outside values: the equal-step formulas of ISO 4291 annex F (written down from memory), and examples derived from
r = e cos(angle - direction) by hand.
"""

from pathlib import Path

import numpy as np
import pytest

from analysis.circle import flange_and_blade, half_round, run_out, shim_mm, swing

DATA = Path(__file__).parents[1] / "data"
TWELVE = np.arange(12, dtype=np.float64) * 30.0


def once_round(angles_deg, amplitude, direction_deg, mean=0.0):
    return mean + amplitude * np.cos(np.deg2rad(angles_deg - direction_deg))


def test_a_pure_eccentric_swings_the_pointer_by_twice_its_amount():
    # derived: e = 0.050 mm at 30 degrees gives a = 0.0433013, b = 0.025, total reading 0.100
    found = run_out(TWELVE, once_round(TWELVE, 0.050, 30.0), 0.002)
    assert found.eccentric_mm == pytest.approx(0.050, abs=1e-12)
    assert found.direction_deg == pytest.approx(30.0, abs=1e-9)
    assert found.total_mm == pytest.approx(0.100, abs=1e-12)
    assert found.form_mm == pytest.approx(0.0, abs=1e-12)


def test_equal_steps_give_the_simple_explicit_equations():
    # ISO 4291 annex F, from memory: a = (2/N) sum r cos, b = (2/N) sum r sin
    readings = np.random.default_rng(3).normal(0.0, 0.02, 12)
    turn = np.deg2rad(TWELVE)
    a, b = (2 / 12 * np.sum(readings * part) for part in (np.cos(turn), np.sin(turn)))
    assert run_out(TWELVE, readings, 0.002).eccentric_mm == pytest.approx(np.hypot(a, b), rel=1e-12)


def test_with_form_in_it_the_total_reading_is_not_twice_the_eccentric_part():
    # derived example, twelve rounded readings: e 0.050115 at 30.19 degrees, total 0.094, form 0.012481 mm
    table = np.loadtxt(DATA / "runout_twelve_steps.csv", delimiter=",", skiprows=1)
    found = run_out(table[:, 0], table[:, 1], 0.002)
    assert found.eccentric_mm == pytest.approx(0.050115, abs=1e-6)
    assert found.direction_deg == pytest.approx(30.19, abs=0.005)
    assert found.total_mm == pytest.approx(0.094, abs=1e-12)
    assert found.form_mm == pytest.approx(0.012481, abs=1e-6)
    assert abs(found.total_mm - 2 * found.eccentric_mm) > 0.005


def test_any_angles_will_do_where_the_equal_step_formula_is_wrong():
    angles = np.array([0.0, 20.0, 45.0, 130.0, 200.0, 290.0])
    readings = once_round(angles, 0.04, 250.0, mean=0.3)
    found = run_out(angles, readings, 0.002)
    assert (found.mean_mm, found.eccentric_mm, found.direction_deg) == pytest.approx((0.3, 0.04, 250.0))
    naive = np.hypot(*(2 / 6 * np.sum(readings * part(np.deg2rad(angles))) for part in (np.cos, np.sin)))
    assert abs(naive - 0.04) > 0.02


def test_the_stated_uncertainty_covers_the_truth():
    rng = np.random.default_rng(5)
    hits = 0
    for _ in range(400):
        angles = np.arange(8, dtype=np.float64) * 45.0
        found = run_out(angles, once_round(angles, 0.03, 77.0) + rng.normal(0, 0.002, 8), 0.004)
        hits += abs(found.eccentric_mm - 0.03) <= found.eccentric_uncertainty_mm
    assert 0.90 <= hits / 400 <= 0.995


def test_a_swing_hidden_between_few_readings_is_in_the_uncertainty_of_the_total():
    four = np.array([45.0, 135.0, 225.0, 315.0])
    found = run_out(four, once_round(four, 0.1, 0.0), 0.0)
    assert found.total_mm < 0.2 <= found.total_mm + found.total_uncertainty_mm + 1e-12


@pytest.mark.parametrize(
    ("angles", "says"),
    [([0.0, 90.0, 180.0], "3 different angles; at least 4"), ([0.0, 30.0, 60.0, 90.0], "leave 270 degrees unseen")],
)
def test_angles_that_do_not_carry_the_fit_are_refused(angles, says):
    with pytest.raises(ValueError, match=says):
        run_out(np.array(angles), np.zeros(len(angles)), 0.002)


def test_a_spindle_that_leans_lowers_its_arm_where_it_leans_to():
    """The arm's tip is on a circle in the plane square to the spindle, built here with vectors."""
    lean, radius = 0.0004, 150.0  # 0.4 mm/m, toward 60 degrees
    toward = np.deg2rad(60.0)
    spindle = np.array([np.sin(lean) * np.cos(toward), np.sin(lean) * np.sin(toward), np.cos(lean)])
    one = np.cross(spindle, [0.0, 1.0, 0.0])
    one /= np.linalg.norm(one)
    other = np.cross(spindle, one)
    turn = np.deg2rad(np.arange(0, 360, 45))
    tips = radius * (np.outer(np.cos(turn), one) + np.outer(np.sin(turn), other))
    angles = np.rad2deg(np.arctan2(tips[:, 1], tips[:, 0]))
    found = swing(angles, -tips[:, 2], radius, 0.002)  # a lower tip is pushed in
    assert found.tilt_mm_per_m == pytest.approx(0.4, abs=1e-6)
    assert found.direction_deg == pytest.approx(60.0, abs=1e-3)


def test_the_shim_goes_under_the_foot_the_spindle_leans_to_and_one_across_does_nothing():
    angles = np.arange(4, dtype=np.float64) * 90.0
    found = swing(angles, once_round(angles, 0.030, 0.0), 150.0, 0.002)  # 0.2 mm/m toward outfeed
    assert shim_mm(found, 0.0, 300.0) == pytest.approx(0.060)
    assert shim_mm(found, 180.0, 300.0) == pytest.approx(-0.060)
    assert shim_mm(found, 90.0, 300.0) == pytest.approx(0.0, abs=1e-12)


# --- whose swing, waves, few and many readings -----------------------------------------------------------------------


def test_the_waves_round_the_turn_are_told_apart():
    angles = np.arange(24.0) * 15.0
    turn = np.deg2rad(angles)
    found = run_out(angles, 0.03 * np.cos(turn - 1.0) + 0.01 * np.cos(2 * turn) + 0.004 * np.cos(5 * turn), 0.002)
    assert found.harmonics_mm == pytest.approx((0.03, 0.01, 0.0, 0.0, 0.004, 0.0), abs=1e-9)
    assert len(run_out(TWELVE, once_round(TWELVE, 0.05, 0.0), 0.002).harmonics_mm) == 5


def test_the_flanges_part_grows_with_the_circle_and_the_rest_is_the_blades_as_a_vector():
    # derived: flange 0.010 at 0 degrees on 100 mm is 0.030 on 300; with 0.040 of the blade at 90 degrees it reads 0.050
    flange = run_out(TWELVE, once_round(TWELVE, 0.010, 0.0), 0.002)
    both = once_round(TWELVE, 0.030, 0.0) + once_round(TWELVE, 0.040, 90.0)
    blade = run_out(TWELVE, both, 0.002)
    assert blade.eccentric_mm == pytest.approx(0.050)
    parts = flange_and_blade(blade, flange, 300.0, 100.0)
    assert (parts.flange_mm, parts.blade_mm) == pytest.approx((0.030, 0.040))
    assert parts.blade_direction_deg == pytest.approx(90.0)
    turned = run_out(TWELVE, once_round(TWELVE, 0.030, 0.0) + once_round(TWELVE, 0.040, 270.0), 0.002)
    again = half_round(blade, turned)
    assert (again.flange_mm, again.blade_mm) == pytest.approx((0.030, 0.040))


def test_a_spindle_that_stands_true_is_covered_although_a_length_is_never_negative():
    rng, hits = np.random.default_rng(6), 0
    angles = np.arange(8.0) * 45.0
    for _ in range(400):
        found = swing(angles, rng.normal(0.0, 0.002, 8), 150.0, 0.004)
        hits += found.tilt_mm_per_m <= found.uncertainty_mm_per_m
    assert hits / 400 >= 0.92, "two standard deviations would hold in 86 % (Rayleigh)"


def test_four_readings_cannot_show_an_uneven_table_so_its_flatness_is_asked_for():
    angles = np.arange(4.0) * 90.0
    plain = swing(angles, once_round(angles, 0.02, 30.0), 150.0, 0.004)
    uneven = swing(angles, once_round(angles, 0.02, 30.0), 150.0, 0.004, 0.02)
    assert uneven.uncertainty_mm_per_m > 4 * plain.uncertainty_mm_per_m


def test_few_readings_of_a_true_part_do_not_pass_their_noise_off_as_run_out():
    rng, hits = np.random.default_rng(9), 0
    for _ in range(100):
        found = run_out(TWELVE, once_round(TWELVE, 0.001, 0.0) + rng.normal(0.0, 0.002, 12), 0.004)
        hits += abs(found.total_mm - 0.002) <= found.total_uncertainty_mm
    assert hits / 100 >= 0.86

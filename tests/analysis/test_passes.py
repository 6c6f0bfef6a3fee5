"""One profile from several passes: nuisances out, covariance honest, dust set aside."""

import numpy as np
import pytest

from analysis.cells import PassReadings, gather
from analysis.motion import Motion
from analysis.passes import NothingToFit, fit_passes
from analysis.spline import Spline
from fixtures.sweeps import Hand, Indicator, Rail, rough_rail, simulate

GRID = np.arange(100.0, 2501.0, 20.0)


def height(x):
    return 0.1 + 0.03 * np.sin(x / 240.0)


def a_pass(direction=1, seed=0, rate=50.0, noise=0.001, offset=0.0, drift=0.0, began=0.0, delay=0.0, change=None):
    rng = np.random.default_rng(seed)
    t = np.arange(0, 2600 / 150, 1 / rate)
    x = 150.0 * t if direction > 0 else 2600 - 150.0 * t
    z = height(x) + direction * offset + drift * (t + began) + noise * rng.standard_normal(len(t))
    if change is not None:
        z = change(x, z)
    marks = np.linspace(0, 2600, 9) if direction > 0 else np.linspace(2600, 0, 9)
    when = np.linspace(0, 2600 / 150, 9) + delay
    motion = Motion(direction, when + began, marks, np.full(9, 8.0), np.ones(9, bool))
    inside = (t + began >= motion.t_s[0]) & (t + began <= motion.t_s[-1])
    return PassReadings(motion, (t + began)[inside], z[inside])


def error_um(fit):
    miss = fit.value(GRID) - height(GRID)
    return 1000 * np.std(miss)


def test_late_marks_are_seen_by_forward_against_return():
    passes = [a_pass(1, 0, delay=0.2), a_pass(-1, 1, began=20.0, delay=0.2)]
    fit = fit_passes(passes)
    assert fit.delay_s == pytest.approx(0.2, abs=0.02)
    assert error_um(fit) < 1.0
    naive = []
    for p in passes:
        x = p.motion.position_mm(p.t_s)
        order = np.argsort(x)
        naive.append(np.interp(GRID, x[order], p.value[order]))
    assert 1000 * np.std(naive[0] - height(GRID)) > 2.0  # one pass as it lies


def test_the_offset_between_directions_is_estimated():
    fit = fit_passes([a_pass(1, 0, offset=0.006), a_pass(-1, 1, began=20.0, offset=0.006)])
    assert fit.direction_offset == pytest.approx(0.006, abs=0.001)
    assert error_um(fit) < 1.0


def test_drift_is_estimated_from_four_passes():
    legs = [a_pass(1 if k % 2 == 0 else -1, k, began=20.0 * k, drift=3e-5) for k in range(4)]
    fit = fit_passes(legs)
    assert fit.drift_per_s[0] == pytest.approx(3e-5, abs=1e-5)


def test_a_knock_in_one_pass_is_set_aside():
    def knocked(x, z):
        return z + 0.08 * (np.abs(x - 1200) < 25)

    fit = fit_passes([a_pass(1, 0, change=knocked), a_pass(-1, 1, began=20.0), a_pass(1, 2, began=40.0)])
    assert fit.set_aside >= 5
    assert abs(fit.value(np.array([1200.0]))[0] - height(1200.0)) < 0.003


def test_single_spikes_are_dropped_before_anything_else():
    p = a_pass(1, 0, rate=200.0)
    value = p.value.copy()
    value[500] += 0.5
    cells = gather(PassReadings(p.motion, p.t_s, value))
    assert cells.spikes >= 1
    assert np.abs(cells.value - height(p.motion.position_mm(cells.t_s))).max() < 0.01


def test_more_passes_shrink_the_uncertainty_only_as_much_as_they_do():
    two = fit_passes([a_pass(1, 0), a_pass(-1, 1, began=20.0)])
    six = fit_passes([a_pass(1 if k % 2 == 0 else -1, k, began=20.0 * k) for k in range(6)])
    position = [float(np.sqrt(np.mean(np.diag(f.common_position_covariance(GRID))))) for f in (two, six)]
    assert position[1] == pytest.approx(position[0] / np.sqrt(3), rel=0.45)


def test_play_lowers_summits_in_both_directions_and_is_put_back():
    sweep = simulate(
        5, rail=rough_rail(5, 0.05), rate_hz=100.0, encoder_step_mm=0.1,
        indicator=Indicator(noise_mm=0.0005, play_mm=0.003, direction_offset_mm=0.0, drift_mm_per_min=0.0,
                            wander_mm_per_root_min=0.0),
    )  # fmt: skip
    passes = []
    for sign in (1, -1):
        going = np.gradient(sweep.true_position_mm, sweep.t_s) * sign > 1.0
        t, x = sweep.t_s[going], sweep.true_position_mm[going]
        passes.append(
            PassReadings(
                Motion(sign, t, x, np.full(len(t), 0.1), np.ones(len(t), bool), measured=True), t, -sweep.value[going]
            )
        )
    fit = fit_passes(passes)
    truth = sweep.true_height(GRID)
    plain = np.mean(
        [np.interp(GRID, p.motion.x_mm[:: p.motion.direction], p.value[:: p.motion.direction]) for p in passes], axis=0
    )
    assert np.ptp(plain) < np.ptp(truth) - 0.003
    assert np.ptp(fit.value(GRID)) == pytest.approx(np.ptp(truth), abs=0.002)


def test_a_straight_rail_stays_straight():
    flat = Rail(np.array([-2000.0, 6000.0]), np.zeros(2))
    sweep = simulate(1, rail=flat, encoder_step_mm=0.1, hand=Hand())
    going = np.gradient(sweep.true_position_mm, sweep.t_s) > 1.0
    t, x = sweep.t_s[going], sweep.true_position_mm[going]
    motion = Motion(1, t, x, np.full(len(t), 0.1), np.ones(len(t), bool), measured=True)
    fit = fit_passes([PassReadings(motion, t, -sweep.value[going])])
    assert np.ptp(fit.value(GRID)) < 0.003


@pytest.mark.parametrize("count", [0, 1, 3])
def test_too_little_is_said(count):
    p = a_pass()
    with pytest.raises(NothingToFit, match="4 readings"):
        fit_passes([PassReadings(p.motion, p.t_s[:count], p.value[:count])])


def test_nothing_finite():
    p = a_pass()
    with pytest.raises(NothingToFit):
        fit_passes([PassReadings(p.motion, p.t_s, np.full(len(p.t_s), np.nan))])


def test_lift_and_scale_of_the_readings_lift_and_scale_the_profile():
    passes = [a_pass(1, 0), a_pass(-1, 1, began=20.0)]
    moved = [PassReadings(p.motion, p.t_s, p.value + 0.5) for p in passes]
    assert fit_passes(moved).value(GRID) == pytest.approx(fit_passes(passes).value(GRID) + 0.5, abs=3e-5)


def test_a_cubic_spline_is_its_own_interpolant():
    spline = Spline.over(0.0, 900.0, 100.0)
    x = np.arange(0.0, 900.1, 4.5)
    cubic = 1e-9 * (x - 300) ** 3 + 1e-6 * x**2
    coefficients = np.asarray(np.linalg.lstsq(spline.basis(x), cubic, rcond=None)[0], float)
    assert spline.value(coefficients, x) == pytest.approx(cubic, abs=1e-12)
    slope = 3e-9 * (x - 300) ** 2 + 2e-6 * x
    assert spline.value(coefficients, x, 1) == pytest.approx(slope, abs=1e-11)
    line = np.linalg.lstsq(spline.basis(x), 0.1 + 2e-5 * x, rcond=None)[0]
    assert line @ spline.roughness() @ line == pytest.approx(0.0, abs=1e-15)
    assert spline.basis(x).sum(axis=1) == pytest.approx(np.ones(len(x)))

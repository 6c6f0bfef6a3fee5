"""Regression and extremes, against published figures."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.uncertainty import (
    MAD_TO_SIGMA,
    extremes,
    least_squares,
    line_with_both_errors,
    mean_with_uncertainty,
    peak_to_valley,
    robust_scale,
    smooth_covariance,
)

DATA = Path(__file__).parent.parent / "data"


def columns(name):
    with (DATA / name).open() as file:
        rows = list(csv.DictReader(file))
    return {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}


def test_type_a_evaluation_of_twenty_temperatures():
    # GUM (JCGM 100:2008) 4.4.3; data from memory, they reproduce all three published figures.
    t = np.array(
        [
            "96.90",
            "98.18",
            "98.25",
            "98.61",
            "99.03",
            "99.49",
            "99.56",
            "99.74",
            "99.89",
            "100.07",
            "100.33",
            "100.42",
            "100.68",
            "100.95",
            "101.11",
            "101.20",
            "101.57",
            "101.84",
            "102.36",
            "102.72",
        ],
        float,
    )
    fit = least_squares(np.ones((20, 1)), t)
    assert fit.coefficients[0] == pytest.approx(100.145, abs=6e-4)
    assert fit.residual_deviation == pytest.approx(1.489, abs=6e-4)
    assert np.sqrt(fit.covariance[0, 0]) == pytest.approx(0.333, abs=6e-4)


def test_the_calibration_line_of_the_gum():
    # GUM (JCGM 100:2008) H.3, data and results from memory.
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
    fit = least_squares(np.stack([np.ones_like(t), t - 20], axis=1), b)
    u = np.sqrt(np.diag(fit.covariance))
    assert fit.coefficients == pytest.approx([-0.1712, 0.00218], abs=6e-5)
    assert u == pytest.approx([0.0029, 0.00067], abs=6e-5)
    assert fit.covariance[0, 1] / u.prod() == pytest.approx(-0.930, abs=6e-4)
    assert fit.residual_deviation == pytest.approx(0.0035, abs=6e-5)
    at_30 = np.array([1.0, 10.0])
    assert at_30 @ fit.coefficients == pytest.approx(-0.1494, abs=6e-5)
    assert np.sqrt(at_30 @ fit.covariance @ at_30) == pytest.approx(0.0041, abs=6e-5)


# NIST Statistical Reference Datasets, linear regression: certified values (Longley's from memory).
def test_nist_norris():
    d = columns("nist_norris.csv")
    fit = least_squares(np.stack([np.ones_like(d["x"]), d["x"]], axis=1), d["y"])
    assert fit.coefficients == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-11)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx([0.232818234301152, 0.429796848199937e-3], rel=1e-10)
    assert fit.residual_deviation == pytest.approx(0.884796396144373, rel=1e-11)


def test_nist_pontius():
    d = columns("nist_pontius.csv")
    fit = least_squares(np.stack([d["x"] ** k for k in range(3)], axis=1), d["y"])
    certified = [0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14]
    deviations = [0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16]
    for k in range(3):
        assert fit.coefficients[k] == pytest.approx(certified[k], rel=1e-9)
        assert np.sqrt(fit.covariance[k, k]) == pytest.approx(deviations[k], rel=1e-9)


def test_nist_noint1():
    d = columns("nist_noint1.csv")
    fit = least_squares(d["x"][:, None], d["y"])
    assert fit.coefficients[0] == pytest.approx(2.07438016528926, rel=1e-13)
    assert np.sqrt(fit.covariance[0, 0]) == pytest.approx(0.165289256198347e-01, rel=1e-12)


def test_nist_wampler():
    d = columns("nist_wampler.csv")
    design = np.stack([d["x"] ** k for k in range(6)], axis=1)
    assert least_squares(design, d["y_wampler1"]).coefficients == pytest.approx(np.ones(6), rel=1e-7)
    assert least_squares(design, d["y_wampler2"]).coefficients == pytest.approx(0.1 ** np.arange(6.0), rel=1e-7)
    fit = least_squares(design, d["y_wampler3"])
    assert fit.coefficients == pytest.approx(np.ones(6), rel=1e-6)
    assert np.sqrt(fit.covariance[0, 0]) == pytest.approx(2152.32624678170, rel=1e-9)


def test_nist_longley():
    d = columns("nist_longley.csv")
    design = np.stack([np.ones(16), *[d[f"x{k}"] for k in range(1, 7)]], axis=1)
    fit = least_squares(design, d["y"])
    assert fit.coefficients[0] == pytest.approx(-3482258.63459582, rel=1e-8)
    assert fit.coefficients[6] == pytest.approx(1829.15146461355, rel=1e-8)
    assert fit.residual_deviation == pytest.approx(304.854073561965, rel=1e-8)


def test_robust_scale_of_published_values():
    # 1/Phi^-1(3/4); the ten values with median 149.5 and MAD 5.5 are a published example.
    assert pytest.approx(1.482602218505602, abs=1e-15) == MAD_TO_SIGMA
    values = np.array([145, 157, 183, 151, 143, 147, 153, 163, 130, 148], float)
    assert robust_scale(values) == pytest.approx(5.5 * 1.4826, abs=1e-3)
    assert robust_scale(np.arange(1.0, 10.0)) == pytest.approx(2.9652, abs=1e-4)  # R's mad(1:9), from memory
    # Analytical Methods Committee, brief No. 6: 1.04 (from memory); the plain deviation is 1.9.
    seven = np.array([4.5, 4.9, 5.6, 4.2, 6.2, 5.2, 9.9])
    assert robust_scale(seven) == pytest.approx(1.04, abs=5e-3)
    assert np.std(seven, ddof=1) > 1.8


def test_a_line_with_both_errors_is_york_s():
    # York et al., Am. J. Phys. 72 (2004) 367, Table II (Pearson's data with York's weights).
    d = columns("pearson_york.csv")
    intercept, slope = line_with_both_errors(d["x"], d["y"], d["w_x"] ** -0.5, d["w_y"] ** -0.5)
    assert intercept == pytest.approx(5.47991022403, abs=1e-10)
    assert slope == pytest.approx(-0.48053340745, abs=1e-10)
    # Pearson 1901, all weights alike (orthogonal distances): 5.784, -0.5456.
    ones = np.ones(10)
    assert line_with_both_errors(d["x"], d["y"], ones, ones) == pytest.approx((5.784044, -0.545561), abs=1e-6)
    # Taking the positions for exact gives another slope.
    assert abs(np.polyfit(d["x"], d["y"], 1)[0] + 0.545561) > 0.005


def test_batches_one_after_the_other_give_what_all_at_once_gives():
    # Recursive least squares equals batch least squares (derived): information adds.
    d = columns("nist_norris.csv")
    design = np.stack([np.ones_like(d["x"]), d["x"]], axis=1)
    information = sum(design[k : k + 9].T @ design[k : k + 9] for k in range(0, 36, 9))
    vector = sum(design[k : k + 9].T @ d["y"][k : k + 9] for k in range(0, 36, 9))
    assert np.linalg.solve(information, vector) == pytest.approx(least_squares(design, d["y"]).coefficients, rel=1e-9)


def test_too_few_values_are_refused():
    with pytest.raises(ValueError, match="cannot fix"):
        least_squares(np.ones((1, 2)), np.ones(1))


X = np.arange(0.0, 1001.0, 10.0)


def test_the_highest_minus_the_lowest_of_noise_is_not_a_height():
    rng = np.random.default_rng(0)
    naive, corrected = [], []
    for _ in range(40):
        noisy = 0.05 * np.sin(X / 300) + 0.004 * rng.standard_normal(len(X))
        naive.append(np.ptp(noisy))
        corrected.append(peak_to_valley(noisy, 0.004**2 * np.eye(len(X)))[0])
    truth = np.ptp(0.05 * np.sin(X / 300))
    assert np.mean(naive) - truth > 0.008
    assert abs(np.mean(corrected) - truth) < 0.75 * (np.mean(naive) - truth)


def test_readings_made_flat_over_an_unknown_form_run_as_far_as_the_form_does():
    """Five flat heights over five unlike places of standard deviation s: the mean range of five normal values is
    2.326 s and its deviation 0.864 s (factors d2 and d3 of control charts for n = 5, ISO 7870-2:2013, annex, from
    memory). Taken for noise, the same readings would be called flatter still.
    """
    flat, form = np.zeros(5), 0.008**2 * np.eye(5)
    hidden, uncertainty = peak_to_valley(flat, form, bias_share=-1.0)
    assert hidden == pytest.approx(2.326 * 0.008, rel=0.03)
    assert uncertainty > 2 * 0.864 * 0.008
    assert peak_to_valley(flat, form)[0] == 0.0


def test_errors_common_to_all_stations_do_not_average_away():
    apart = mean_with_uncertainty(X, np.zeros_like(X), 0.001**2 * np.eye(len(X)))[1]
    common = mean_with_uncertainty(X, np.zeros_like(X), np.full((len(X), len(X)), 0.001**2))[1]
    assert common == pytest.approx(0.002)
    assert apart < 0.25 * common


def test_a_common_error_has_no_part_in_the_shape():
    value = 0.05 * np.sin(X / 300)
    height, uncertainty = peak_to_valley(value, np.full((len(X), len(X)), 0.01**2))
    assert height == pytest.approx(np.ptp(value), abs=1e-9)
    assert uncertainty < 1e-7


def test_without_a_zero_there_is_no_mean():
    found = extremes(X, np.ones_like(X), np.eye(len(X)) * 1e-8, zero_known=False)
    assert found.mean is None and found.mean_uncertainty is None


def test_nothing_and_one_station():
    assert np.isnan(extremes(np.zeros(0), np.zeros(0), np.zeros((0, 0))).peak_to_valley)
    assert extremes(np.zeros(1), np.zeros(1), np.eye(1)).peak_to_valley == 0.0


@given(st.floats(-1, 1), st.floats(0.2, 5))
@settings(max_examples=10, deadline=None)
def test_lift_and_scale(lift, scale):
    value, covariance = 0.05 * np.sin(X / 200), smooth_covariance(X, 0.002, 100.0)
    base, other = extremes(X, value, covariance), extremes(X, scale * value + lift, scale**2 * covariance)
    assert other.peak_to_valley == pytest.approx(scale * base.peak_to_valley, rel=1e-6)
    assert other.peak_to_valley_uncertainty == pytest.approx(scale * base.peak_to_valley_uncertainty, rel=1e-6)
    assert other.mean == pytest.approx(scale * (base.mean or 0.0) + lift, abs=1e-9)

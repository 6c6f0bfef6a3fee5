"""Spots that stand clear of the noise, in one sentence each; ends-only passes; a straight rail has none."""

import numpy as np
import pytest

from analysis.ends import NoMotion, free_rest, motions_from_ends
from analysis.results import Profile
from analysis.spots import find_spots
from fixtures.sweeps import Layout, simulate

X = np.arange(0.0, 2601.0, 10.0)


def profile(value, u=0.001, alike_mm=60.0):
    apart = (X[:, None] - X[None, :]) / alike_mm
    covariance = u**2 * np.exp(-0.5 * apart**2)
    return Profile("height", "mm", X, value, np.full(len(X), 2 * u), covariance, True, ())


def drawn(seed, u=0.001, alike_mm=60.0):
    apart = (X[:, None] - X[None, :]) / alike_mm
    scale, vectors = np.linalg.eigh(np.exp(-0.5 * apart**2))
    noise = np.random.default_rng(seed).standard_normal(len(X))
    return vectors @ (np.sqrt(np.maximum(scale, 0)) * noise) * u


def test_noise_alone_has_at_most_two_spots_in_a_hundred_rails():
    found = sum(len(find_spots(profile(drawn(seed, 0.003), 0.003))) for seed in range(100))
    extremes = sum(np.ptp(drawn(seed, 0.003)) > 0.006 for seed in range(100))
    assert found <= 2
    assert extremes > 95  # "highest and lowest" would name two places on nearly every one of them


def test_a_hollow_is_said_with_its_extent():
    hollow = -0.06 * np.exp(-0.5 * ((X - 1060) / 150) ** 2)
    spot = find_spots(profile(hollow, 0.003))[0]
    assert spot.kind == "low" and spot.x_mm == pytest.approx(1060, abs=10)
    assert spot.from_mm == pytest.approx(900, abs=60) and spot.to_mm == pytest.approx(1220, abs=60)
    assert spot.sentence.startswith("low by 0.0") and "deepest at 1060" in spot.sentence


def test_two_humps_are_two_spots_and_a_shoulder_is_none():
    humps = 0.05 * (np.exp(-0.5 * ((X - 700) / 120) ** 2) + np.exp(-0.5 * ((X - 1900) / 120) ** 2))
    high = [s for s in find_spots(profile(humps)) if s.kind == "high"]
    assert sorted(round(s.x_mm, -1) for s in high) == [700, 1900]
    shoulder = 0.05 * np.exp(-0.5 * ((X - 700) / 120) ** 2) + 0.0005 * np.exp(-0.5 * ((X - 800) / 20) ** 2)
    assert len([s for s in find_spots(profile(shoulder)) if s.kind == "high"]) == 1


def test_a_tilt_is_no_spot():
    assert find_spots(profile(1e-4 * X)) == ()


def test_passes_are_seen_from_the_edges_alone():
    layout = Layout(kind="fixed")
    for says_no_value in (True, False):
        sweep = simulate(2, layout=layout, says_no_value=says_no_value)
        motions = motions_from_ends(sweep.t_s, sweep.value, sweep.no_value_t_s, 2, [(500.0, 1700.0)], (0.0, 2600.0))
        assert [m.direction for m in motions] == [1, -1]
        for m in motions:
            nearest = [int(np.argmin(np.abs(sweep.t_s - when))) for when in m.t_s]
            assert sweep.true_position_mm[nearest] == pytest.approx(m.x_mm, abs=8.0)


def test_the_free_rest_is_where_a_crowd_of_readings_stands_apart():
    z = np.concatenate([np.full(50, -0.6), 0.1 + 0.02 * np.sin(np.arange(300) / 30), np.full(50, -0.6)])
    rest = free_rest(z)
    assert rest is not None and rest.value == pytest.approx(-0.6)
    assert free_rest(0.1 * np.sin(np.arange(300) / 30)) is None
    assert free_rest(np.linspace(0, 1, 300)) is None
    assert free_rest(np.zeros(3)) is None


def test_a_reading_that_never_changes_shows_no_motion():
    t = np.arange(0, 20, 0.02)
    with pytest.raises(NoMotion, match="never changed"):
        motions_from_ends(t, np.zeros(len(t)), np.zeros(0), 2, [(0.0, 2600.0)], (0.0, 2600.0))
    with pytest.raises(NoMotion, match="2 readings"):
        motions_from_ends(t[:2], np.zeros(2), np.zeros(0), 2, [(0.0, 2600.0)], (0.0, 2600.0))

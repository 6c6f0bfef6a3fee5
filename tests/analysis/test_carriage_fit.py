"""The carriage on its rail: play, a parked reading that comes back, and what repeats with a roller's turn."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lombscargle

from analysis.carriage_fit import once_per_turn, play, play_in_recording, repeat, worst

X = np.arange(500.0, 1700.0, 6.0)


def rail(rng, x=X):
    """A rail's own height: a long bow and surface waves of 150 to 1200 mm, 5 um (invented)."""
    length = np.exp(rng.uniform(np.log(150.0), np.log(1200.0), 6))
    waves = length * rng.uniform(0.5, 1.5, 6)
    surface = np.sum(waves * np.sin(2 * np.pi * x[:, None] / length + rng.uniform(0, 6, 6)), axis=1)
    return 0.005 * surface / np.std(surface) + 0.03 * np.sin(2 * np.pi * x / 2200.0 + 1.0)


def flat_spot(period, depth, x=X, bearings=(-320.0, 357.0)):
    """A roller with a flat under each of two bearings: the carriage drops by half of it as each rolls over its own."""
    turned = ((x[:, None] + np.array(bearings)) % period) / period
    return -0.5 * depth * np.exp(-0.5 * ((turned - 0.5) / 0.06) ** 2).sum(axis=1)


def test_play_is_lifted_less_pressed_whatever_sign_the_display_has():
    first = play("infeed", np.array([0.131]), np.array([0.118]), 0.001)
    assert first.play_mm == pytest.approx(0.013)
    assert first.uncertainty_mm == pytest.approx(2 * np.sqrt(2) * 0.001)
    turned = play("infeed", np.array([-0.131]), np.array([-0.118]), 0.001)
    assert turned.play_mm == pytest.approx(0.013)


def test_several_tries_bring_their_scatter_with_them():
    found = play("outfeed", np.array([0.130, 0.140]), np.array([0.120, 0.120]), 0.0)
    assert found.play_mm == pytest.approx(0.015)
    assert found.uncertainty_mm == pytest.approx(2 * np.std([0.010, 0.020], ddof=1) / np.sqrt(2))


def test_readings_that_do_not_pair_are_refused_and_none_has_no_worst():
    with pytest.raises(ValueError, match="2 readings lifted and 1 pressed"):
        play("infeed", np.array([1.0, 2.0]), np.array([1.0]), 0.001)
    with pytest.raises(ValueError, match="No place"):
        worst([])


def test_the_worst_place_counts():
    places = [play(name, np.array([high]), np.array([0.0]), 0.001) for name, high in (("a", 0.01), ("b", 0.03))]
    assert worst(places).place == "b"


def test_play_is_read_from_a_recording_of_lifting_and_pressing():
    rng = np.random.default_rng(1)
    held = np.concatenate([np.full(100, level) for level in (0.100, 0.118, 0.100, 0.119, 0.101)])
    t_s = np.arange(len(held)) / 50.0
    found = play_in_recording("infeed", t_s, held + rng.normal(0, 0.0004, len(held)), 0.001)
    assert found.play_mm == pytest.approx(0.018, abs=0.0015)
    assert found.uncertainty_mm < 0.004 and found.times == 2


def test_a_recording_in_which_nothing_is_held_is_refused():
    t_s = np.arange(100) / 50.0
    with pytest.raises(ValueError, match="held stretches"):
        play_in_recording("infeed", t_s, np.sin(20.0 * t_s), 0.001)


def test_parked_readings_are_a_type_a_evaluation():
    """GUM (JCGM 100:2008) 4.4.3: twenty temperatures, mean 100.145, s 1.489, s / sqrt(20) 0.333."""
    table = [96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68, 100.95]
    table += [101.11, 101.20, 101.57, 101.84, 102.36, 102.72]
    found = repeat(np.array(table))
    assert found.mean_mm == pytest.approx(100.145, abs=5e-4)
    assert found.deviation_mm == pytest.approx(1.489, abs=5e-4)
    assert found.mean_uncertainty_mm == pytest.approx(2 * 0.333, abs=2e-3)


def test_a_stand_that_settles_is_told_from_scatter():
    """GUM H.3: the line through its eleven corrections falls by 0.00218 a degree; here per reading."""
    b = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    found = repeat(b)
    assert found.drift_mm == pytest.approx(10 * np.polyfit(np.arange(11), b, 1)[0])
    assert abs(found.drift_mm) > found.drift_uncertainty_mm
    rng = np.random.default_rng(3)
    quiet = [repeat(rng.normal(0, 0.001, 10)) for _ in range(200)]
    assert np.mean([abs(q.drift_mm) > q.drift_uncertainty_mm for q in quiet]) < 0.12
    with pytest.raises(ValueError, match="three times"):
        repeat(np.array([0.1, 0.1]))


@pytest.mark.parametrize("diameter", [30.0, 40.0, 52.0])
def test_a_flat_on_a_roller_of_known_diameter_is_seen_with_its_period(diameter):
    rng = np.random.default_rng(int(diameter))
    z = rail(rng) + flat_spot(np.pi * diameter, 0.02) + rng.normal(0, 0.0007, len(X))
    found = once_per_turn(X, z, 0.0007, diameter)
    assert found.seen
    assert min(abs(found.diameters_mm[0] / diameter - 1), abs(found.diameters_mm[1] / diameter - 1)) < 0.06


def test_without_a_diameter_it_is_seldom_wrong_and_mostly_found():
    """The naive way, the highest peak of a periodogram, nearly always names one of the rail's own waves."""
    rng = np.random.default_rng(11)
    period, found, false, naive = np.pi * 40.0, [], [], []
    for _ in range(12):
        clean = rail(rng) + rng.normal(0, 0.0007, len(X))
        struck = clean + flat_spot(period, 0.015)
        found.append(once_per_turn(X, struck, 0.0007))
        false.append(once_per_turn(X, clean, 0.0007).seen)
        tried = np.linspace(60.0, 480.0, 300)
        power = lombscargle(X, struck - np.polyval(np.polyfit(X, struck, 2), X), 2 * np.pi / tried)
        naive.append(abs(tried[np.argmax(power)] / period - 1) < 0.05)
    right = [each.seen and abs(each.period_mm / period - 1) < 0.04 for each in found]
    assert not any(each.seen and not good for each, good in zip(found, right, strict=True))
    assert sum(right) >= 7 and sum(false) <= 2 and sum(naive) <= 4


def test_a_stretch_too_short_for_a_turn_says_so():
    with pytest.raises(ValueError, match="must turn twice"):
        once_per_turn(X[:12], np.zeros(12), 0.001)
    with pytest.raises(ValueError, match="turns once in"):
        once_per_turn(X, np.zeros(len(X)) + np.sin(X), 0.001, 400.0)

"""An encoder's track is believed only where it can be the carriage's."""

import numpy as np
import pytest
from scipy.optimize import isotonic_regression

from analysis.encoder import BadTrack, motions_from_track

STROKE = (0.0, 2600.0)


def track(passes=2, rate=50.0):
    legs = []
    for k in range(passes):
        way = np.concatenate([np.zeros(40), np.arange(0, 2600.1, 150 / rate), np.full(40, 2600.0)])
        legs.append(way if k % 2 == 0 else 2600 - way)
    x = np.concatenate(legs)
    return np.arange(len(x)) / rate, x


def test_two_passes_with_the_rests_cut_off():
    t, x = track()
    found = motions_from_track(t, x, 0.0, STROKE)
    assert [m.direction for m in found.motions] == [1, -1]
    for m in found.motions:
        assert m.position_mm(t[(t > m.t_s[0]) & (t < m.t_s[-1])]) == pytest.approx(
            x[(t > m.t_s[0]) & (t < m.t_s[-1])], abs=2.5
        )
    assert found.warnings == ()


def test_counting_the_wrong_way_is_refused_and_repaired_only_with_consent():
    t, x = track()
    with pytest.raises(BadTrack, match="wrong way"):
        motions_from_track(t, -x, 0.0, STROKE)
    found = motions_from_track(t, -x, 0.0, STROKE, accept_turned=True)
    assert [m.direction for m in found.motions] == [1, -1]
    assert "as agreed" in found.warnings[0]


def test_counts_of_another_scale_are_refused():
    t, x = track()
    with pytest.raises(BadTrack, match="counts per mm"):
        motions_from_track(t, 10 * x, 0.0, STROKE)


def test_a_slip_is_seen_on_the_return_and_widens_the_uncertainty():
    t, x = track()
    x = x - 30.0 * (t > 0.7 * t[-1])
    found = motions_from_track(t, x, 0.0, STROKE)
    assert found.slip_mm == pytest.approx(30.0, abs=3.0)
    assert any("slipped" in note for note in found.warnings)
    assert found.motions[0].standard_uncertainty_mm[0] > 10.0


def test_a_glitch_is_left_out():
    t, x = track()
    x[100] = 2000.0
    found = motions_from_track(t, x, 0.0, STROKE)
    assert "1 positions jumped" in found.warnings[0]
    assert found.motions[0].position_mm(t[100:101])[0] < 400


def test_no_position_and_no_motion():
    t, x = track()
    with pytest.raises(BadTrack, match="Only 0"):
        motions_from_track(t, np.full(len(t), np.nan), 0.0, STROKE)
    with pytest.raises(BadTrack, match="moved by 0 mm"):
        motions_from_track(t, 0 * x, 0.0, STROKE)


def test_flutter_of_the_counter_never_runs_the_carriage_back():
    t, x = track()
    flutter = x + np.random.default_rng(0).integers(-3, 4, len(x))
    found = motions_from_track(t, flutter, 0.0, STROKE)
    out = found.motions[0]
    assert np.diff(out.position_mm(np.linspace(out.t_s[0], out.t_s[-1], 3000))).min() >= 0


def test_the_isotonic_regression_behind_it():
    # Input of the R help page of isoreg; result by pooling neighbours by hand.
    got = isotonic_regression([1, 0, 4, 3, 3, 5, 4, 2, 0]).x
    assert got == pytest.approx([0.5, 0.5, 3, 3, 3, 3, 3, 3, 3])
    got = isotonic_regression([1, 0, 4, 3, 3, 5, 4, 2, 3]).x
    assert got == pytest.approx([0.5, 0.5, 10 / 3, 10 / 3, 10 / 3, 3.5, 3.5, 3.5, 3.5])
    got = isotonic_regression([5, 9, 1, 2, 5, 6, 7, 8, 3, 8]).x
    assert got == pytest.approx([4.25] * 4 + [5] + [6] * 4 + [8])

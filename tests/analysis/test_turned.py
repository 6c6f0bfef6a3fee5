"""Facts about a turn by hand with the readings streaming: uneven pace, slots, wander, a bearing of one's own.

The stream is ``fixtures.blade``'s: a hand that turns in jerks, a mark that is pressed late, an indicator that rounds.
"""

import numpy as np
import pytest

from analysis.circle import run_out
from analysis.turned import angles_from_marks, one_turn, total_only
from fixtures.blade import Waves, turned_by_hand

SHAPE = Waves(((0.040, 0.7), (0.006, 2.0), (0.002, 1.0)))


def streamed(seed, **more):
    told = turned_by_hand(SHAPE.at, np.random.default_rng(seed), turns=4, **more)
    return one_turn(angles_from_marks(told.t_s, told.mark_t_s), told.value_mm)


def test_the_angle_grows_by_a_turn_from_mark_to_mark_and_is_not_known_outside():
    angles = angles_from_marks(np.array([0.0, 1.0, 2.0, 3.0, 4.0]), np.array([1.0, 3.0]))
    assert angles[1:4] == pytest.approx([0.0, 180.0, 360.0])
    assert np.isnan(angles[[0, 4]]).all()
    quarter = angles_from_marks(np.array([1.0]), np.array([0.0, 1.0, 2.0, 3.0, 4.0]), marks_a_turn=4)
    assert quarter[0] == pytest.approx(90.0)


def test_an_uneven_hand_bends_angles_and_leaves_the_total_reading():
    totals = [streamed(seed).total_mm for seed in range(8)]
    assert totals == pytest.approx([SHAPE.total()] * 8, abs=0.005)


def test_the_highest_of_many_noisy_readings_is_too_high_and_the_waves_are_not():
    told = turned_by_hand(SHAPE.at, np.random.default_rng(3), turns=4, noise_mm=0.006)
    assert np.ptp(told.value_mm) > SHAPE.total() + 0.015
    found = one_turn(angles_from_marks(told.t_s, told.mark_t_s), told.value_mm)
    assert abs(found.total_mm - SHAPE.total()) <= found.total_uncertainty_mm < 0.015


def test_slots_are_left_out_and_do_not_count_as_run_out():
    found = streamed(5, slots=4)
    assert abs(found.total_mm - SHAPE.total()) < 0.006


def test_a_bearing_that_wanders_is_told_from_the_part():
    assert streamed(6, bearing_mm=0.006).wander_mm > 2.0 * streamed(6, bearing_mm=0.0005).wander_mm


def test_what_is_made_of_the_stream_goes_the_way_of_typed_readings():
    found = streamed(7)
    judged = run_out(found.angles_deg, found.values_mm, 2 * found.standard_uncertainty_mm, found.wander_mm)
    assert judged.total_mm == pytest.approx(found.total_mm, abs=1e-9)
    assert judged.harmonics_mm[0] == pytest.approx(0.040, abs=0.004)


def test_without_marks_the_total_alone_is_known():
    told = turned_by_hand(SHAPE.at, np.random.default_rng(8), turns=4)
    total, doubt = total_only(told.value_mm)
    assert abs(total - SHAPE.total()) <= doubt < 0.01


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (lambda: angles_from_marks(np.arange(5.0), np.array([1.0])), "1 marks are no whole turn; 2 are needed"),
        (lambda: one_turn(np.arange(0.0, 300.0), np.zeros(300)), "No whole turn"),
        (lambda: one_turn(np.arange(0.0, 365.0), np.zeros(365)), "two whole turns"),
        (lambda: one_turn(np.arange(0.0, 1000.0, 60.0), np.zeros(17)), "turn slower"),
        (lambda: total_only(np.zeros(10)), "too few"),
    ],
)
def test_too_little_is_refused_in_words(wrong, says):
    with pytest.raises(ValueError, match=says):
        wrong()

"""The encoder's index: what it says of lost counts, where, and of the zero; the cases a plain count gets wrong."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.encoder import motions_from_track
from analysis.index import Index, checked_by_index

STROKE = (0.0, 2600.0)


def there_and_back(rate_hz=50.0, speed=150.0):
    """(times, true places) of an even push to 2600 mm and back, 1 s at rest at each end."""
    way = STROKE[1] / speed
    corners = np.cumsum([0.0, 1.0, way, 1.0, way, 1.0])
    t = np.arange(0.0, corners[-1], 1.0 / rate_hz)
    return t, np.interp(t, corners, [0.0, 0.0, 2600.0, 2600.0, 0.0, 0.0])


def passes_of(t, place, at_mm, counted):
    """The index at each of ``at_mm``: when the carriage goes by, and the count then."""
    moments = []
    for x in at_mm:
        crossed = np.nonzero(np.diff(np.sign(place - x - 1e-7)) != 0)[0]
        moments += [float(np.interp(x, *sorted_pair(place[i : i + 2], t[i : i + 2]))) for i in crossed]
    when = np.sort(moments)
    return when, np.interp(when, t, counted)


def sorted_pair(x, y):
    order = np.argsort(x)
    return x[order], y[order]


def test_a_count_that_is_right_is_left_alone():
    t, place = there_and_back()
    when, count = passes_of(t, place, [500.0, 1000.0, 1500.0], place)
    checked = checked_by_index(t, place, Index(when, count, every_mm=500.0), 0.0)
    assert checked.notes == ()
    assert np.array_equal(checked.counted_mm, place)
    assert not checked.standard_uncertainty_mm.any()


def test_what_is_lost_between_two_passes_is_put_back_and_named():
    # Hand-worked: 12 mm are lost at 1300 mm on the way out; the index is at 500 mm and at 1500 mm.
    t, place = there_and_back()
    slipped = np.cumsum(np.concatenate([[0.0], np.diff(place)]))
    lost_at = int(np.argmax(place >= 1300.0))
    creep = np.zeros(len(t))
    creep[lost_at : lost_at + 40] = np.linspace(0.0, -12.0, 40)  # not a jump: the wheel skids for a while
    creep[lost_at + 40 :] = -12.0
    slipped = slipped + creep
    when, count = passes_of(t, place, [500.0, 1500.0], slipped)
    checked = checked_by_index(t, slipped, Index(when, count, every_mm=1000.0), 0.0)
    assert len(checked.notes) == 1
    assert "slipped by 12.0 mm" in checked.notes[0]
    before, after = t <= when[0], t >= when[1]
    assert np.allclose(checked.counted_mm[before], place[before], atol=1e-9)
    assert np.allclose(checked.counted_mm[after], place[after], atol=0.1)
    between = ~before & ~after
    off = np.abs(checked.counted_mm - place)[between]
    assert off.max() > 3.0  # nobody knows where it was lost ...
    assert np.all(off <= 2.5 * checked.standard_uncertainty_mm[between] + 2.0)  # ... and that is said


def test_a_loss_in_one_jump_is_put_back_where_the_count_jumps():
    t, place = there_and_back()
    jump = np.where(t >= 12.0, -30.0, 0.0)
    when, count = passes_of(t, place, [200.0, 2400.0], place + jump)
    checked = checked_by_index(t, place + jump, Index(when, count, every_mm=2200.0), 0.0)
    assert np.allclose(checked.counted_mm, place, atol=1.0)
    assert not checked.standard_uncertainty_mm.any()


def test_the_return_to_the_start_misses_what_the_index_sees():
    # Lost on the way out and again on the way back: the count returns to nothing, and the far half is 20 mm off.
    t, place = there_and_back()
    lost = np.interp(place, [1290.0, 1310.0], [0.0, -20.0])
    slipped = place + lost
    plain = motions_from_track(t, slipped, 0.0, STROKE)
    assert plain.slip_mm == 0.0
    assert plain.warnings == ()
    when, count = passes_of(t, place, [650.0, 1950.0], slipped)
    helped = motions_from_track(t, slipped, 0.0, STROKE, index=Index(when, count, every_mm=1300.0))
    far = (t > 14.0) & (t < 17.0)
    there = helped.motions[0].position_mm(t[far])
    assert np.abs(there - place[far]).max() < 0.5
    assert np.abs(plain.motions[0].position_mm(t[far]) - place[far]).max() > 15.0
    u = helped.motions[0].covariance_mm2(np.array([3.0, 10.0]))
    assert u[1, 1] > 20.0 * u[0, 0]  # where it slipped is not known
    assert any("slipped by 20.0 mm" in note for note in helped.warnings)


@pytest.mark.parametrize("width", [0.1, 0.5])
def test_the_two_sides_of_an_index_are_no_loss(width):
    t, place = there_and_back()
    when, count = passes_of(t, place, [900.0], place)
    count = count + np.array([0.0, width])  # on the way back it is met at its other side
    assert checked_by_index(t, place, Index(when, count), 0.0).notes == ()


def test_the_place_of_the_index_sets_the_zero():
    t, place = there_and_back()
    counted = place  # it counts from where it stood, which was at 37 mm and not at the end
    when, count = passes_of(t, place, [1000.0], counted)
    checked = checked_by_index(t, counted, Index(when, count, at_mm=1037.0), 0.0)
    assert checked.at_zero_mm == pytest.approx(37.0, abs=0.01)
    assert "zero is at 37.0 mm and not at 0.0 mm" in checked.notes[0]


def test_of_a_wheel_the_nearest_turn_is_meant():
    t, place = there_and_back()
    when, count = passes_of(t, place, [197.0, 397.0, 597.0], place)
    checked = checked_by_index(t, place, Index(when, count, every_mm=200.0, at_mm=1000.0), 0.0)
    assert checked.at_zero_mm == pytest.approx(3.0, abs=0.01)


def test_a_stray_pulse_changes_nothing():
    t, place = there_and_back()
    when, count = passes_of(t, place, [500.0, 1000.0, 1500.0], place)
    when, count = np.insert(when, 2, (when[1] + when[2]) / 2), np.insert(count, 2, 1180.0)
    checked = checked_by_index(t, place, Index(when, count, every_mm=500.0), 0.0)
    assert np.array_equal(checked.counted_mm, place)
    assert "do not fit those around them" in checked.notes[0]


def test_many_losses_are_counted_and_not_all_told():
    t, place = there_and_back()
    counted = place * 1.01  # the counts per mm are wrong: each turn of 200 mm counts 202
    when, count = passes_of(t, place, np.arange(200.0, 2600.0, 200.0), counted)
    checked = checked_by_index(t, counted, Index(when, count, every_mm=200.0), 0.0)
    assert len(checked.notes) == 4
    assert "counts_per_mm or index_every_mm is wrong" in checked.notes[-1]


def test_no_pass_of_the_index_says_nothing():
    t, place = there_and_back()
    nothing = np.zeros(0)
    checked = checked_by_index(t, place, Index(nothing, nothing), 5.0)
    assert checked.at_zero_mm == 5.0
    assert checked.notes == ()


def test_several_indexes_of_unknown_spacing_are_not_used():
    t, place = there_and_back()
    when, count = passes_of(t, place, np.arange(200.0, 2600.0, 200.0), place)
    checked = checked_by_index(t, place, Index(when, count), 0.0)
    assert np.array_equal(checked.counted_mm, place)
    assert "200 mm apart" in checked.notes[0]
    assert "index_every_mm" in checked.notes[0]

"""Where the carriage is between two marks, as well as can be known."""

import numpy as np

from logger.tui.scale import Along
from logger.tui.trace import Trace


def test_a_stretch_is_laid_out_between_its_two_marks():
    trace = Trace(0.0, 1000.0, (0.0, 1000.0), 1)
    trace.mark(0.0)
    t = np.linspace(0.1, 9.9, 99)
    trace.add(t, t * 100)  # constant speed: height equals x
    trace.mark(10.0)
    columns = trace.columns(Along(0.0, 1000.0, 10))
    assert np.allclose(columns, np.arange(50.0, 1000.0, 100.0), atol=12)


def test_until_the_next_mark_it_is_held_back_at_the_next_station():
    trace = Trace(0.0, 2000.0, (0.0, 500.0, 1000.0), 1)
    trace.mark(0.0)
    trace.mark(1.0)
    trace.add(np.array([30.0]), np.array([0.1]))
    assert trace.here_mm == 1000.0


def test_the_second_pass_runs_the_other_way():
    trace = Trace(0.0, 1000.0, (0.0, 1000.0), 2)
    for t in (0.0, 5.0, 8.0):
        trace.mark(t)
    assert len(trace.passes) == 2
    assert trace.here_mm == 1000.0
    assert trace.now.direction == -1
    assert trace.next_station() == 0.0


def test_positions_of_the_line_are_used_as_they_are():
    trace = Trace(0.0, 1000.0, (), 1)
    trace.add(np.array([0.0, 1.0]), np.array([0.2, 0.4]), np.array([120.0, 720.0]))
    columns = trace.columns(Along(0.0, 1000.0, 10))
    assert columns[1] == 0.2
    assert columns[7] == 0.4
    assert trace.here_mm == 720.0


def test_where_the_set_up_reads_nothing_nothing_is_drawn():
    trace = Trace(0.0, 1000.0, (), 1, ((500.0, 1000.0),))
    trace.add(np.array([0.0, 1.0]), np.array([-2.3, 0.1]), np.array([120.0, 720.0]))
    columns = trace.columns(Along(0.0, 1000.0, 10))
    assert np.isnan(columns[1])
    assert columns[7] == 0.1


def test_a_tip_that_leaves_the_edge_late_is_not_drawn_as_a_hollow():
    """Marks late by 90 mm: the free rest of the tip lies where the carriage should still be read."""
    trace = Trace(0.0, 2600.0, (), 1, ((500.0, 1700.0),))
    x = np.arange(400.0, 1800.0, 4.0)
    trace.add(x / 150.0, np.where((x > 590.0) & (x < 1610.0), 0.1, -1.5), x)
    columns = trace.columns(Along(0.0, 2600.0, 65))
    assert np.nanmin(columns) > 0.09
    assert np.isfinite(columns[16:40]).all()


def test_a_hollow_well_inside_stays_however_deep():
    trace = Trace(0.0, 2600.0, (), 1, ((500.0, 1700.0),))
    x = np.arange(500.0, 1700.0, 4.0)
    trace.add(x / 150.0, np.where((x > 1000.0) & (x < 1100.0), -1.5, 0.1), x)
    assert np.nanmin(trace.columns(Along(0.0, 2600.0, 65))) == -1.5


def test_the_number_is_no_height_before_the_first_mark_nor_where_the_tip_is_on_nothing():
    trace = Trace(0.0, 2600.0, (0.0, 2600.0), 1, ((500.0, 1700.0),))
    assert trace.unread() == "before the first mark"
    trace.add(np.array([0.0]), np.array([-2.3]), np.array([20.0]))
    assert trace.unread() == "the tip is on nothing here"
    trace.add(np.array([1.0]), np.array([0.1]), np.array([900.0]))
    assert trace.unread() == ""


def test_a_mark_taken_back_opens_again_what_it_laid_out():
    trace = Trace(0.0, 1000.0, (0.0, 500.0, 1000.0), 2)
    trace.mark(0.0)
    t = np.linspace(0.1, 9.9, 99)
    trace.add(t[:30], t[:30] * 100)
    trace.mark(3.0)  # pressed by mistake on the way
    assert trace.take_back()
    assert trace.next_station() == 500.0
    trace.add(t[30:50], t[30:50] * 100)
    trace.mark(5.0)
    trace.add(t[50:], t[50:] * 100)
    trace.mark(10.0)
    columns = trace.columns(Along(0.0, 1000.0, 10))
    assert np.allclose(columns, np.arange(50.0, 1000.0, 100.0), atol=12)


def test_marks_are_taken_back_over_the_turn_one_by_one():
    trace = Trace(0.0, 1000.0, (0.0, 1000.0), 2)
    for t in (0.0, 5.0, 8.0):
        trace.mark(t)
    assert [trace.take_back() for _ in range(4)] == [True, True, True, False]
    assert len(trace.passes) == 1
    assert trace.next_station() == 0.0

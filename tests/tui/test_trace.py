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

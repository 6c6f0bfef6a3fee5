"""How fast to push, what is still unseen, which stations to sweep again."""

import numpy as np

from logger.tui.guidance import pace_mm_per_s, pace_words, stations_round, stretch_words
from logger.tui.tour import STEPS
from logger.tui.trace import Trace

STATIONS = (0.0, 500.0, 1000.0, 1500.0, 2000.0, 2600.0)


def test_a_slow_instrument_wants_a_slow_push():
    assert pace_mm_per_s(100.0) == 150.0
    assert pace_mm_per_s(10.0) == 40.0
    assert pace_mm_per_s(2.0) == 20.0
    assert pace_mm_per_s(None) == 150.0


def test_the_pace_is_told_with_what_it_is_now_only_when_it_is_far_off():
    assert pace_words(100.0, None) == "about 150 mm/s"
    assert pace_words(100.0, 160.0) == "about 150 mm/s"
    assert pace_words(100.0, 300.0) == "about 150 mm/s, now 300: slower"
    assert pace_words(10.0, 30.0) == "about 40 mm/s"


def test_the_stations_round_a_hole_enclose_it():
    assert stations_round(((900.0, 1240.0),), STATIONS) == (500.0, 1000.0, 1500.0)
    assert stations_round((), STATIONS) == STATIONS
    assert (
        stations_round(((2700.0, 2800.0),), STATIONS) == (2600.0,)
        or len(stations_round(((2700.0, 2800.0),), STATIONS)) >= 2
    )
    assert stretch_words(((1.0, 2.0), (3.0, 4.0), (5.0, 6.0))) == "1 to 2 mm, 3 to 4 mm and 1 more"


def test_what_no_pass_has_seen_is_named_and_only_where_the_set_up_reads():
    trace = Trace(-300.0, 2900.0, STATIONS, 2, ((500.0, 1700.0),))
    assert trace.unseen() != ()
    x = np.concatenate([np.arange(480.0, 900.0, 3.0), np.arange(1240.0, 1720.0, 3.0)])
    trace.add(x / 150.0, np.zeros(len(x)), x)
    ((low, high),) = trace.unseen()
    assert abs(low - 900.0) < 12.0 and abs(high - 1240.0) < 12.0
    speed = trace.speed_mm_per_s()
    assert speed is not None and abs(speed - 150.0) < 1.0
    gap = np.arange(900.0, 1240.0, 3.0)
    trace.add(20.0 + gap / 150.0, np.zeros(len(gap)), gap)
    assert trace.unseen() == ()


def test_a_slow_instrument_s_readings_leave_no_holes():
    trace = Trace(-300.0, 2900.0, STATIONS, 2, ((500.0, 1700.0),))
    x = np.arange(490.0, 1720.0, 30.0)
    trace.add(x / 150.0, np.zeros(len(x)), x)
    assert trace.unseen() == ()


def test_every_line_of_the_tour_fits_the_smallest_screen():
    assert {name: len(words) for name, words in STEPS.items() if len(words) > 79} == {}

"""Numbers, states and moves in words."""

import pytest

from logger.tui import wording
from logger.tui.wording import Units


def test_a_height_carries_its_sign_and_a_width_never_does():
    assert Units().height(0.104) == "+0.104"
    assert Units().height(-0.0204) == "−0.020"
    assert Units().width(-0.109, 0.004) == "0.109"


def test_inches_are_thou_with_one_decimal_and_slopes_thou_per_foot():
    # The inch is 25.4 mm exactly (international yard and pound agreement, 1959): 1 thou = 0.0254 mm.
    assert Units("in").height(0.0254) == "+1.0"
    assert Units("in", "mm/m").height(1.0) == "+12.0"  # 1 mm/m = 12 in per 1000 ft of 12 in = 0.012 in/ft
    assert Units("in").unit == "thou"


def test_an_uncertainty_is_never_shown_as_nothing():
    assert Units().pm(0.00004) == "±0.001"
    assert Units("in").pm(0.0001) == "±0.1"


def test_what_is_not_known_is_said_where_the_number_would_be():
    assert Units().height(None) == "not known"
    assert Units().pm(None) == "± not known"


@pytest.mark.parametrize(
    ("height", "word", "sentence"),
    [
        (0.104, "inside", "inside"),
        (0.162, "high", "high by 0.012"),
        (0.030, "low", "low by 0.020"),
        (-1.284, "low", "far low, by 1.334"),
        (0.151, "cannot tell", "cannot tell, limit within ±"),
        (0.149, "cannot tell", "cannot tell, limit within ±"),
    ],
)
def test_a_live_height_is_told_by_the_decision_rule(height, word, sentence):
    # ISO 14253-1: inside or outside only where the value is clear of the limit by its expanded uncertainty.
    state = wording.live_state(height, 0.002, 0.05, 0.15, Units())
    assert (state.word, state.sentence) == (word, sentence)


def test_what_is_still_to_go_is_said_with_its_direction():
    assert wording.target_state(0.013, 0.004, Units()).sentence == "0.013 to go, raise"
    assert wording.target_state(-0.013, 0.004, Units()).sentence == "0.013 to go, lower"
    assert wording.target_state(0.003, 0.004, Units()).word == "inside"


@pytest.mark.parametrize(
    ("turns", "words"),
    [
        (1 / 6, "1/6"),
        (0.0625, "1/16"),
        (-0.04, "1/25"),
        (0.5, "1/2"),
        (1.25, "1 1/4"),
        (2.0, "2"),
        (0.001, "less than 1/250"),
    ],
)
def test_turns_are_said_as_a_hand_thinks_of_them(turns, words):
    assert wording.fraction_of_turn(turns) == words


def test_lowering_turns_the_other_way_than_raising():
    assert wording.way_of_turning("clockwise", "below", 0.1) == "clockwise from below"
    assert wording.way_of_turning("clockwise", "below", -0.1) == "anticlockwise from below"
    assert wording.way_of_turning("anticlockwise", "above", -0.1) == "clockwise from above"


def test_a_turn_too_small_to_judge_is_said_as_the_way_of_the_wrench():
    # A fiftieth of a circle of 200 mm radius: 2 pi 200 / 50 = 25.1 mm (hand-worked).
    assert wording.wrench_way(1 / 50, 200.0) == "25 mm at the end of a 200 mm wrench"
    assert wording.wrench_way(1 / 6, 200.0) == ""


def test_a_chance_is_never_said_as_certain():
    assert wording.chance(1.0) == "99 in 100"
    assert wording.chance(0.0) == "1 in 100"

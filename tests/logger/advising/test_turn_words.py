"""A move in words: fractions by hand, thread lift from ISO 261, which way and seen from where."""

from __future__ import annotations

import pytest

from logger.advising.turn_words import fraction_words, most_words, turn_words
from logger.machines import Bolt


def bolt(**changes):
    return Bolt(**{"name": "B1", "x_mm": 100.0, "pitch_mm": 1.5, **changes})


@pytest.mark.parametrize(
    ("turns", "words"),
    [
        (1 / 16, "1/16"),
        (0.0627, "1/16"),
        (1 / 50, "1/50"),
        (0.667, "2/3"),
        (1.25, "1 1/4"),
        (1.08, "1 1/12"),
        (1.0, "1"),
        (2.0, "2"),
    ],
)
def test_fractions_a_hand_can_make(turns, words):
    assert fraction_words(turns) == words


def test_up_is_the_way_that_raises_seen_from_where_it_is_said():
    assert turn_words(bolt(), 0.094, 200) == "1/16 clockwise from below"
    assert turn_words(bolt(), -0.094, 200) == "1/16 anticlockwise from below"
    assert turn_words(bolt(raises="anticlockwise", seen_from="above"), 0.75, 200) == "1/2 anticlockwise from above"


def test_a_turn_too_small_to_judge_is_also_the_way_of_the_wrenchs_end():
    # 1/50 of a turn at 200 mm: 2 pi 200 / 50 = 25.1 mm.
    assert turn_words(bolt(), 0.03, 200) == "1/50 clockwise from below, 25 mm at the end of a 200 mm wrench"


@pytest.mark.parametrize(
    ("pitch", "flat_mm"), [(1.25, 0.2083), (1.5, 0.25), (1.75, 0.2917), (2.0, 0.3333), (2.5, 0.4167)]
)
def test_one_flat_of_a_hexagon_is_a_sixth_of_the_pitch(pitch, flat_mm):
    # ISO 261/262 coarse pitches of M8, M10, M12, M16, M20; lift per flat = pitch / 6.
    assert turn_words(bolt(pitch_mm=pitch), flat_mm, 200).startswith("1/6 ")


def test_a_differential_screw_needs_more_turns():
    assert turn_words(bolt(pitch_mm=1.75, counter_pitch_mm=1.5), 0.125, 200) == "1/2 clockwise from below"


@pytest.mark.parametrize(("at_most_mm", "words"), [(0.25, "1/6 turn"), (-1.875, "1 1/4 turns"), (None, "")])
def test_how_far_at_most_is_said_of_either_way(at_most_mm, words):
    """On a thread of 1.5 mm."""
    assert most_words(bolt(), at_most_mm) == words

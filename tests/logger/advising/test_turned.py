"""What was done to a bolt, as typed: three forms, their signs and units, and what is refused.

Thread travel of a turn is the pitch (ISO 68-1 metric thread, one start): one sixth of a turn of 1.5 mm is 0.25 mm.
"""

from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.advising.turned import HAND_MM, ParkedMove, TypedMove, counted, parse, parse_all
from logger.errors import NotAllowed
from logger.machines import machine_from_text

KILN_STREET = resources.files("hardware").joinpath("machines", "kiln-street.yaml").read_text(encoding="utf-8")
MACHINE = machine_from_text(
    KILN_STREET.replace(
        "B2, x_mm: 650, y_mm: 0, pitch_mm: 1.5, raises: c", "B2, x_mm: 650, pitch_mm: 1.5, raises: antic"
    ).replace("{name: B3,", "{name: B3, travel_mm: [2, 3],"),
    "kiln-street.yaml",
)


def test_the_machine_of_these_tests_turns_both_ways():
    assert (MACHINE.bolt("B1").raises, MACHINE.bolt("B2").raises) == ("clockwise", "anticlockwise")
    assert MACHINE.bolt("B3").travel_mm == (2.0, 3.0)


@pytest.mark.parametrize(
    ("text", "raise_mm", "form"),
    [
        ("B2=+0.12mm", 0.12, "thread"),
        ("B2=0.12mm", 0.12, "thread"),
        ("B1=-0.05mm", -0.05, "thread"),
        ("B1=+0.01in", 0.254, "thread"),
        ("B1=-2thou", -0.0508, "thread"),
        ("B1=-1/6turn", -0.25, "turns"),
        ("B2=+1/6turn", 0.25, "turns"),  # + raises, whichever way the thread turns
        ("B1=0.5turns", 0.75, "turns"),
        ("B1=1flat", 0.25, "turns"),
        ("B1=−1/6turn", -0.25, "turns"),  # the minus sign this program prints itself
        ("B1=0,12mm", 0.12, "thread"),  # a decimal comma
    ],
)
def test_thread_travel_and_turns_raise_with_plus(text, raise_mm, form):
    move = parse(text, MACHINE)
    assert isinstance(move, TypedMove)
    assert (move.bolt, move.form) == (text[:2], form)
    assert move.raise_mm == pytest.approx(raise_mm, abs=1e-12)
    assert move.uncertainty_mm >= HAND_MM


@pytest.mark.parametrize("text", ["B3@810:+0.036..+0.084mm", "B3@810:+0.036..+0.084", "B3@810:0.036..0.084"])
def test_the_parked_form_keeps_the_displays_own_numbers(text):
    assert parse(text, MACHINE) == ParkedMove("B3", 810.0, 0.036, 0.084)


@pytest.mark.parametrize(
    ("text", "whole"),
    [
        ("-1/4", "B1=-1/4turn"),
        ("+5/4", "B1=+5/4turn"),
        (" −0,2 ", "B1=-0.2turn"),
        ("0.5turns", "B1=0.5turns"),
        ("-2 flats", "B1=-2flats"),
    ],
)
def test_a_counted_turn_is_typed_without_its_bolt_and_may_leave_out_the_word_turn(text, whole):
    assert counted("B1", text, MACHINE) == parse(whole, MACHINE)


@pytest.mark.parametrize(
    "text", ["", "a quarter", "1 1/4", "-0.3mm", "-1/4turn@810:0..0.1", "B1=-1/4turn", "-1/0", "+40"]
)
def test_what_is_no_part_of_a_turn_is_not_counted(text):
    with pytest.raises(NotAllowed):
        counted("B1", text, MACHINE)


def test_a_turn_and_the_display_together_where_the_display_would_not_follow():
    move = parse("B1=-1/4turn@1020:+0.260..+0.258", MACHINE)
    assert isinstance(move, TypedMove) and (move.form, move.raise_mm) == ("turns", -0.375)
    assert move.parked == ParkedMove("B1", 1020.0, 0.26, 0.258)
    again = parse_all(["B1=-1/4turn@1020:0.26..0.258", "B1@1020:0.258..0.240"], MACHINE)
    assert len(again) == 2, "each turn has readings of its own"


def test_the_parked_form_in_thou():
    move = parse("B3@810:-1..+1thou", MACHINE)
    assert isinstance(move, ParkedMove)
    assert (move.before, move.after) == pytest.approx((-0.0254, 0.0254))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("B2", "not understood as a move"),
        ("B2=", "not understood as a move"),
        ("B2=+0.12", "not understood as a move"),  # a number without a unit could be a hundred times too much
        ("B2=1/0turn", "divides by zero"),
        ("B2=1furlong", "unit 'furlong'"),
        ("B9=+0.1mm", "There is no bolt"),
        ("B3=+6mm", "its thread has 5 mm in all"),
        ("B1=+21mm", "no more than 20 mm"),
        ("B3@2700:+0.036..+0.084", "outside the stroke (0 to 2600 mm)"),
        ("B3@810:+0.036..+0.084furlong", "unit 'furlong'"),
    ],
)
def test_what_cannot_be_is_refused_with_the_part_that_is_wrong(text, said):
    with pytest.raises(NotAllowed) as refused:
        parse(text, MACHINE)
    assert said in str(refused.value)
    assert refused.value.todo


def test_a_bolt_named_twice_is_refused():
    with pytest.raises(NotAllowed, match="B1 is named 2 times"):
        parse_all(["B1=+0.1mm", "B2=+0.1mm", "B1=+0.1mm"], MACHINE)
    with pytest.raises(NotAllowed, match="B1 is named 2 times"):
        parse_all(["B1@810:+0.036..+0.084", "B1@810:+0.036..+0.084"], MACHINE)
    with pytest.raises(NotAllowed, match="B1 is named 2 times"):
        parse_all(["B1@810:+0.036..+0.084", "B1=+0.1mm"], MACHINE)


def test_by_a_display_a_bolt_may_be_turned_again_at_the_end_of_a_round():
    moves = parse_all(["B1@810:+0.036..+0.084", "B2@1100:+0.05..+0.06", "B1@810:+0.070..+0.084"], MACHINE)
    assert [move.bolt for move in moves] == ["B1", "B2", "B1"]


def test_moves_may_come_as_one_argument_or_several():
    assert parse_all(["B1=+0.1mm B2=-0.1mm"], MACHINE) == parse_all(["B1=+0.1mm", "B2=-0.1mm"], MACHINE)


@given(st.text(max_size=40))
def test_any_text_is_a_move_or_refused(text):
    try:
        parse(text, MACHINE)
    except NotAllowed as refused:
        assert refused.todo  # what to do next is always said

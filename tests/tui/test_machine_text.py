"""The short form: what it writes is a machine.yaml that loads, with the template's comments kept."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.errors import Fault
from logger.job import new_machine_text
from logger.tui.machine_text import QUESTIONS, Unclear, machine_text, question_of, unclear_answers, understood

ANSWERS = {
    "name": "Kiln Street panel saw",
    "rail": "-300 2900",
    "section": "60x80x4",
    "span": "640",
    "top": "1200",
    "stroke": "0 2600",
    "bolts": "150 650 1150 1650 2150 2650",
    "pitch": "1,5",
    "raises": "clockwise",
    "seen_from": "below",
    "table": "700 1500",
    "opening": "1010 1090",
    "stand": "1100",
    "blade": "1050",
    "spindle": "1450",
}


def machine_of(**changes):
    text = machine_text({**ANSWERS, **changes}, new_machine_text())
    return text, *understood(text, "machine.yaml")


def test_the_answers_are_in_the_machine_that_loads():
    _, machine, faults = machine_of()
    assert faults == {}
    assert machine.name == "Kiln Street panel saw"
    assert (machine.rail.from_mm, machine.rail.to_mm) == (-300, 2900)
    # A box of 60 x 80 x 4: I = (60 80^3 - 52 72^3) / 12, by the textbook rule for a hollow rectangle.
    assert machine.rail.bending_I_mm4 == pytest.approx((60 * 80**3 - 52 * 72**3) / 12)
    assert machine.carriage.stroke_mm == (0, 2600)
    assert [bolt.x_mm for bolt in machine.bolts] == [150, 650, 1150, 1650, 2150, 2650]
    assert {bolt.pitch_mm for bolt in machine.bolts} == {1.5}
    assert machine.set_ups["across"].x_mm == 1100
    assert [(place.name, place.x_mm) for place in machine.places] == [("blade", 1050), ("spindle", 1450)]


def test_every_comment_of_the_template_but_the_one_on_invented_figures_stays():
    text, _, _ = machine_of()
    comments = [line for line in new_machine_text().split("\n") if line.startswith("#")]
    missing = [line for line in comments if line not in text.split("\n")]
    assert len(missing) == 1
    assert "invented" in missing[0]
    assert "invented" not in text


def test_pairs_of_bolts_are_typed_with_a_stroke():
    _, machine, _ = machine_of(bolts="900/40, 900/-40 1700")
    assert [(bolt.x_mm, bolt.y_mm) for bolt in machine.bolts] == [(900, 40), (900, -40), (1700, 0)]


def test_no_opening_and_no_blade_are_possible():
    _, machine, faults = machine_of(opening="", blade="", spindle="")
    assert faults == {}
    assert machine.table.insert_mm == ()
    assert machine.places == ()


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"rail": "2900"}, "rail"),
        ({"rail": "a b"}, "rail"),
        ({"bolts": ""}, "bolts"),
        ({"bolts": "100 x"}, "bolts"),
        ({"raises": ""}, "raises"),
        ({"seen_from": ""}, "seen_from"),
        ({"section": "60x80"}, "section"),
        ({"stand": ""}, "stand"),
        ({"pitch": "1.5; rm"}, "pitch"),
    ],
)
def test_what_cannot_be_read_names_its_question(changes, key):
    with pytest.raises(Unclear) as unclear:
        machine_of(**changes)
    assert unclear.value.key == key


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"rail": "2900 -300"}, "rail"),
        ({"stroke": "2600 0"}, "stroke"),
        ({"bolts": "150 9000"}, "bolts"),
        ({"table": "1500 700"}, "table"),
        ({"pitch": "0"}, "pitch"),
        ({"stand": "5000"}, "stand"),
    ],
)
def test_a_fault_of_the_file_is_said_beside_the_question_it_came_from(changes, key):
    _, machine, faults = machine_of(**changes)
    assert machine is None
    assert key in faults
    assert "allowed" in faults[key]


def test_all_that_cannot_be_read_is_said_at_once():
    said = unclear_answers({**ANSWERS, "rail": "2900", "span": "", "blade": "x", "raises": "", "pitch": "1.5"})
    assert set(said) == {"rail", "span", "blade", "raises"}
    assert unclear_answers(ANSWERS) == {}


def test_a_key_without_a_question_of_its_own_goes_to_the_foot():
    assert question_of(Fault(3, "wrench_length_mm", "x", "y")) == ""


@settings(max_examples=40, deadline=None)
@given(st.text(max_size=60))
def test_no_name_breaks_the_file(name):
    _, machine, faults = machine_of(name=name)
    assert machine is None or machine.carriage.top_length_mm == 1200
    assert machine is not None or set(faults) <= {"name", ""}


def test_every_question_says_what_to_type():
    for question in QUESTIONS:
        assert question.label
        assert len(question.label) <= 30
        assert question.hint or question.words

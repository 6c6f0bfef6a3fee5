"""Facts about knife, scoring blade, tilt stops and the carriage's plane as typed; the screw; what contradicts."""

from dataclasses import replace
from importlib import resources

import pytest

from logger.checks.evaluate import evaluate
from logger.checks.table import BY_NAME
from logger.checks.typed import understand
from logger.errors import NotAllowed
from logger.machines import machine_from_text

MACHINE = machine_from_text(
    resources.files("hardware").joinpath("machines", "kiln-street.yaml").read_text(encoding="utf-8"), "kiln-street"
)


def result(name, text, known=None):
    check = BY_NAME[name]
    typed = understand(check, text.split(), check.allowed, lambda _question: False)
    return evaluate(check, replace(typed.readings, known=known or {}), typed.allowed, MACHINE)


KNIFE = "kerf=3.2 knife=2.8 plate=2.2"


def test_a_knife_in_the_middle_of_its_kerf_is_inside():
    found = result("knife", f"carriage_side=0.2,0.2 table_side=0.2,0.2 {KNIFE} gap=4,5,6")
    assert found.verdict.word == "inside"
    assert found.details["spare_mm"] == pytest.approx(0.2)


def test_a_knife_that_stands_over_goes_back_by_half_the_difference():
    found = result("knife", f"carriage_side=0.38,0.38 table_side=0.02,0.02 {KNIFE}")
    assert found.verdict.word == "outside"
    (move,) = found.corrections
    assert (move.move_mm, move.way) == (pytest.approx(0.18), "toward the carriage")


def test_a_gap_beyond_the_manuals_is_outside_and_does_not_pass_for_an_offset():
    found = result("knife", f"carriage_side=0.2,0.2 table_side=0.2,0.2 {KNIFE} gap=4,9")
    assert found.verdict.word == "outside"
    assert abs(found.verdict.value) < 0.01
    assert any("gap from the teeth is 9.000" in note for note in found.notes)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (f"carriage_side=0.2,0.2 table_side=0.7,0.2 {KNIFE}", "contradict each other"),
        (f"carriage_side=0.2 table_side=0.2,0.2 {KNIFE}", "carriage_side has 1 value"),
        ("carriage_side=0.2,0.2 table_side=0.2,0.2 kerf=2.2 knife=1.8 plate=2.8", "not thinner than its kerf"),
    ],
)
def test_gaps_and_thicknesses_that_cannot_be_are_said(text, says):
    with pytest.raises(NotAllowed, match=says):
        result("knife", text)


def test_a_knife_as_thin_as_the_plate_keeps_no_kerf_open():
    found = result("knife", "carriage_side=0.5,0.5 table_side=0.5,0.5 kerf=3.2 knife=2.2 plate=2.4")
    assert found.verdict.word == "outside"
    assert any("another knife" in note for note in found.notes)


def test_two_equal_steps_are_in_line_and_a_one_sided_step_is_shifted_by_half():
    assert result("scoring", "carriage_step=0.05 table_step=0.05").verdict.word == "inside"
    found = result("scoring", "carriage_step=-0.10 table_step=0.20 pitch=1")
    shift = found.corrections[0]
    assert (shift.way, shift.move_mm, shift.turns) == ("toward the carriage", pytest.approx(0.15), pytest.approx(0.15))


def test_a_scoring_kerf_that_is_narrower_wants_spacers_and_a_cone_wants_height():
    narrow = result("scoring", "carriage_step=-0.06 table_step=-0.06")
    assert narrow.verdict.word == "outside"
    assert any(each.way == "more of spacers" and each.move_mm == pytest.approx(0.22) for each in narrow.corrections)
    cone = result("scoring", "carriage_step=-0.06 table_step=-0.06 flank=10")
    assert any(each.where == "scoring blade, height" and each.way == "up" for each in cone.corrections)


def test_teeth_by_indicator_say_the_same_as_the_cut():
    found = result("scoring", "by=teeth main=0.30,0.50 scoring=0.20,0.70")
    assert found.details["shift_mm"] == pytest.approx(-0.15)


def test_a_stop_screw_moves_by_the_lean_times_its_arm():
    found = result("bevel", "position=0 low=0.10,0.14 high=0.02,0.06 height=80 arm=200 pitch=1")
    (screw,) = found.corrections
    assert found.verdict.value == pytest.approx(1.0)
    assert (screw.where, screw.move_mm, screw.turns) == ("stop screw 0", pytest.approx(0.2), pytest.approx(0.2))
    assert "carriage" in screw.way


def test_without_a_pitch_there_are_no_turns_and_without_an_arm_no_movement():
    assert result("bevel", "low=0.1 high=0.0 height=80 arm=200").corrections[0].turns is None
    assert any("arm=" in note for note in result("bevel", "low=0.1 high=0.0 height=80").notes)


def test_an_inclinometer_is_told_from_the_table_it_was_zeroed_on():
    found = result("bevel", "by=level position=45 shown=45.20,45.24 zero=0.02 nominal=45 u_deg=0.02")
    assert found.details["error_deg"] == pytest.approx(0.2, abs=1e-4)
    assert found.verdict.word == "outside"


def test_an_arc_over_the_carriage_is_enough_and_a_short_one_is_refused():
    found = result("upright", "readings=0.00,0.02,0.03,0.02,0.00 angles=210,240,270,300,330 radius=200 feet_apart=300 "
                              "foot_direction=270")  # fmt: skip
    assert found.details["direction_deg"] == pytest.approx(270.0, abs=0.1)
    with pytest.raises(NotAllowed, match="span 30 degrees"):
        result("upright", "readings=0,0,0,0 angles=260,270,280,290 radius=200")


def test_square_to_the_table_is_not_square_to_a_carriage_that_rolls():
    planes = "along_table=0 along_carriage=0 across_table=0.10 across_carriage=0.60"
    found = result("upright", f"by=level {planes} tilt=0", {"spindle": (0.0, 0.02)})
    assert found.verdict.word == "outside"
    assert found.verdict.value == pytest.approx(0.5)


def test_the_blades_lean_is_taken_from_its_own_check_or_asked_for():
    planes = "of=blade by=level along_table=0 along_carriage=0 across_table=0.10 across_carriage=0.60"
    assert result("upright", planes, {"bevel": (-0.5, 0.05)}).verdict.value == pytest.approx(0.0)
    with pytest.raises(NotAllowed, match="take the check bevel first"):
        result("upright", planes)
    with pytest.raises(NotAllowed, match="swings no arm"):
        result("upright", "of=blade readings=0,0,0,0 angles=200,230,260,290 radius=200")

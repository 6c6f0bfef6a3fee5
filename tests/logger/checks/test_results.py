"""Facts about what a check says: the sign, the screw or foot to move, and what would help where it cannot tell."""

import pytest

from logger.checks.evaluate import would_decide
from logger.errors import NotAllowed
from tests.logger.checks.reading import result


def test_the_fence_screw_goes_the_other_way_in_front_of_the_board():
    # derived: A - B 0.36 mm over 300 mm is 0.3 mm/m; a screw 1500 mm from the pivot moves 0.45 mm
    for fence, way in (("behind", "toward outfeed"), ("front", "toward infeed")):
        found = result("fence", f"cuts=five fence_end=25.36 far_end=25 length=300 fence={fence} screw=1500 pitch=1")
        assert found.verdict.word == "outside"
        (move,) = found.corrections
        assert (move.way, move.turns) == (way, pytest.approx(0.45))
        assert move.move_mm == pytest.approx(0.45)


def test_diagonals_are_measured_with_a_tape_not_with_calipers():
    four = "cuts=four last_diagonal=1000.1 other_diagonal=1000 sides=800,600 fence=behind"
    found = result("fence", four)
    assert found.verdict.word == "cannot tell"
    assert found.verdict.value == pytest.approx(0.1042, abs=1e-4)  # derived: 0.1 mm x 1000 / (2 x 800 x 600)
    assert found.verdict.uncertainty > 0.5


def test_without_a_pitch_the_movement_is_said_and_what_would_help():
    found = result("fence", "cuts=five fence_end=25.36 far_end=25 length=300 fence=behind screw=1500")
    assert found.corrections[0].turns is None
    assert any("pitch=" in note for note in found.notes)


def test_closing_is_outside_and_the_rail_goes_back_about_the_middle_bolt():
    found = result("toe", "front=0.00 rear=0.12 span=240")  # closing by 0.5 mm/m
    assert found.verdict.word == "outside"
    assert any("No cut until it opens" in note for note in found.notes)
    ways = {each.where: (each.way, each.move_mm) for each in found.corrections}
    # closing: the outfeed end is too near the blade; about B3 at 1150 mm it goes away from the table by 0.55 mm/m
    assert ways["rail at B6"] == ("away from the table", pytest.approx(0.00055 * 1500))
    assert ways["rail at B1"] == ("toward the table", pytest.approx(0.00055 * 1000))
    assert "rail at B3" not in ways


def test_base_raises_the_low_feet_only_and_doubts_a_level_with_two_zeros():
    found = result(
        "base", "along=1.02 along_turned=-0.98 across=0.02 across_turned=0.02 feet_along=1200 feet_across=700 pitch=2"
    )
    assert found.verdict.word == "outside"
    assert {each.where: each.move_mm for each in found.corrections} == {
        "foot infeed, table side": pytest.approx(1.2),
        "foot infeed, carriage side": pytest.approx(1.2),
    }
    assert found.corrections[0].turns == pytest.approx(0.6)
    doubtful = result(
        "base", "along=1.02 along_turned=-0.98 across=0.5 across_turned=0.5 feet_along=1200 feet_across=700"
    )
    assert any("one of the four readings is wrong" in note for note in doubtful.notes)


def test_a_flange_is_judged_on_a_hundred_millimetres():
    # GOST 9335-89 p. 2: face run-out of the supporting flange 0.03 mm on 100 mm diameter
    found = result("flange", "readings=0,0.02,0.04,0.02 diameter=50 u=0.002")
    assert found.verdict.value == pytest.approx(0.08)
    assert found.verdict.word == "outside"
    assert result("flange", "readings=0,0.002,0.004,0.002 u=0.002").verdict.word == "inside"


def test_a_spindle_is_shimmed_under_the_foot_it_leans_to():
    found = result("spindle", "readings=0.03,0,-0.03,0 radius=150 feet_apart=300 foot_direction=180")
    (shim,) = found.corrections
    assert shim.where == "under the foot at 0 degrees"
    assert shim.move_mm == pytest.approx(0.06)


def test_three_angles_are_too_few_and_it_is_said():
    with pytest.raises(NotAllowed, match="3 different angles; at least 4"):
        result("blade", "readings=0,0.1,0")


def test_a_rip_fence_that_closes_is_a_fault_and_goes_away_from_the_blade():
    found = result("rip", "x=0,400 distance=100,99.8 screw=400 u=0.02")
    assert found.verdict.word == "outside"
    assert found.corrections[0].way == "away from the blade"
    assert found.corrections[0].move_mm == pytest.approx(0.22)  # from -0.5 to +0.05 mm/m over 400 mm


def test_where_it_cannot_be_told_the_uncertainty_that_would_decide_is_said():
    found = result("fence", "cuts=over fence_end=400 far_end=400.06 length=500 fence=behind u=0.1")
    assert found.verdict.word == "cannot tell"
    assert would_decide(found.verdict) == pytest.approx(0.04)  # 0.06 mm/m, 0.1 allowed


def test_a_condition_that_is_not_so_is_outside_and_named():
    found = result("condition", "clean=yes tight=no bare=yes free=yes")
    assert found.verdict.word == "outside"
    assert "tight" in found.verdict.reason

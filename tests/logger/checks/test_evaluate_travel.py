"""Facts about travel in plan, outrigger and length stop as typed: corrections in bolts, bearings, screws and scale."""

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


def result(name, text, confirm=lambda _question: False):
    check = BY_NAME[name]
    typed = understand(check, text.split(), check.allowed, confirm)
    return evaluate(check, typed.readings, typed.allowed, MACHINE)


X = "x=0,650,1300,1950,2600"


def test_a_rail_nudged_at_its_ends_is_straightened_there_and_its_middle_bolt_stays_tight():
    # the travel bows 0.2 mm toward the table in its middle; the straightedge is true
    found = result("straight", f"{X} first=0,0.15,0.2,0.15,0 second=0,-0.15,-0.2,-0.15,0")
    assert found.verdict.word == "outside"
    assert found.details["middle_mm"] == pytest.approx(0.2)
    assert any("hollow" in note for note in found.notes)
    ways = {each.where: each.way for each in found.corrections}
    assert ways["rail at B1"] == ways["rail at B6"] == "toward the table"
    assert all("B" in where for where in ways)
    assert any("stays tight" in note for note in found.notes)


def test_a_bowed_straightedge_is_told_apart_and_named():
    # both readings bow the same way: that is the straightedge, and the travel is straight
    found = result("straight", f"{X} first=0,0.15,0.2,0.15,0 second=0,0.15,0.2,0.15,0")
    assert found.verdict.word == "inside"
    assert found.details["straightedge_mm"] == pytest.approx(0.2)


def test_two_sawn_edges_gape_by_twice_the_bow():
    found = result("straight", f"by=edges {X} gap=..0.05,0.25..0.30,0.35..0.40,0.25..0.30,..0.05")
    assert found.details["middle_mm"] == pytest.approx(0.375 / 2.0, abs=0.01), "at its ends it touches"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (f"{X} first=0,0.1 second=0,0.1", "5 places, 2 and 2 readings"),
        ("x=0,2600 first=0,0.1 second=0,0.1", "2 places show no bend"),
        (f"by=edges {X} gap=0.15..0.10,0,0,0,0", "contradict each other"),
        (f"{X} first=0,4,5,4,0 second=0,300,5,4,0", r"is it 300 (thou|um)"),
    ],
)
def test_readings_that_cannot_be_are_one_sentence(text, says):
    with pytest.raises(NotAllowed, match=says):
        result("straight", text)


def test_a_leaning_pivot_is_moved_at_its_bearing_before_the_height_screw():
    found = result("outrigger", "infeed=-0.6 outfeed=0.8 apart=2000 bearings=400 pitch=1.5")
    assert found.verdict.word == "outside"
    pivot, screw = found.corrections
    assert (pivot.way, pivot.move_mm) == ("toward infeed", pytest.approx(0.28))
    assert (screw.way, screw.move_mm, screw.turns) == ("down", pytest.approx(0.1), pytest.approx(0.1 / 1.5))


def test_an_outrigger_that_slopes_over_its_width_is_outside_though_both_ends_are_right():
    level = "infeed=0 outfeed=0 level_carriage=0.1 level_outrigger=2.1"
    assert result("outrigger", f"{level} width=300").verdict.word == "outside"
    assert result("outrigger", "infeed=0 outfeed=0").verdict.word == "inside"


def test_without_its_bearings_the_lean_is_said_and_what_would_help():
    assert any("bearings=" in note for note in result("outrigger", "infeed=-0.6 outfeed=0.8").notes)


def test_a_scale_that_reads_short_makes_parts_long():
    found = result("length", "set=600 measured=600.30,600.34,600.32 position=behind")
    assert found.verdict.word == "outside"
    (scale,) = found.corrections
    assert "position behind" in scale.where
    assert (scale.way, scale.move_mm) == ("so that it reads more", pytest.approx(0.32))
    assert any("comes back within" in note for note in found.notes)


def test_a_scale_that_stretches_is_not_only_shifted():
    found = result("length", "set=300,1000,2000 measured=300.10,1000.24,2000.44")
    assert any("no other" in note for note in found.notes)
    assert any("Repeat one setting" in note for note in found.notes)


def test_lengths_in_inches_without_a_unit_are_asked_about():
    with pytest.raises(NotAllowed, match=r"is it 12 in \(304\.8 mm\)"):
        result("length", "set=12 measured=305")
    asked: list[str] = []

    def yes(question: str) -> bool:
        asked.append(question)
        return True

    taken = result("length", "set=12 measured=304.9", yes)
    assert len(asked) == 1
    assert taken.verdict.value == pytest.approx(0.1)

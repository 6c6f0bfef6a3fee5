"""Facts about feet and table as typed: what hangs, what is shared, how flat, how far the strut; and what cannot be.

A straightedge's gap that a leaf of 0.002 in enters and one of 0.003 in does not is 0.0508 to 0.0762 mm (common
practice, no source). Limits of grades: DIN 876.
"""

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


def result(name, text):
    check = BY_NAME[name]
    typed = understand(check, text.split(), check.allowed, lambda _question: False)
    return evaluate(check, typed.readings, typed.allowed, MACHINE)


NO_GAPS = "gap=..0.05,..0.05,..0.05,..0.05"


def test_a_foot_that_no_leaf_goes_under_carries_and_one_with_a_gap_hangs():
    assert result("feet", NO_GAPS).verdict.word == "inside"
    found = result("feet", "gap=..0.05,..0.05,0.10..0.15,..0.05 pitch=2")
    assert found.verdict.word == "outside"
    (up,) = found.corrections
    assert (up.where, up.way) == ("foot outfeed, carriage side", "up")
    assert up.move_mm == pytest.approx(0.15)
    assert up.turns == pytest.approx(0.075)


def test_three_feet_or_five_are_not_four():
    with pytest.raises(NotAllowed, match="gap has 3 values; four are needed"):
        result("feet", "gap=0,0,0")


def test_a_rocking_machine_is_outside_though_no_leaf_goes():
    found = result("feet", f"{NO_GAPS} rock=0.02,0.30")
    assert found.verdict.word == "outside"
    assert any("rocks over the first corner and the one across" in note for note in found.notes)


def test_a_foot_that_carries_next_to_nothing_is_raised_on_its_diagonal():
    even = result("feet", f"{NO_GAPS} travel=0.30,0.28,0.30,0.31")
    assert (even.verdict.word, even.corrections) == ("inside", ())
    found = result("feet", f"{NO_GAPS} travel=0.40,0.03,0.20,0.37 u=0.01")
    assert found.verdict.word == "outside"
    assert {each.where for each in found.corrections} == {"foot infeed, table side", "foot outfeed, carriage side"}
    assert all(each.move_mm == pytest.approx((0.40 - 0.03 - 0.20 + 0.37) / 8.0) for each in found.corrections)


def test_feelers_find_the_hollow_and_the_strut_takes_it_out():
    found = result("sag", "x=0,300,600,900,1200 gap=..0.05,0.15..0.20,0.20..0.25,0.15..0.20,..0.05 strut=600 pitch=1.5")
    assert found.verdict.word == "outside"
    (push,) = found.corrections
    assert (push.where, push.way) == ("strut at 600 mm", "up")
    assert push.move_mm == pytest.approx(found.details["sag_mm"])
    assert any("a day and a week" in note for note in found.notes)


def test_the_workshops_two_leaves_are_an_interval_of_one_thou():
    found = result("sag", "x=0,400,800 gap=0,0.002..0.003in,0 u=0.001 edge=0")
    assert found.verdict.value == pytest.approx((0.0508 + 0.0762) / 2.0, abs=0.004)
    assert found.verdict.uncertainty >= 0.9 * (0.0762 - 0.0508) / 2.0 * 2.0 / 3.0**0.5


def test_a_leaf_that_goes_and_a_thinner_one_that_does_not_contradict_each_other():
    with pytest.raises(NotAllowed, match="contradict each other"):
        result("sag", "x=0,400,800 gap=0,0.15..0.10,0")


def test_two_places_show_no_sag_and_as_many_gaps_as_places_are_needed():
    with pytest.raises(NotAllowed, match="at least 3 are needed"):
        result("sag", "x=0,400 gap=0,0.05..0.10")
    with pytest.raises(NotAllowed, match="x has 3 places and gap 2 values"):
        result("sag", "x=0,400,800 gap=0,0.05..0.10")


def test_a_crowned_table_wants_the_strut_let_off():
    found = result("sag", "by=indicator x=0,300,600,900,1200 readings=0,0.2,0.28,0.2,0 strut=600 edge=0.01")
    assert found.corrections[0].way == "down"
    assert any("crowned" in note for note in found.notes)


def test_what_is_no_sag_no_strut_takes_out():
    found = result("sag", "by=indicator x=0,300,600,900,1200 readings=0,0.2,0,-0.2,0 strut=600 edge=0.01")
    assert (found.verdict.word, found.corrections) == ("outside", ())
    assert any("no strut takes out" in note for note in found.notes)


def test_a_grid_is_known_by_its_steps_and_a_wrong_count_is_said():
    flat = "by=grid step=300 along=0,0,0,0,0,0,0,0,0 across=0,0,0,0,0,0,0,0"
    found = result("sag", flat)
    assert found.verdict.word == "inside"
    assert found.details["din_876_grade"] is not None
    with pytest.raises(NotAllowed, match="make no rectangle"):
        result("sag", "by=grid step=300 along=0,0,0,0 across=0,0,0,0")


def test_a_union_jack_wants_all_its_lines():
    line = "0,0,0,0"
    lines = " ".join(f"{name}={line}" for name in ("nw_se", "ne_sw", "ne_nw", "ne_se", "nw_sw", "se_sw", "n_s", "e_w"))
    assert result("sag", f"by=union_jack step=200 {lines}").verdict.word == "inside"
    with pytest.raises(NotAllowed, match="opposite sides match"):
        result("sag", f"by=union_jack step=200 {lines.replace('se_sw=0,0,0,0', 'se_sw=0,0')}")


def test_the_grade_it_keeps_is_named_with_its_limits():
    # DIN 876 on 1000 mm: 8, 20, 40, 80 micrometres
    found = result("sag", "by=indicator x=0,250,500,750,1000 readings=0,0.01,0.012,0.01,0 edge=0.004 u=0.002")
    (grade,) = [note for note in found.notes if "DIN 876" in note]
    assert "keeps grade 1" in grade
    assert "0 0.008, 1 0.020, 2 0.040, 3 0.080 mm on 1000 mm" in grade

"""Facts about tolerances and the usual work in machine.yaml: each with an origin, in the check's unit, of a check."""

from importlib import resources

import pytest

from logger.checks.board import board_from, standing_limits
from logger.checks.table import BY_NAME, CHECKS
from logger.errors import BadFile
from logger.journal import JournalEntry
from logger.machines import machine_from_text

NEW = resources.files("hardware").joinpath("machines", "new-machine.yaml").read_text(encoding="utf-8")
BARE = resources.files("hardware").joinpath("machines", "kiln-street.yaml").read_text(encoding="utf-8")


def with_tolerances(text):
    return machine_from_text(f"{BARE}\ntolerances: {{{text}}}\n", "kiln-street")


def faults(text):
    with pytest.raises(BadFile) as bad:
        with_tolerances(text)
    return "; ".join(f"{fault.found} {fault.allowed}" for fault in bad.value.faults)


def test_a_new_machine_file_lists_the_usual_limits_of_every_check_that_has_one_with_its_origin():
    tolerances = machine_from_text(NEW, "new").tolerances
    expected = {check.name for check in CHECKS if check.allowed.unit and check.asks} - {"fit"}  # follows the band
    assert set(tolerances) == expected
    for name, tolerance in tolerances.items():
        allowed = BY_NAME[name].allowed
        assert tolerance.limits == (allowed.lower, allowed.upper), name
        assert tolerance.origin == allowed.origin.replace('"', "'"), name


def test_limits_of_the_file_come_before_the_tables_and_after_ones_own():
    machine = with_tolerances('toe: {lower_mm_per_m: 0.0, upper_mm_per_m: 0.08, origin: "maker\'s manual"}')
    toe = BY_NAME["toe"]
    assert standing_limits(toe, []).upper == toe.allowed.upper
    assert standing_limits(toe, [], machine).upper == 0.08
    assert standing_limits(toe, [], machine).origin == "maker's manual"
    assert standing_limits(BY_NAME["fence"], [], machine) == BY_NAME["fence"].allowed
    own = {"check": "toe", "verdict": "inside", "value": 0.05, "uncertainty": 0.01, "own_limits": True,
           "allowed": {"lower": 0.0, "upper": 0.06, "origin": "own wish"}}  # fmt: skip
    entry = JournalEntry("1", "2026-11-25T10:00:00Z", "sam", "taken", own)
    assert standing_limits(toe, [entry], machine).upper == 0.06


def test_what_was_judged_by_other_limits_is_judged_again_by_those_in_force():
    taken = {"check": "toe", "verdict": "inside", "value": 0.15, "uncertainty": 0.01,
             "allowed": {"lower": 0.0, "upper": 0.2, "origin": "common practice, no source"}}  # fmt: skip
    entry = JournalEntry("1", "2026-11-25T10:00:00Z", "sam", "taken", taken)
    machine = with_tolerances("toe: {lower_mm_per_m: 0.0, upper_mm_per_m: 0.1}")
    assert board_from([entry], None).row("toe").state == "inside"
    assert board_from([entry], None, machine).row("toe").state == "outside"
    assert "new limits" in board_from([entry], None, machine).row("toe").why


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("tow: {upper_mm_per_m: 0.1}", "nearest is toe"),
        ("toe: {upper_mm: 0.1}", "toe is judged in mm/m"),
        ("toe: {origin: mine}", "no upper limit"),
        ("toe: {upper_mm_per_m: 0.1, upper_mm: 0.1}", "both units"),
        ("toe: {lower_mm: 0.0, upper_mm_per_m: 0.1}", "the same unit"),
        ("toe: {lower_mm_per_m: 0.2, upper_mm_per_m: 0.1}", "lower limit below the upper"),
        ("rail: {upper_mm: 0.1}", "a check with a limit"),
        ("toe: {uper_mm_per_m: 0.1}", "upper_mm_per_m"),
    ],
)
def test_what_cannot_be_is_said_with_what_is_allowed(text, says):
    assert says in faults(text)


def test_the_usual_work_has_usual_sizes_where_none_are_given():
    assert machine_from_text(BARE, "kiln-street").work.panel_mm == 600.0
    assert machine_from_text(f"{BARE}\nwork: {{panel_mm: 800}}\n", "kiln-street").work.panel_mm == 800.0

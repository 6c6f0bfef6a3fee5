"""Facts about what the board says the work would show: only of what holds, with the sizes of the machine's own work."""

from dataclasses import replace
from importlib import resources

import pytest

from analysis.results import PlaceFinding
from logger.checks.board import board_from
from logger.checks.rail import RailState
from logger.checks.work import SHOWN, work_of, worth_correcting
from logger.journal import JournalEntry
from logger.machines import machine_from_text

MACHINE = machine_from_text(
    resources.files("hardware").joinpath("machines", "kiln-street.yaml").read_text(encoding="utf-8")
    + "\nwork: {panel_mm: 800, board_mm: 1200, thickness_mm: 18}\n",
    "kiln-street",
)


def taken(place, name, value, uncertainty=0.01, **more):
    data = {"check": name, "verdict": "inside", "value": value, "uncertainty": uncertainty, **more}
    return JournalEntry(f"{place:04d}", f"2026-11-25T10:{place:02d}:00Z", "sam", "taken", data)


def shown(entries, rail=None, places=()):
    found = work_of(board_from(entries, rail, MACHINE), entries, MACHINE, places)
    return {each.of: each for each in found}


def test_nothing_measured_shows_nothing():
    assert shown([]) == {}


def test_each_error_comes_out_at_the_size_of_the_usual_work():
    entries = [
        taken(0, "straight", 0.2, details={"swept_mm": 2400.0}),
        taken(1, "toe", 0.1),
        taken(2, "fence", -0.1),
        taken(3, "rip", 0.05),
        taken(4, "blade", 0.06),
    ]
    found = shown(entries)
    assert found["straight"].size_mm == pytest.approx(0.05)  # half of the swept length: a quarter of the bow
    assert found["toe"].size_mm == pytest.approx(0.0240, abs=1e-4)
    assert "208 mm at the top" in found["toe"].why
    assert found["fence"].size_mm == pytest.approx(0.08)
    assert found["rip"].size_mm == pytest.approx(0.06)
    assert found["blade"].size_mm == pytest.approx(0.03)
    assert worth_correcting(found["fence"])


def test_what_is_stale_is_not_shown():
    entries = [taken(0, "fence", 0.1), replace(taken(1, "fence", 0.0), data={"check": "fence", "adjusted": True})]
    assert "fence" not in shown(entries)


def test_the_places_of_the_rail_are_grooves():
    place = PlaceFinding("spindle", "inside", 0.03, 0.004, 0.025, True)
    unseen = PlaceFinding("blade", "cannot tell", None, None, 0.05, False)
    found = shown([], RailState("inside", "", 0.03, 0.004), (place, unseen))
    assert found["rail"].size_mm == 0.03
    assert "spindle" in found["rail"].what


def test_every_kind_of_work_is_a_check_of_the_board():
    assert set(SHOWN) <= {row.check.name for row in board_from([], None).rows}

"""Facts about the board: what comes next and why, what a move makes stale, what is left out, damaged entries."""

import json
from dataclasses import replace

import pytest

from logger.checks.board import board_from
from logger.checks.rail import RailState
from logger.checks.table import BY_NAME, CHECKS, all_above
from logger.checks.typed import understand
from logger.errors import NotAllowed
from logger.journal import JournalEntry
from tests.logger.checks.reading import never


class History:
    """A journal made of what happened, one line each."""

    def __init__(self):
        self.entries: list[JournalEntry] = []

    def add(self, kind, **data):
        place = len(self.entries)
        self.entries.append(JournalEntry(f"{place:04d}", f"2026-11-25T10:{place:02d}:00Z", "sam", kind, data))
        return self

    def took(self, *names, verdict="inside", value=0.05, uncertainty=0.01, **more):
        for name in names:
            self.add(
                "taken", check=name, verdict=verdict, value=value, uncertainty=uncertainty, reason="Measured.", **more
            )
        return self

    def board(self, rail=None):
        return board_from(self.entries, rail)


TRUE_RAIL = RailState("inside", "", 0.03, 0.004)
ALL_TYPED = [check.name for check in CHECKS if check.asks]


def finished():
    """Every check that is typed, in the order of work, and the rail swept."""
    names = [check.name for check in CHECKS]
    before = [name for name in ALL_TYPED if names.index(name) < names.index("rail")]
    history = History().took(*before).add("sweep", sweep="0001-across")
    return history.took(*[name for name in ALL_TYPED if name not in before])


def test_an_empty_job_begins_with_the_condition():
    board = History().board()
    assert {row.state for row in board.rows} == {"not measured"}
    assert board.next == "condition"


def test_the_next_one_is_the_first_that_is_not_inside_and_says_why():
    board = History().took("condition").took("base", verdict="outside", value=1.0).took("toe").board()
    assert board.next == "base"
    assert "outside" in board.why
    assert "adjusted=yes" in board.why
    assert "twist" in board.why, "what rests on it"


def test_when_everything_is_inside_nothing_is_next():
    board = finished().board(TRUE_RAIL)
    assert [row.state for row in board.rows] == ["inside"] * len(CHECKS)
    assert board.next is None


def test_a_turned_bolt_makes_rail_and_toe_stale_and_leaves_squareness_alone():
    board = finished().add("turned", turned=[{"bolt": "B2", "raise_mm": 0.1, "uncertainty_mm": 0.01}]).board(TRUE_RAIL)
    stale = {row.check.name for row in board.rows if row.state == "stale"}
    assert stale == {"rail", *all_above("rail")} >= {"straight", "toe", "rip", "scoring", "upright", "outrigger"}
    assert "fence" not in stale
    assert "B2 turned" in board.row("rail").why
    assert "bracket" in board.row("toe").why, "the reason is the geometry, not the rule"
    assert board.next == "rail"


def test_a_sweep_after_the_moves_is_fresh_again_but_toe_waits_to_be_measured():
    history = finished().add("turned", turned=[]).add("sweep", sweep="0002-across")
    board = history.board(TRUE_RAIL)
    assert board.row("rail").state == "inside"
    assert (board.row("toe").state, board.next) == ("stale", "straight")
    assert history.took("straight", "toe", *all_above("rail")).board(TRUE_RAIL).next is None


def test_an_adjustment_makes_its_own_check_stale_and_all_above_it():
    board = finished().add("taken", check="twist", adjusted=True).board(TRUE_RAIL)
    stale = {row.check.name for row in board.rows if row.state == "stale"}
    assert stale == {"twist", "feet", *all_above("twist")}, "and the load on the feet is another"
    assert board.row("twist").why == "Twist was adjusted after it; measure again."


def test_a_rail_that_was_shifted_sideways_is_swept_again_before_its_toe_counts():
    history = finished().add("taken", check="toe", adjusted=True)
    board = history.board(TRUE_RAIL)
    assert {row.check.name for row in board.rows if row.state == "stale"} == {"rail", *all_above("rail")}
    assert board.next == "rail"
    assert "heights were kept" in board.row("rail").why
    assert history.add("sweep", sweep="0002-across").took(*all_above("rail")).board(TRUE_RAIL).next is None


def test_a_measurement_that_differs_shows_that_something_moved():
    board = finished().took("base", value=0.30).board(TRUE_RAIL)
    assert board.row("base").state == "inside"
    assert board.row("twist").state == "stale"
    assert "measured differently" in board.row("twist").why


def test_a_measurement_within_both_uncertainties_moves_nothing():
    assert finished().took("base", value=0.062).board(TRUE_RAIL).next is None


def test_measuring_again_after_an_adjustment_does_not_count_it_twice():
    history = finished().add("taken", check="flange", adjusted=True).took("blade", "toe", "rip")
    history.took("flange", value=0.3)
    assert history.board(TRUE_RAIL).row("blade").state == "inside"


def test_the_rail_is_what_the_sweeps_say():
    unseen = RailState("cannot tell", "Not seen yet: spindle, tilt of the whole rail.", 0.03, 0.004)
    board = finished().board(unseen)
    assert (board.row("rail").state, board.next) == ("cannot tell", "rail")
    assert "spindle" in board.why


def test_a_check_that_is_left_out_is_not_pointed_at_until_it_is_measured_or_taken_up_again():
    history = History().took("condition", "base").add("taken", check="feet", skipped=True)
    board = history.board()
    assert (board.row("feet").skipped, board.next) == (True, "twist")
    assert history.add("taken", check="feet", skipped=False).board().next == "feet"
    assert not History().add("taken", check="feet", skipped=True).took("feet").board().row("feet").skipped
    everything = finished().add("taken", check="scoring", adjusted=True).add("taken", check="scoring", skipped=True)
    done = everything.took("final").board(TRUE_RAIL)
    assert done.next is None
    assert "left out (scoring)" in done.why


def test_leaving_out_is_said_alone():
    check = BY_NAME["feet"]
    assert understand(check, ["skip=yes"], check.allowed, never).skip is True
    with pytest.raises(NotAllowed, match="Say one of both"):
        understand(check, ["skip=yes", "gap=0,0,0,0"], check.allowed, never)


def test_own_limits_stay_with_the_check():
    limits = {"lower": 0.0, "upper": 0.08, "unit": "mm/m", "origin": "maker's manual"}
    board = History().took("toe", allowed=limits, own_limits=True).took("toe", value=0.051).board()
    assert (board.row("toe").allowed.upper, board.row("toe").allowed.origin) == (0.08, "maker's manual")


@pytest.mark.parametrize(
    "damage",
    [
        {"verdict": "fine"},
        {"value": "x"},
        {"value": True},
        {"uncertainty": None},
        {"check": 7},
        {"check": "something else"},
        {"value": float("inf")},
    ],
)
def test_an_entry_that_was_damaged_is_left_out(damage):
    history = History().took("toe")
    entry = history.entries[0]
    history.entries[0] = replace(entry, data={**entry.data, **damage})
    assert history.board().row("toe").state == "not measured"


def test_a_board_can_be_written_as_json():
    for row in finished().board(TRUE_RAIL).rows:
        json.dumps([row.state, row.value, row.uncertainty, row.time, row.why], allow_nan=False)

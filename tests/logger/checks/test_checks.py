"""Facts about the table of checks, what is typed, and the board: order without cycles, cautions, units, staleness.

Wrong-unit cases: an inch is 25.4 mm by definition. Limits marked common practice have no source and claim none.
"""

import json
from dataclasses import replace
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.checks.board import board_from
from logger.checks.evaluate import evaluate, would_decide
from logger.checks.model import COMMON_PRACTICE
from logger.checks.rail import RailState
from logger.checks.table import BY_NAME, CHECKS, all_above, all_below
from logger.checks.typed import understand
from logger.errors import NotAllowed
from logger.journal import JournalEntry
from logger.machines import machine_from_text

MACHINE = machine_from_text(
    resources.files("hardware").joinpath("machines", "kiln-street.yaml").read_text(encoding="utf-8"), "kiln-street"
)


def never(_question):
    return False


def typed(name, text, confirm=never, **settings):
    check = BY_NAME[name]
    return understand(check, text.split(), check.allowed, confirm, **settings)


def result(name, text):
    understood = typed(name, text)
    return evaluate(BY_NAME[name], understood.readings, understood.allowed, MACHINE)


# --- the table -------------------------------------------------------------------------------------------------------


def test_the_order_of_the_table_is_an_order_of_work_so_there_is_no_cycle():
    seen: set[str] = set()
    for check in CHECKS:
        assert {each.check for each in check.rests_on} <= seen, f"{check.name} comes before what it rests on"
        seen.add(check.name)
    assert all(name not in all_below(name) for name in BY_NAME)


def test_condition_comes_first_and_everything_rests_on_it():
    assert CHECKS[0].name == "condition"
    assert set(all_above("condition")) == set(BY_NAME) - {"condition"}


def test_run_out_comes_before_toe_and_every_dependence_gives_its_reason():
    names = [check.name for check in CHECKS]
    assert names.index("flange") < names.index("blade") < names.index("toe")
    for check in CHECKS:
        for each in (*check.rests_on, *check.left_alone_by):
            assert each.check in BY_NAME
            assert each.reason.endswith(".")


def test_what_is_left_alone_is_not_made_stale():
    for check in CHECKS:
        assert not {each.check for each in check.left_alone_by} & set(all_below(check.name)), check.name
    assert "fence" not in all_above("rail"), "height of the rail turns fence and travel together"


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.name)
def test_every_check_has_cautions_steps_and_a_limit_with_its_origin(check):
    assert any("lock out the power" in caution for caution in check.cautions)
    assert check.steps
    assert check.allowed.origin
    assert "ISO" not in check.allowed.origin, "no published limit of these is known"


def test_cautions_stand_where_the_danger_is():
    assert any("jacks" in caution for caution in BY_NAME["base"].cautions)
    assert any("riving knife" in caution for caution in BY_NAME["fence"].cautions)
    assert any("all supports" in caution for caution in BY_NAME["toe"].cautions)


# --- what is typed ---------------------------------------------------------------------------------------------------


def test_bare_numbers_are_in_the_checks_unit_and_others_are_written_out():
    readings = typed("toe", "front=4thou,5thou rear=0.004in,0.005 span=300").readings
    assert readings.numbers["front"] == pytest.approx((0.1016, 0.127))
    assert readings.numbers["rear"] == pytest.approx((0.1016, 0.005))
    assert readings.numbers["span"] == (300.0,)


def test_one_unit_at_the_end_is_that_of_the_whole_list():
    assert typed("toe", "front=4,5thou rear=3,4thou span=300").readings.numbers["front"] == pytest.approx(
        (0.1016, 0.127)
    )


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("front=0.1 rear=0.1 span=12", r"is it 12 in \(304\.8 mm\)"),
        ("front=0.1 rear=0.1 span=0.3", r"is it 0\.3 m \(300 mm\)|is it 0\.3 in"),
        ("front=100 rear=100 span=300", r"is it 100 thou \(2\.54 mm\)"),
        ("front=200000 rear=0.1 span=300", "Check the reading"),
    ],
)
def test_a_wrong_unit_is_suspected_and_nothing_is_taken(text, meant):
    with pytest.raises(NotAllowed, match=meant):
        typed("toe", text)


def test_a_level_in_micrometres_per_metre_is_a_factor_of_a_thousand():
    with pytest.raises(NotAllowed, match=r"is it 150 um/m \(0\.15 mm/m\)"):
        typed("twist", "infeed=0.1 outfeed=150 feet_across=700")


def test_who_is_asked_and_says_yes_has_it_taken_in_the_other_unit():
    asked = []

    def yes(question):
        asked.append(question)
        return True

    assert typed("toe", "front=0.1 rear=0.1 span=12", yes).readings.numbers["span"] == pytest.approx((304.8,))
    assert len(asked) == 1


def test_a_unit_written_out_is_believed_and_its_size_remarked_on():
    readings = typed("toe", "front=0.1 rear=0.1 span=12mm").readings
    assert readings.numbers["span"] == (12.0,)
    assert any("span" in warning for warning in readings.warnings)


def test_who_works_in_inches_writes_the_unit():
    with pytest.raises(NotAllowed, match=r"no unit.*front=0\.004in or front=0\.004mm"):
        typed("toe", "front=0.004 rear=0.003in span=12in", unit_needed=True)


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("toe", "front=0.1", r"still wants rear .*span .*nothing was recorded"),
        ("toe", "frnt=0.1", r"no key 'frnt'; the nearest is 'front'"),
        ("toe", "front=0.1 front=0.2 rear=0 span=300", "given twice"),
        ("toe", "front=nan rear=0 span=300", "'nan' is not a number"),
        ("toe", "front=0.1 rear=0 span=300mm/m", "the unit 'mm/m' does not fit"),
        ("toe", "front", "no key=value"),
        ("fence", "cuts=fiv", "the nearest is 'five'"),
        ("fence", "cuts=five fence=behind", "fence_end .*far_end .*length"),
        (
            "fence",
            "cuts=five fence=behind fence_end=25 far_end=25 length=600 sides=800,600",
            "does not belong to cuts=five",
        ),
        ("base", "along=0,1", "one is allowed"),
        ("toe", "adjusted=yes front=0.1", "Record the adjustment alone"),
        ("toe", "front=0 rear=0 span=300 origin=mine", "Give allowed="),
        ("toe", "front=0 rear=0 span=300 allowed=0.2..0.1", "no limit"),
        ("condition", "clean=perhaps", "Allowed: yes, no"),
    ],
)
def test_what_cannot_be_is_one_sentence_with_what_would_help(name, text, says):
    with pytest.raises(NotAllowed, match=says):
        typed(name, text)


@given(st.text(max_size=40), st.text(max_size=40))
def test_whatever_is_typed_is_understood_or_refused_in_words(key, value):
    for check in CHECKS:
        try:
            understand(
                check, [f"{key}={value}", f"{check.asks[0].key if check.asks else 'x'}={value}"], check.allowed, never
            )
        except NotAllowed as refused:
            assert refused.what


def test_own_limits_keep_their_shape_and_their_origin():
    own = understand(
        BY_NAME["toe"],
        ["front=0", "rear=0", "span=300", "allowed=0.1", "origin=maker's manual"],
        BY_NAME["toe"].allowed,
        never,
    )
    assert (own.allowed.lower, own.allowed.upper, own.allowed.origin) == (0.0, 0.1, "maker's manual")
    assert own.own_limits
    assert (
        typed("fence", "cuts=five fence=behind fence_end=25 far_end=25 length=600 allowed=0.05").allowed.lower == -0.05
    )
    assert typed("toe", "front=0 rear=0 span=300").allowed.origin == COMMON_PRACTICE


# --- results ---------------------------------------------------------------------------------------------------------


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


# --- the board -------------------------------------------------------------------------------------------------------


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

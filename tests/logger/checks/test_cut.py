"""Facts about toe, fences and what turns as they are typed: each way of measuring, its correction, its bad input.

Geometry is worked by hand in each test; limits and practice (a hair of opening, a sixteenth of a turn) are common
practice without a source. The marks' wall: common practice, derived in ``tests/analysis/test_kerf.py``.
"""

import json
from dataclasses import replace
from importlib import resources

import pytest

from logger.checks.board import board_from, known_values
from logger.checks.evaluate import evaluate
from logger.checks.table import BY_NAME
from logger.checks.taking import result_of
from logger.checks.typed import understand
from logger.checks.words import taken_data
from logger.errors import NotAllowed
from logger.journal import JournalEntry
from logger.machines import machine_from_text

MACHINE = machine_from_text(
    resources.files("hardware").joinpath("machines", "kiln-street.yaml").read_text(encoding="utf-8"), "kiln-street"
)


def never(_question):
    return False


def result(name, text, known=None):
    check = BY_NAME[name]
    typed = understand(check, text.split(), check.allowed, never)
    return evaluate(check, replace(typed.readings, known=known or {}), typed.allowed, MACHINE)


def refused(name, text):
    with pytest.raises(NotAllowed) as caught:
        result(name, text)
    return f"{caught.value.what} {caught.value.todo}"


class Job:
    """A journal in memory, taken the way command line and screen take."""

    def __init__(self):
        self.entries = []

    def add(self, kind, **data):
        place = len(self.entries)
        self.entries.append(JournalEntry(f"{place}", f"2026-11-25T10:{place:02d}:00Z", "", kind, data))

    def take(self, name, text, confirm=never):
        check = BY_NAME[name]
        typed = understand(check, text.split(), check.allowed, confirm)
        if typed.adjusted:
            self.add("taken", check=name, adjusted=True, words=dict(typed.readings.words))
            return None
        taking = result_of(check, typed, self.entries, MACHINE, confirm)
        data = json.loads(json.dumps(taken_data(check, taking.typed, taking.result, text.split()), default=vars_of))
        self.add("taken", **data)
        return taking.result

    def row(self, name):
        return board_from(self.entries, None).row(name)


def vars_of(record):
    return {name: getattr(record, name) for name in record.__dataclass_fields__}


# --- feelers ---------------------------------------------------------------------------------------------------------


def test_a_gap_between_two_leaves_is_its_middle_and_as_doubtful_as_it_is_wide():
    readings = understand(
        BY_NAME["rip"], ["by=sheet", "x=0,600", "gap=0.10..0.15,..0.05"], BY_NAME["rip"].allowed, never
    ).readings
    assert readings.numbers["gap"] == pytest.approx((0.125, 0.025))
    assert readings.halves["gap"] == pytest.approx((0.025, 0.025))
    # any gap between the leaves is as likely: half / sqrt(3), GUM 4.3.7
    assert readings.uncertainties("gap", 0.0)[0] == pytest.approx(2 * 0.025 / 3**0.5)


def test_a_leaf_of_two_thou_that_enters_and_one_of_three_that_does_not():
    # common practice, no source: a gap bracketed by a 0.002 in leaf that enters and a 0.003 in that does not
    typed = understand(BY_NAME["rip"], ["by=sheet", "x=0,600", "gap=2..3,2..3thou"], BY_NAME["rip"].allowed, never)
    assert typed.readings.numbers["gap"][0] == pytest.approx(0.0635)
    assert typed.readings.halves["gap"][0] == pytest.approx(0.0127)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("by=sheet x=0,600 gap=0.15..0.10,0.10..0.15", "a leaf of 0.15 mm goes and one of 0.1 does not"),
        ("by=sheet x=0,600 gap=0.10..,0.10..0.15", "no leaf is named that does not"),
        ("x=0..1,600 distance=100,100", "x is no gap"),
    ],
)
def test_feelers_that_contradict_themselves_are_refused(text, says):
    assert says in refused("rip", text)


# --- toe -------------------------------------------------------------------------------------------------------------


def test_marks_away_from_the_guide_are_opening_over_the_blade_and_per_metre():
    found = result("toe", "by=marks wall=away depth=0.024 radius=150 projection=60 swing=0 depth_u=0.004")
    assert found.details["chord_mm"] == pytest.approx(240.0)
    assert found.verdict.value == pytest.approx(0.1)
    assert found.details["over_blade_mm"] == pytest.approx(0.024)
    closing = result("toe", "by=marks wall=guide depth=0.06 radius=150 projection=60 swing=0 depth_u=0.004")
    assert closing.verdict.word == "outside"
    assert any("No cut until it opens" in note for note in closing.notes)


def test_marks_on_both_walls_cannot_tell_whatever_the_numbers():
    found = result("toe", "by=marks wall=both depth=0.05,0.02 radius=150 projection=60")
    assert found.verdict.word == "cannot tell"
    assert any("wobbling blade or dull teeth" in note for note in found.notes)


def test_a_depth_that_belongs_to_no_wall_is_said():
    assert "goes with 1 depths, and 2 are given" in refused(
        "toe", "by=marks wall=away depth=0.02,0.03 radius=150 projection=60"
    )


def test_a_plate_and_a_straightedge_give_the_toe_of_a_blade():
    plate = result("toe", "by=plate front=0.03,-0.03 rear=-0.05,0.01 span=300")
    assert plate.verdict.value == pytest.approx(0.0667, abs=1e-4)  # 0.020 mm over 300
    edge = result("toe", "by=straightedge x=0,400 readings=0.2,0.0 half_round=0.0,0.12")
    assert edge.verdict.value == pytest.approx(0.1)
    assert edge.details["wobble_mm"] == pytest.approx(0.16)


def test_the_rail_is_shifted_about_the_bolt_named_and_slackened_by_a_part_of_its_turn():
    found = result("toe", "front=0.12 rear=0.00 span=240 tight=b1")  # opening by 0.5 mm/m, wanted 0.05
    moves = {each.where: (each.way, each.move_mm) for each in found.corrections}
    assert "rail at B1" not in moves
    assert moves["rail at B6"] == ("toward the table", pytest.approx(0.00045 * 2500))
    assert any("about 1/15 turn" in note for note in found.notes)  # 0.1 mm of a 1.5 mm thread
    assert "The bolts are B1" in refused("toe", "front=0.12 rear=0.00 span=240 tight=B9")


def test_at_full_tilt_the_worse_of_both_is_judged_and_the_axis_shimmed():
    # derived: toe falls from +0.10 to -0.18 mm/m at 45 degrees: the axis climbs by -0.28 / sin 45 = -0.396 mm/m
    found = result(
        "toe", "front=0.024 rear=0 span=240 tilted_front=0 tilted_rear=0.0432 bevel=45 top=carriage trunnions=500"
    )
    assert found.verdict.word == "outside"
    assert found.details["axis_climb_mm_per_m"] == pytest.approx(-0.396, abs=1e-3)
    shim = found.corrections[-1]
    assert (shim.where, shim.way) == ("tilt axis at its outfeed end", "up")
    assert shim.move_mm == pytest.approx(0.198, abs=1e-3)


def test_heights_before_and_after_tell_which_bolt_sank():
    kept = result("toe", "front=0.012 rear=0 span=240 height_before=0.1,0.1,0.1,0.1,0.1,0.1 "
                  "height_after=0.102,0.1,0.1,0.1,0.098,0.1")  # fmt: skip
    assert "The heights were kept at every bolt." in kept.notes
    lost = result("toe", "front=0.012 rear=0 span=240 height_before=0.1,0.1,0.1,0.1,0.1,0.1 "
                  "height_after=0.1,0.1,0.1,0.04,0.1,0.1")  # fmt: skip
    assert lost.details["heights_changed_mm"] == {"B4": pytest.approx(-0.06)}
    assert "one for each bolt" in refused("toe", "front=0 rear=0 span=240 height_before=0.1 height_after=0.1")


# --- rip fence -------------------------------------------------------------------------------------------------------


def test_a_sheet_carries_the_travel_so_toe_and_corner_go_into_value_and_uncertainty():
    text = "by=sheet x=0,600 gap=0.10..0.15,0.25..0.30"
    plain = result("rip", text, {"toe": (0.1, 0.03)})
    assert plain.verdict.value == pytest.approx(0.25 - 0.1)
    assert plain.details["to_sheet_mm_per_m"] == pytest.approx(0.25)
    assert plain.verdict.uncertainty > 0.15
    guessed = result("rip", text)
    assert any("a guess" in note for note in guessed.notes)
    assert guessed.verdict.uncertainty > plain.verdict.uncertainty


def test_distances_to_the_carriage_are_told_from_the_blade_where_the_toe_is_known():
    found = result("rip", "x=0,400 distance=100.00,100.08 to=carriage", {"toe": (0.1, 0.03)})
    assert any("to the blade it is +0.10 mm/m" in note for note in found.notes)


def test_x_that_falls_is_asked_about_and_nothing_is_taken():
    assert "are the ends swapped" in refused("rip", "x=400,0 distance=100,100.04")


def test_the_practice_of_drawing_the_fence_back_is_told_as_practice():
    assert any("no source" in note for note in result("rip", "x=0,400 distance=100,100.04").notes)


# --- cross-cut fence -------------------------------------------------------------------------------------------------


def test_refits_widen_the_verdict_and_say_that_the_seat_comes_first():
    cut = "cuts=five fence_end=25.01 far_end=25.00 length=600 fence=behind"
    steady, worn = result("fence", cut), result("fence", f"{cut} refit=0,0.2,-0.1,0.15 refit_at=800")
    assert steady.verdict.word == "inside"
    assert worn.verdict.word == "cannot tell"
    assert any("seat is what to put right first" in note for note in worn.notes)
    assert "refit_at=" in refused("fence", f"{cut} refit=0,0.1,0.2")


def test_a_panel_too_small_says_how_long_one_must_be():
    found = result("fence", "cuts=over fence_end=140 far_end=140.01 length=150 fence=behind")
    assert found.verdict.word == "cannot tell"
    assert any("too small to decide" in note and "mm between" in note for note in found.notes)


def test_what_it_means_on_the_users_own_panel():
    found = result("fence", "cuts=five fence_end=25.24 far_end=25 length=600 fence=behind panel=2000")
    assert found.details["over_panel_mm"] == pytest.approx(0.2)
    assert found.details["over_panel_uncertainty_mm"] > 0


def test_which_way_the_screw_is_screwed_is_said_where_its_seat_is_known():
    cut = "cuts=five fence_end=25.36 far_end=25 length=300 fence=behind screw=1500 pitch=1"
    assert "Screw it in." in result("fence", f"{cut} screwed_in=outfeed").notes
    assert "Screw it out." in result("fence", f"{cut} screwed_in=infeed").notes


def test_each_position_keeps_its_own_state_and_the_row_shows_the_worst():
    job = Job()
    good, bad = "fence_end=25.00 far_end=25.00", "fence_end=25.36 far_end=25.00"
    job.take("fence", f"cuts=five {good} length=600 fence=front position=front")
    job.take("fence", f"cuts=five {bad} length=300 fence=behind position=rear")
    row = job.row("fence")
    assert row.state == "outside"
    assert row.why.startswith("rear: ")
    job.take("fence", "adjusted=yes position=rear")
    assert job.row("fence").why.startswith("rear: "), "the other position is left alone"
    job.take("fence", f"cuts=five {good} length=300 fence=behind position=rear")
    assert job.row("fence").state == "inside"


# --- ends swapped ----------------------------------------------------------------------------------------------------

CUT = "cuts=five length=300 fence=behind screw=1500 pitch=1"


def test_the_same_size_with_the_other_sign_and_nothing_moved_is_asked_about():
    job = Job()
    job.take("fence", f"{CUT} fence_end=25.36 far_end=25.00")
    with pytest.raises(NotAllowed, match="two ends swapped") as caught:
        job.take("fence", f"{CUT} fence_end=25.00 far_end=25.36")
    assert "ends=swapped" in caught.value.todo
    asked = []

    def yes(question):
        asked.append(question)
        return True

    answered = job.take("fence", f"{CUT} fence_end=25.00 far_end=25.36", yes)
    assert answered.verdict.value == pytest.approx(0.3)
    assert len(asked) == 1
    assert job.take("fence", f"{CUT} fence_end=25.00 far_end=25.36 ends=right").verdict.value == pytest.approx(-0.3)


def test_after_an_adjustment_the_other_sign_is_believed_and_twice_the_error_is_remarked_on():
    job = Job()
    job.take("fence", f"{CUT} fence_end=25.36 far_end=25.00")
    job.take("fence", "adjusted=yes")
    worse = job.take("fence", f"{CUT} fence_end=25.72 far_end=25.00")
    assert any("made it worse" in note for note in worse.notes)
    job.take("fence", "adjusted=yes")
    assert job.take("fence", f"{CUT} fence_end=25.00 far_end=25.01").verdict.word == "inside"


def test_what_another_check_gave_is_known_until_something_moves_under_it():
    job = Job()
    job.take("toe", "front=0.024 rear=0 span=240")
    assert known_values(job.entries)["toe"][0] == pytest.approx(0.1)
    job.add("turned", turned=[{"bolt": "B2", "raise_mm": 0.1, "uncertainty_mm": 0.01}])
    assert "toe" not in known_values(job.entries)


# --- what turns ------------------------------------------------------------------------------------------------------


def test_an_arbor_is_judged_by_a_published_limit_and_a_total_watched_by_eye_will_do():
    # GOST 9335-89 p. 2: radial run-out of the saw arbor's journal 0.03 mm
    assert result("arbor", "readings=0,0.02,0.05,0.02 u=0.002").verdict.word == "outside"
    assert result("arbor", "total=0.01").verdict.word == "inside"
    assert "readings= round one turn" in refused("arbor", "u=0.002")


def test_the_blade_half_round_on_its_flange_tells_whose_swing_it_is():
    # derived: flange 0.03 at 0 degrees stays, blade 0.04 at 90 degrees goes round with it
    found = result("blade", "readings=0.03,0.04,-0.03,-0.04 half_round=0.03,-0.04,-0.03,0.04 u=0.002")
    assert found.details["flange_part_mm"] == pytest.approx(0.03)
    assert found.details["blade_part_mm"] == pytest.approx(0.04)
    assert any("the blade itself by 0.080" in note for note in found.notes)
    assert "diameter=" in refused("blade", "readings=0,0.1,0,0 flange=0,0.01,0,0")
    known = result("blade", "readings=0,0.1,0,0 diameter=300", {"flange": (0.02, 0.004)})
    assert known.details["flange_could_mm"] == pytest.approx(0.06)


def test_a_lean_below_its_uncertainty_names_no_shim():
    found = result("spindle", "readings=0.004,0,-0.004,0 radius=60 u=0.02 feet_apart=300")
    assert found.corrections == ()
    assert any("less than its uncertainty" in note for note in found.notes)


def test_an_outrigger_felt_below_the_carriage_is_an_interval_too():
    found = result("outrigger", "infeed=-0.20..-0.25 outfeed=-0.20..-0.25 u=0.01")
    assert found.details["height_mm"] == pytest.approx(-0.225)
    wide = result("outrigger", "infeed=-0.10..-0.50 outfeed=-0.10..-0.50 u=0.01")
    assert wide.verdict.uncertainty > 2 * found.verdict.uncertainty

"""``board`` and ``take`` as a person meets them, each command a process of its own."""

import json

import pytest

from tests.logger.device import level_lines, sweep_lines
from tests.logger.shell import Shell

CONDITION = ("take", "condition", "clean=yes", "tight=yes", "bare=yes", "free=yes")


@pytest.fixture
def shell(tmp_path):
    return Shell(tmp_path)


def states(answer):
    return {row["check"]: row["state"] for row in answer["checks"]}


def test_the_board_of_a_new_job_says_where_to_begin(shell):
    answer = shell.json("board")
    assert set(states(answer).values()) == {"not measured"}
    assert answer["next"] == "condition"
    text = shell("board").stdout
    assert "next: Condition of the machine" in text
    assert all(len(line) <= 80 for line in text.splitlines() if not line.startswith("next:"))


def test_without_readings_a_check_says_how_it_is_done_cautions_first(shell):
    text = shell("take", "toe").stdout
    assert text.index("lock out the power") < text.index("Mark one tooth")
    assert "common practice, no source" in text
    guide = shell.json("take", "toe")
    assert {"front", "rear", "span"} <= {ask["key"] for ask in guide["asks"]}
    assert not (shell.folder / "journal.jsonl").exists(), "asking records nothing"


def test_readings_become_a_verdict_a_movement_and_a_journal_entry(shell):
    shell.json(*CONDITION)
    answer = shell.json(
        *("take", "fence", "cuts=five", "fence_end=25.36", "far_end=25.00", "length=300", "fence=front"),
        *("screw=1500", "pitch=1"),
    )
    assert answer["verdict"] == "outside"
    assert answer["value_mm_per_m"] == pytest.approx(0.3)
    assert answer["uncertainty_mm_per_m"] > 0
    (move,) = answer["corrections"]
    assert (move["way"], move["move_mm"], move["turns"]) == ("toward infeed", pytest.approx(0.45), pytest.approx(0.45))
    assert any("riving knife" in caution for caution in answer["cautions"])
    last = json.loads((shell.folder / "journal.jsonl").read_text(encoding="utf-8").splitlines()[-1])
    assert (last["kind"], last["data"]["check"], last["data"]["numbers"]["length"]) == ("taken", "fence", [300.0])
    assert states(shell.json("board"))["fence"] == "outside"


def test_which_cut_test_is_worth_the_wood_is_said_and_nothing_recorded(shell):
    answer = shell.json("take", "fence", "cuts=which", "sides=800,700")
    assert (answer["worth_doing"], answer["decides"]) == ("five", True)
    small = shell.json("take", "fence", "cuts=which", "sides=150,140")
    assert small["decides"] is False
    assert "longer panel" in shell("take", "fence", "cuts=which", "sides=150,140").stdout
    assert not (shell.folder / "journal.jsonl").exists()


def test_a_correction_is_never_shown_before_its_cautions(shell):
    text = shell("take", "toe", "front=0.00", "rear=0.12", "span=240").stdout
    assert text.index("lock out the power") < text.index("rail at B1")
    assert "away from the table" in text


def test_an_adjustment_makes_stale_what_rests_on_it(shell):
    shell.json(*CONDITION)
    shell.json("take", "flange", "readings=0,0.002,0.004,0.002", "u=0.002")
    shell.json("take", "blade", "readings=0,0.01,0.02,0.01")
    answer = shell.json("take", "flange", "adjusted=yes")
    assert answer["stale"] == ["blade"]
    after = states(shell.json("board"))
    assert (after["flange"], after["blade"], after["condition"]) == ("stale", "stale", "inside")


def test_out_of_order_is_allowed_and_its_cost_is_said(shell):
    answer = shell.json("take", "toe", "front=0.1", "rear=0.09", "span=240")
    assert any(warning.startswith("rail is not measured") for warning in answer["warnings"])
    assert answer["next"] == "condition"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("take", "tow"), "nearest is 'toe'"),
        (("take", "toe", "spam=300"), "nearest is 'span'"),
        (("take", "toe", "front=0.1"), "still wants rear"),
        (("take", "toe", "front=0.1", "rear=0.1", "span=12"), "is it 12 in (304.8 mm)?"),
        (("take", "rail", "height=0.1"), "it is swept"),
        (("take", "blade", "readings=0,0.1,0"), "at least 4"),
        (("take", "toe", "front=0.1", "rear=0.1", "span=\x1b[2J"), "not a number"),
    ],
)
def test_what_cannot_be_leaves_one_sentence_and_no_entry(shell, arguments, says):
    done = shell(*arguments)
    assert done.returncode == 2
    assert says in done.stderr
    assert "\x1b" not in done.stderr
    assert done.stdout == ""
    assert not (shell.folder / "journal.jsonl").exists()


def test_inches_are_shown_and_have_to_be_written(shell):
    assert "no unit" in shell("take", "toe", "front=0.004", "rear=0.003", "span=10", "--units", "in").stderr
    text = shell("take", "toe", "front=0.004in", "rear=0.003in", "span=10in", "--units", "in").stdout
    assert "thou/ft" in text


def test_one_stand_that_is_inside_does_not_make_the_rail_inside(shell):
    shell.sweep(sweep_lines(lambda s_mm: 0.100 + 0.000004 * (s_mm - 1100.0)))
    row = next(row for row in shell.json("board")["checks"] if row["check"] == "rail")
    assert row["state"] == "cannot tell"
    assert "tilt of the whole rail" in row["why"]


@pytest.mark.parametrize("mapped", [False, True])
def test_the_rail_is_inside_once_every_place_and_the_tilt_have_been_seen_over_a_table_that_is_known(shell, mapped):
    """Two stands 0.35 m apart: 0.008 mm of table under each is 0.08 mm over 2.6 m of stroke."""

    def flat(s_mm):
        return 0.100 + 0.000004 * (s_mm - 1100.0)

    if mapped:
        described = shell.folder / "machine.yaml"
        flat_table = (
            "map: [{y_mm: 150, points: [[700, 0, 0.002], [1000, 0, 0.002], [1100, 0, 0.002], [1500, 0, 0.002]]}]"
        )
        described.write_text(described.read_text(encoding="utf-8").replace("map: []", flat_table), encoding="utf-8")
    shell.sweep(sweep_lines(flat))
    shell.sweep(sweep_lines(flat, seen=lambda s_mm: abs(s_mm - 1450.0) <= 600.0), set_up="spindle")
    shell.sweep(level_lines(lambda s_mm: 0.0), set_up="pitch", instrument="level.yaml", marks=False)
    assert states(shell.json("board"))["rail"] == ("inside" if mapped else "cannot tell")


def test_a_swept_rail_out_of_its_band_is_outside_and_a_turned_bolt_makes_it_stale(shell):
    shell.sweep(sweep_lines(lambda s_mm: 0.080 + 0.080 * ((s_mm - 1100.0) / 600.0) ** 2))
    assert states(shell.json("board"))["rail"] == "outside"
    shell.json("turned", "B2=+0.05mm")
    row = next(row for row in shell.json("board")["checks"] if row["check"] == "rail")
    assert (row["state"], "B2 turned" in row["why"]) == ("stale", True)


def test_old_sweeps_do_not_speak_for_a_table_that_was_untwisted_since(shell):
    shell.sweep(sweep_lines(lambda s_mm: 0.080 + 0.080 * ((s_mm - 1100.0) / 600.0) ** 2))
    shell.json("take", "twist", "adjusted=yes")
    assert states(shell.json("board"))["rail"] == "stale"
    shell.sweep(sweep_lines(lambda s_mm: 0.100 + 0.000004 * (s_mm - 1100.0)))
    assert states(shell.json("board"))["rail"] == "cannot tell", "flat now; the hollow is of before"


def test_a_guide_has_its_drawing_as_rows_and_as_svg(shell):
    guide = shell.json("take", "sag")
    assert any("strut" in row for row in guide["drawing"]["rows"])
    assert guide["drawing"]["svg"].startswith("<svg")
    assert guide["direction"]["indicator"].endswith("the number must grow")
    text = shell("take", "sag").stdout
    assert "from the carriage side" in text
    assert all(line.isascii() for line in text.splitlines()), "a pipe is given plain signs"


def test_nobody_looked_at_the_direction_and_it_is_said_until_somebody_did(shell):
    readings = ("front=0.1", "rear=0.09", "span=240")
    first = shell.json("take", "toe", *readings)
    assert any("direction=yes" in warning for warning in first["warnings"])
    assert shell.json("take", "toe", "direction=yes")["moved_as_said"] is True
    second = shell.json("take", "toe", *readings)
    assert not any("direction=yes" in warning for warning in second["warnings"])
    last = json.loads((shell.folder / "journal.jsonl").read_text(encoding="utf-8").splitlines()[-1])
    assert last["data"]["direction_checked"] is True
    assert "opposite sign" in shell("take", "toe", "direction=no").stderr


def test_the_board_says_what_the_work_would_show_and_an_instrument_that_would_decide(shell):
    shell.json("take", "bevel", "low=0.1", "high=0.1", "height=80", "u=0.2")
    answer = shell.json("take", "bevel", "low=0.1", "high=0.1", "height=80", "u=0.2")
    assert answer["decides"] is False
    assert "0.01 mm" in answer["instrument_that_would"]
    work = {each["check"]: each for each in shell.json("board")["work"]}
    assert work["bevel"]["uncertainty_mm"] > 0
    assert "the work would show" in shell("board").stdout


def test_one_sweep_against_the_accepted_state_says_whether_anything_moved(shell):
    def flat(s_mm):
        return 0.100 + 0.000004 * (s_mm - 1100.0)

    shell.sweep(sweep_lines(flat))
    assert shell.json("take", "final", "state=accept")["verdict"] == "inside"
    shell.sweep(sweep_lines(flat))
    still = shell.json("take", "final", "state=compare")
    assert (still["verdict"], still["compared"][0]["moved"]) == ("inside", False)
    shell.sweep(sweep_lines(lambda s_mm: flat(s_mm) - 0.06 * 2.718 ** -(((s_mm - 900.0) / 350.0) ** 2)))
    moved = shell.json("take", "final", "state=compare")
    assert (moved["verdict"], moved["compared"][0]["moved"]) == ("outside", True)
    assert {cause["cause"] for cause in moved["compared"][0]["causes"]} >= {"B1", "B3", "the indicator's own zero"}

"""The contract of the command line that scripts are written against, over a real socket: every way of saying where
the carriage was, all three kinds of set-up, and what a plan says when there is little or nothing to be done.

Profiles are worked by hand (parabolas and straight lines of the test); nothing expected here comes from our formulas.
"""

import csv
import json
import math

import numpy as np
import pytest

from tests.logger.device import (
    STATIONS,
    Device,
    level_lines,
    over_the_table,
    pushed,
    sweep_lines,
)
from tests.logger.shell import MARKS, Shell


def hollow(s_mm):
    """0.080 mm deep over the 1200 mm that the stand at 1100 sees; its mean there is 0.080 + 0.080/3 mm."""
    return 0.080 + 0.080 * ((s_mm - 1100.0) / 600.0) ** 2


def finite(value):
    """Every number of an answer is a number: no text, no nan in disguise."""
    if isinstance(value, dict):
        return all(finite(each) for each in value.values())
    if isinstance(value, list):
        return all(finite(each) for each in value)
    return not isinstance(value, float) or math.isfinite(value)


@pytest.fixture
def shell(tmp_path):
    return Shell(tmp_path)


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A job with one sweep of the hollow, marks in the lines; the tests that use it change nothing."""
    made = Shell(tmp_path_factory.mktemp("saw"))
    made.sweep(sweep_lines(hollow))
    return made


# --- where the carriage was ------------------------------------------------------------------------------------------


def test_mark_time_and_not_the_line_that_brings_it_says_when_the_key_went_down(shell):
    """The line leaves up to 20 ms after the key; at 300 mm/s that is 6 mm."""
    shell.sweep(sweep_lines(hollow, mark_time=True))
    with (shell.folder / "sweeps" / "0001-across" / "readings.csv").open(newline="", encoding="utf-8") as file:
        marks = [float(row["t_s"]) for row in csv.DictReader(file) if row["note"].startswith("mark")]
    keys = [key for _, _, key in pushed() if key is not None]
    assert len(marks) == len(keys) == 2 * len(STATIONS)
    assert np.diff(marks) == pytest.approx(np.diff(keys), abs=2e-4)


def test_the_position_field_places_the_profile_without_any_mark(shell):
    swept = shell.sweep(sweep_lines(hollow, marks=False, position=True), marks=False)
    assert (swept["position_source"], swept["marks"], swept["passes"]) == ("encoder", 0, 2)
    answer = shell.json("spots")
    x, height = np.array(answer["profile"]["x_mm"]), np.array(answer["profile"]["height_mm"])
    uncertainty = np.array(answer["profile"]["uncertainty_mm"])
    assert x[0] <= 520 and x[-1] >= 1680
    assert np.all(np.abs(height - hollow(x)) <= uncertainty + 0.001)


def test_marks_in_the_line_place_it_within_the_stated_uncertainty(swept):
    profile = swept.json("spots")["profile"]
    x, height = np.array(profile["x_mm"]), np.array(profile["height_mm"])
    assert np.mean(np.abs(height - hollow(x)) <= np.array(profile["uncertainty_mm"])) >= 0.9


def with_mark(lines, at, keep=True):
    """The same lines with one more key, or with one key forgotten."""
    told = lines.split(b"\r\n")
    told[at] = told[at].removesuffix(b",M") + (b",M" if keep else b"")
    return b"\r\n".join(told)


def doubtful():
    whole = sweep_lines(hollow)
    keys = [number for number, line in enumerate(whole.split(b"\r\n")) if line.endswith(b",M")]
    return [
        pytest.param(with_mark(whole, keys[2] + 4), 13, "twice", id="pressed twice"),
        pytest.param(with_mark(whole, (keys[2] + keys[3]) // 2), 13, "left out", id="between two stations"),
        pytest.param(with_mark(whole, keys[2], keep=False), 11, "1000 mm in pass 1 is missing", id="forgotten"),
    ]


@pytest.mark.parametrize(("lines", "marks", "said"), doubtful())
def test_a_doubtful_mark_is_left_out_and_said_and_nothing_is_asked(shell, lines, marks, said):
    swept = shell.sweep(lines)
    assert (swept["marks"], swept["passes"]) == (marks, 2)
    assert any(said in warning for warning in swept["warnings"])
    answer = shell.json("spots")
    x, height = np.array(answer["profile"]["x_mm"]), np.array(answer["profile"]["height_mm"])
    assert np.max(np.abs(height - hollow(x))) < 0.004
    assert any(said in warning for warning in answer["warnings"])


def test_without_marks_or_encoder_positions_are_weak_and_the_words_say_so(shell):
    swept = shell.sweep(sweep_lines(hollow, marks=False), marks=False)
    assert swept["position_source"] == "ends only"
    assert any("weak evidence" in warning for warning in shell.json("spots")["warnings"])


def test_one_pass_may_run_from_outfeed_to_infeed(shell):
    """Stations named from 2600 down: the same saw, pushed the other way first."""
    back = list(reversed(pushed(1)))
    last = back[0][0]
    told = [(last - t, s, key is not None) for t, s, key in back]
    lines = [
        (f"{hollow(s):+.3f}" if abs(s - 1100) <= 600 else "ERR") + f",t{t:.4f}" + (",M" if mark else "") + "\r\n"
        for t, s, mark in told
    ]
    with Device("".join(lines).encode()) as device:
        answer = shell.json(
            *("sweep", "--port", device.url, "--instrument", "bench.yaml", "--set-up", "across", "--passes", "1"),
            *("--marks", ",".join(reversed(MARKS.split(","))), "--until", "closed"),
        )
    assert (answer["marks"], answer["passes"]) == (len(STATIONS), 1)
    low = [spot for spot in shell.json("spots")["spots"] if spot["kind"] == "low"]
    assert low[0]["x_mm"] == pytest.approx(1100, abs=60)


def test_stations_a_little_outside_the_stroke_are_clipped_with_a_note(shell):
    """Up to 5 mm; -3 and 2603 of a stroke from 0 to 2600 are its ends."""
    with Device(sweep_lines(hollow)) as device:
        answer = shell.json(
            *("sweep", "--port", device.url, "--instrument", "bench.yaml", "--set-up", "across", "--passes", "2"),
            *("--marks", "-3,500,1000,1500,2000,2603", "--until", "closed"),
        )
    assert sum("outside the stroke and was taken as" in warning for warning in answer["warnings"]) == 2
    assert answer["marks"] == 12


# --- the three kinds of set-up ---------------------------------------------------------------------------------------


def test_a_carried_indicator_reads_with_the_other_sign_and_the_user_never_does(shell):
    shell.sweep(sweep_lines(lambda s: -hollow(s), seen=over_the_table), set_up="along")
    answer = shell.json("spots")
    x, height = np.array(answer["profile"]["x_mm"]), np.array(answer["profile"]["height_mm"])
    assert np.all(np.abs(height - hollow(x)) < 0.004)
    assert not np.any((x > 770) & (x < 830))  # over the insert nothing is seen, and nothing is made up
    assert {"0 to 450 mm of the stroke", "roll"} <= set(answer["not_seen"])
    moves = shell.json("bolts")["moves"]
    for move in moves:  # the display's own sign
        assert move["reading_now_mm"] < 0 < move["height_now_mm"]
    assert moves[0]["reading_now_mm"] == pytest.approx(-hollow(moves[0]["park_mm"]), abs=0.005)


def test_on_a_mapped_table_heights_are_over_its_plane_and_figures_are_the_displays_own(shell):
    """The surface stands up to 0.1 mm beside its plane: heights know it, the display does not."""
    described = (shell.folder / "machine.yaml").read_text(encoding="utf-8")
    mapped = "map: [{y_mm: 150, points: [[700, 0.1, 0.002], [1500, -0.1, 0.002]]}]"
    assert "map: []" in described
    (shell.folder / "machine.yaml").write_text(described.replace("map: []", mapped), encoding="utf-8")

    def shown(s_mm):
        return -(hollow(s_mm) - float(np.interp(s_mm + 250.0, [700, 1500], [0.1, -0.1])))

    shell.sweep(sweep_lines(shown, seen=over_the_table), set_up="along")
    profile = shell.json("spots")["profile"]
    assert np.all(np.abs(np.array(profile["height_mm"]) - hollow(np.array(profile["x_mm"]))) < 0.006)
    first = shell.json("bolts")["moves"][0]
    assert first["reading_now_mm"] == pytest.approx(shown(first["park_mm"]), abs=0.006)


SPOTS = ("peak_to_valley", "mean")
STRAIGHTNESS = ("STRt", "STRp", "STRv", "STRq", "minimum_zone")


def test_a_levels_keys_end_in_mm_per_m(shell):
    """A slope that rises by 0.3 mm/m over the stroke; the push between the stops (5 mm/m) is no slope."""
    swept = shell.sweep(level_lines(lambda s: 0.1 + 0.3 * s / 2600), set_up="pitch", instrument="level.yaml")
    assert (swept["marks"], swept["passes"]) == (12, 2)
    answer = shell.json("spots")
    assert {f"{key}_mm_per_m" for key in SPOTS} <= set(answer)
    assert {f"{key}_mm_per_m" for key in STRAIGHTNESS} <= set(answer["straightness"])
    assert {"x_mm", "height_mm_per_m", "uncertainty_mm_per_m"} <= set(answer["profile"])
    assert answer["peak_to_valley_mm_per_m"] == pytest.approx(0.3, abs=0.02)
    assert not [key for key in answer if key.endswith("_mm")]

    plan = shell.json("bolts")
    assert "best_possible_peak_to_valley_mm_per_m" in plan
    assert {"peak_to_valley_mm_per_m", "mean_mm_per_m", "chance_inside"} <= set(plan["predicted"])
    assert {"x_mm", "height_mm_per_m", "uncertainty_mm_per_m"} <= set(plan["predicted"]["profile"])
    for move in plan["moves"]:
        keys = {"reading_now_mm_per_m", "reading_target_mm_per_m", "uncertainty_mm_per_m", "raise_mm", "park_mm"}
        assert keys <= set(move)  # a bolt moves in mm whatever the instrument speaks
        assert isinstance(move["park_mm"], float)


def test_an_unknown_zero_leaves_the_mean_out(shell):
    text = (shell.folder / "machine.yaml").read_text()
    changed = text.replace("{kind: fixed, x_mm: 1100, zero_mm: 0.0}", "{kind: fixed, x_mm: 1100, zero_mm: null}")
    assert changed != text
    (shell.folder / "machine.yaml").write_text(changed)
    shell.sweep(sweep_lines(lambda s: 7.0 + hollow(s)))
    answer = shell.json("spots")
    assert answer["mean_mm"] is None
    assert answer["peak_to_valley_mm"] == pytest.approx(0.080, abs=0.003)
    assert shell.json("bolts")["moves"][0]["reading_now_mm"] > 7.0


# --- rounds ----------------------------------------------------------------------------------------------------------


def test_moves_are_in_working_order_and_say_which_way_to_turn(swept):
    plan = swept.json("bolts")
    assert finite(plan)
    assert [move["order"] for move in plan["moves"]] == list(range(1, len(plan["moves"]) + 1))
    assert plan["reachable"] is True and plan["next"] == "turn"
    for move in plan["moves"]:
        assert move["turns"] == pytest.approx(move["raise_mm"] / 1.5, abs=2e-4)  # pitch 1.5 mm
        word = "clockwise" if move["raise_mm"] > 0 else "anticlockwise"  # clockwise raises at Kiln Street
        assert f" {word} from below" in move["turn"]


def test_what_is_inside_is_left_alone(shell):
    shell.sweep(sweep_lines(lambda s: 0.100))
    plan = shell.json("bolts")
    assert (plan["verdict"], plan["next"], plan["moves"], plan["reachable"]) == ("inside", "stop", [], True)


def test_what_no_bolt_can_do_is_said_with_the_best_there_is(shell):
    """A step of 0.3 mm in 200 mm: the rail bridges it however its bolts, 500 mm apart, are turned."""
    shell.sweep(sweep_lines(lambda s: 0.1 + 0.15 * math.sin(2 * math.pi * s / 200)))
    plan = shell.json("bolts")
    assert (plan["reachable"], plan["next"], plan["moves"]) == (False, "stop", [])
    assert plan["best_possible_peak_to_valley_mm"] > 0.2
    assert plan["verdict"] == "outside"


def test_a_verdict_never_changes_the_exit_code(swept):
    for command in ("spots", "bolts"):
        done = swept(command, "--json")
        assert done.returncode == 0
        assert json.loads(done.stdout)["verdict"] == "outside"

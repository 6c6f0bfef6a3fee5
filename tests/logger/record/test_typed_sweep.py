"""Facts about readings that are typed in at stations and become a sweep."""

import json
import subprocess

import pytest

from logger.errors import NotUnderstood
from logger.findings import as_json, find
from logger.recording import open_recording, verify
from tests.logger.shell import COMMAND, ENVIRONMENT, Shell

STATIONS = "550,850,1150,1450,1650"


def typed(folder, text, *more, code=0, set_up="across"):
    Shell(folder)
    done = subprocess.run(
        [*COMMAND, "sweep", "--typed", "--set-up", set_up, "--marks", STATIONS, *more, "--json"],
        cwd=folder, env=ENVIRONMENT, input=text, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == code, done.stderr
    return json.loads(done.stdout) if code == 0 else done.stderr


def judged(folder):
    """What the findings say of the sweep, as ``spots`` prints it."""
    found = find([open_recording(path) for path in sorted((folder / "sweeps").iterdir())])
    return as_json(found)


def test_a_dial_and_a_pencil_give_the_same_findings_as_a_wire(tmp_path):
    """Heights worked by hand: 0.10 everywhere but 0.13 at 1150, so 0.03 peak to valley, high there."""
    there = ["0.10", "0.10", "0.13", "0.10", "0.10"]
    swept = typed(tmp_path, "\n".join([*there, *there[::-1]]) + "\n")
    assert (swept["readings"], swept["marks"], swept["passes"]) == (10, 10, 2)
    assert (swept["position_source"], swept["ended"]) == ("typed", "passes")
    spots = judged(tmp_path)
    assert spots["profile"]["x_mm"] == [550, 850, 1150, 1450, 1650]
    assert spots["profile"]["height_mm"] == pytest.approx([0.10, 0.10, 0.13, 0.10, 0.10], abs=0.002)
    assert spots["position_source"] == "typed"
    assert verify(tmp_path / "sweeps" / "0001-across") == []


def test_a_pair_of_feelers_is_recorded_as_the_interval_it_is(tmp_path):
    typed(tmp_path, "0.10..0.15\n0.10\n0.10\n0.10\n0.10\n", "--passes", "1")
    wire = (tmp_path / "sweeps" / "0001-across" / "wire.csv").read_text()
    assert '"0.10..0.15\\n"' in wire
    profile = judged(tmp_path)["profile"]
    assert profile["height_mm"][0] == pytest.approx(0.125, abs=0.003)
    # anywhere between is as likely: half width over root three (GUM 4.3.7), doubled
    assert profile["uncertainty_mm"][0] >= 2 * 0.025 / 3**0.5 - 1e-6
    assert profile["uncertainty_mm"][0] > 1.3 * profile["uncertainty_mm"][1]


def test_what_is_refused_is_kept_and_said_and_the_station_is_asked_again(tmp_path):
    swept = typed(tmp_path, "ten\n0.1\n25.4 mm m\n0.1\n0.1\n0.1\n0.1\n", "--passes", "1")
    assert (swept["marks"], swept["garbage"], swept["ended"]) == (5, 2, "passes")
    assert sum("was not taken" in warning for warning in swept["warnings"]) == 2
    assert '"ten\\n"' in (tmp_path / "sweeps" / "0001-across" / "wire.csv").read_text()


def test_the_one_before_can_be_typed_again_and_counts_once(tmp_path):
    typed(tmp_path, "0.1\n0.9\n<\n0.1\n0.1\n0.1\n0.1\n", "--passes", "1")
    assert judged(tmp_path)["profile"]["height_mm"] == pytest.approx([0.1] * 5, abs=1e-6)
    assert len(open_recording(tmp_path / "sweeps" / "0001-across").value) == 6, "both are on disk"


def test_a_station_that_cannot_be_read_is_left_out(tmp_path):
    swept = typed(tmp_path, "0.1\n-\n0.1\n0.1\n0.1\n", "--passes", "1")
    assert swept["gaps"] == 1
    assert judged(tmp_path)["profile"]["x_mm"] == [550, 1150, 1450, 1650]


def test_stopping_early_keeps_what_there_is_and_says_how_far_it_came(tmp_path):
    swept = typed(tmp_path, "0.1\n0.1\n0.1\nend\n", "--passes", "1")
    assert swept["ended"] == "operator"
    assert "3 of 5 stations were come to." in judged(tmp_path)["warnings"]


def test_units_are_converted_and_a_lost_point_is_a_slip(tmp_path):
    swept = typed(tmp_path, "4 thou\n0.004 in\n0.1016\n1016\n0.1016 mm\n0.1016\n", "--passes", "1")
    assert swept["garbage"] == 1
    assert judged(tmp_path)["profile"]["height_mm"] == pytest.approx([0.1016] * 5, abs=1e-6)


def test_a_bubble_is_typed_for_a_level_set_up(tmp_path):
    swept = typed(tmp_path, "0.10\n0.12\n0.14\n0.12\n0.10\n", "--passes", "1", set_up="pitch")
    assert swept["readings"] == 5
    assert "height_mm_per_m" in judged(tmp_path)["profile"]


@pytest.mark.parametrize(
    ("more", "words"),
    [(("--port", "P"), "do not go together"), (("--instrument", "indicator-line"), "is not typed")],
)
def test_what_is_not_typed_is_refused(tmp_path, more, words):
    assert words in typed(tmp_path, "", *more, code=2)


def test_two_readings_and_no_more_are_too_few(tmp_path):
    typed(tmp_path, "0.1\n0.1\nend\n", "--passes", "1")
    with pytest.raises(NotUnderstood, match="at least 3"):
        judged(tmp_path)

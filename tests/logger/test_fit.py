"""The carriage's fit as a user meets it: typed, from a sweep, from a recording; and what it stops."""

from __future__ import annotations

import json
import math

import pytest

from logger.checks.evaluate import evaluate
from logger.checks.table import BY_NAME
from logger.checks.typed import understand
from logger.errors import NotAllowed
from logger.machines import machine_from_text
from tests.logger.device import sweep_lines
from tests.logger.shell import MACHINE, Inside

SAW = machine_from_text(MACHINE, "kiln-street")


def result(text, machine=SAW):
    check = BY_NAME["fit"]
    typed = understand(check, text.split(), check.allowed, lambda _question: False)
    return evaluate(check, typed.readings, typed.allowed, machine)


@pytest.fixture
def shell(tmp_path):
    return Inside(tmp_path)


def test_play_of_less_than_a_third_of_the_band_is_inside_and_missing_corners_are_named():
    found = result("infeed_table=+0.124,+0.120 outfeed_table=+0.131,+0.128")
    assert found.verdict.word == "inside"
    assert found.verdict.upper == pytest.approx(SAW.band.peak_to_valley_mm / 3)
    assert any("infeed end, outer side" in note for note in found.notes)


def test_more_play_stops_everything_and_says_why():
    found = result("infeed_table=+0.160,+0.120 outfeed_table=+0.131,+0.128")
    assert found.verdict.word == "outside"
    assert any(note.startswith("Stop here") for note in found.notes)


def test_the_limit_follows_the_band_of_the_machine():
    wide = SAW.model_copy(update={"band": SAW.band.model_copy(update={"peak_to_valley_mm": 0.3})})
    assert result("infeed_table=0.16,0.12 outfeed_table=0.13,0.12", wide).verdict.word == "inside"


def test_a_parked_reading_that_does_not_come_back_is_outside():
    parked = "parked=0.100,0.130,0.090,0.125,0.101,0.140,0.095,0.120,0.088,0.131"
    found = result(f"infeed_table=0.12,0.12 outfeed_table=0.13,0.13 {parked}")
    assert found.verdict.word == "outside" and "parked" in found.verdict.reason
    assert found.details["parked_range_mm"] == pytest.approx(0.052)


def test_readings_that_do_not_pair_are_refused():
    with pytest.raises(NotAllowed, match="they come in pairs"):
        result("infeed_table=0.12,0.12,0.13 outfeed_table=0.13,0.13")


def test_bolts_stop_for_play_and_go_on_once_it_is_gone(shell):
    shell.sweep(sweep_lines(lambda s_mm: 0.080 + 0.080 * ((s_mm - 1100.0) / 600.0) ** 2))
    assert any("take fit" in warning for warning in shell.json("bolts")["warnings"])
    shell.json("take", "fit", "infeed_table=0.16,0.12", "outfeed_table=0.13,0.12")
    plan = shell.json("bolts")
    assert (plan["next"], plan["moves"], plan["verdict"]) == ("stop", [], "outside")
    assert "play" in plan["why"][0] and "0.040" in plan["why"][0]
    shell.json("take", "fit", "infeed_table=0.121,0.12", "outfeed_table=0.121,0.12")
    assert shell.json("bolts")["next"] == "turn"


def test_a_flat_roller_is_found_in_a_sweep(shell):
    period = math.pi * 40.0

    def with_a_flat(s_mm):
        turned = (s_mm % period) / period
        return 0.1 + 0.02 * math.sin(s_mm / 500.0) - 0.02 * math.exp(-0.5 * ((turned - 0.5) / 0.06) ** 2)

    shell.sweep(sweep_lines(with_a_flat, position=True))
    answer = shell.json("fit", "--diameter", "40")
    assert answer["repeats"] and answer["period_mm"] == pytest.approx(period, rel=0.05)
    assert "flat" in shell("fit").stdout
    assert shell("fit", "--diameter", "4000").returncode == 2


def test_a_smooth_sweep_shows_no_turn_of_a_roller(shell):
    shell.sweep(sweep_lines(lambda s_mm: 0.1 + 0.02 * math.sin(s_mm / 500.0), position=True))
    assert not shell.json("fit")["repeats"]


def test_a_parked_reading_that_is_marked_each_time_is_read_from_a_recording(shell):
    lines, t_s = [], 0.0
    for level in (0.120, 0.121, 0.120, 0.122, 0.119, 0.120):
        for step in range(120):
            away = 0.3 if step < 60 else 0.0
            lines.append(f"{level + away:+.3f},t{t_s:.3f}{',M' if step == 95 else ''}\r\n")
            t_s += 0.02
    shell.sweep("".join(lines).encode(), marks=False)
    answer = shell.json("fit", "1", "--parked")
    assert answer["times"] == 6 and answer["range_mm"] == pytest.approx(0.003)
    assert answer["typed"].startswith("parked=0.1200,0.1210")


def test_play_is_read_from_a_recording_of_lifting_and_pressing(shell):
    lines, t_s = [], 0.0
    for level in (0.100, 0.131, 0.100, 0.130, 0.101, 0.131):
        for _ in range(75):
            lines.append(f"{level:+.3f},t{t_s:.3f}\r\n")
            t_s += 0.02
    shell.sweep("".join(lines).encode(), marks=False)
    answer = shell.json("fit", "1", "--place", "infeed_table")
    assert answer["play_mm"] == pytest.approx(0.030, abs=0.002) and answer["verdict"] == "outside"
    done = shell("fit", "1", "--place", "somewhere", "--json")
    assert done.returncode == 2 and "infeed_table" in done.stderr
    assert json.loads(json.dumps(answer)) == answer

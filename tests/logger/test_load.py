"""A known mass through the command line: what is recorded, what is refused, and that the advice uses it."""

from __future__ import annotations

import numpy as np
import pytest

from logger.advising.loading import loads_of, parked_load, parse, stiffness_of, where_to_lay
from logger.errors import NotAllowed
from logger.job import Job
from tests.logger.device import sweep_lines
from tests.logger.shell import Inside


def hollow(s_mm):
    return 0.080 + 0.080 * ((s_mm - 1100.0) / 600.0) ** 2


@pytest.fixture
def shell(tmp_path):
    return Inside(tmp_path)


@pytest.fixture
def job(shell):
    return Job.open(shell.folder)


def test_the_grammar_knows_kilograms_grams_and_pounds_and_the_display_s_unit(job):
    assert parse("20kg@1300:+0.120..+0.112mm", job.machine).mass_kg == 20.0
    assert parse("44lb@1300:0.120..0.112", job.machine).mass_kg == pytest.approx(44 * 0.45359237)
    assert parse("20kg@1300:4.7..4.4thou", job.machine).before == pytest.approx(4.7 * 0.0254)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("20@1300:0.1..0.1", "not understood"),
        ("20kg@1300:0.1", "not understood"),
        ("0.1kg@1300:0.1..0.1", "0.1 kg"),
        ("900kg@1300:0.1..0.1", "900 kg"),
        ("20kg@1300:0.1..0.1furlong", "furlong"),
    ],
)
def test_what_is_no_load_is_named(job, text, said):
    with pytest.raises(NotAllowed, match=said):
        parse(text, job.machine)


@pytest.mark.parametrize(
    ("text", "park", "said"),
    [
        ("20kg@1300:0.120..0.100", 4000.0, "outside the stroke"),
        ("20kg@1300:0.120..0.100", 100.0, "reads nothing"),
        ("20kg@2900:0.120..0.100", 1100.0, "off the carriage's top"),
        ("20kg@1300:0.120..0.170", 1100.0, "the display says"),
        ("20kg@1300:0.120..-4.100", 1100.0, "the display says"),
        ("20kg@1300:0.100..0.200", 1100.0, "the display says"),
    ],
)
def test_what_cannot_be_is_refused_with_the_number(job, text, park, said):
    with pytest.raises(NotAllowed, match=said):
        parked_load(job, [parse(text, job.machine)], park, "across")


def test_a_soft_machine_is_told_from_a_stiff_one(job):
    def stiffness(change):
        laid = [parse(f"20kg@{x}:0.120..{0.120 + change:.3f}", job.machine) for x in (780, 1420)]
        job.append("load", **parked_load(job, laid, 1100.0, "across"))
        loads = loads_of(job)
        for entry in [e for e in job.standing_entries() if e.kind == "load"]:
            job.withdraw(entry, "test")
        return stiffness_of(job, loads).now_kN_per_mm[1]

    assert stiffness(-0.060) < 4.0 < 10.0 < stiffness(-0.004)
    assert loads_of(job) == ()


def test_the_readings_of_very_soft_brackets_and_of_one_that_may_go_either_way_are_taken(job):
    """By weight over stiffness 25 kg, 245 N, sink by 0.08 to 0.16 mm on two brackets of 1.5 kN/mm or on one. At the end
    of what a stand reads, far brackets may lift the top as well.
    """
    soft = parked_load(job, [parse("25kg@1300:0.220..0.120", job.machine)], 1100.0, "across")
    assert soft["readings"][0]["after"] == 0.120
    for after in (0.111, 0.126):
        parked_load(job, [parse(f"25kg@1960:0.120..{after}", job.machine)], 1640.0, "across")
    with pytest.raises(NotAllowed, match="the display says"):
        parked_load(job, [parse("25kg@1100:0.120..0.160", job.machine)], 1100.0, "across")


def test_where_a_mass_tells_most_is_said_for_this_machine(shell, job):
    """By hand: a stand at 1100 mm under a top of 1200 mm reads from 500 to 1700; bearings 320 mm from the middle."""
    where = where_to_lay(job.machine, "across")
    assert [park for park, _ in where] == [520.0, 1100.0, 1680.0]
    assert where[1][1] == (780.0, 1420.0)
    for park, places in where:
        parked_load(job, [parse(f"20kg@{x:g}:0.120..0.115", job.machine) for x in places], park, "across")
    assert shell.json("load")["where"] == []  # nothing was swept, and there are several set-ups
    assert shell.json("load", "--set-up", "across")["where"][0] == {"park_mm": 520.0, "x_mm": [200.0, 840.0]}
    said = shell("load", "--set-up", "across").stdout
    assert "park at 520 mm; the mass at 200 mm and then at 840 mm" in said
    assert max(len(line) for line in said.splitlines() if not line.startswith("Supports")) <= 80


def test_a_damaged_load_is_left_out_and_said(job):
    job.append("load", form="parked", set_up="nowhere", park_mm=1100.0, readings=[])
    job.append("load", form="parked", set_up="across", park_mm="x", readings=[{}])
    said: list[str] = []
    assert loads_of(job, said) == () and len(said) == 1 + 1


def test_a_panel_on_the_carriage_is_compared_with_the_empty_sweep_and_leaves_the_rounds(shell):
    shell.sweep(sweep_lines(hollow))
    assert any("truestroke load" in warning for warning in shell.json("bolts")["warnings"])
    shell.sweep(sweep_lines(lambda s: hollow(s) - 0.020 - 0.00001 * (s - 1100.0)))
    answer = shell.json("load", "--sweep", "2", "--mass", "25")
    assert answer["empty"] == ["0001-across"]
    assert np.mean(answer["moved"]["change_mm"]) == pytest.approx(-0.020, abs=0.002)
    assert answer["peak_to_valley_mm"] == pytest.approx(0.012, abs=0.003)
    before, now = answer["believed_before_kN_per_mm"], answer["support_stiffness_kN_per_mm"]
    assert now["high"] - now["low"] < 0.6 * (before["high"] - before["low"])
    job = Job.open(shell.folder)
    assert job.rounds()[0].sweeps == ("0001-across",), "a loaded sweep is no state of the empty machine"
    assert not any("truestroke load" in warning for warning in shell.json("bolts")["warnings"])
    assert len(job.entries()) == 4, "nothing is rewritten: sweep, sweep, load, withdrawn"


def test_parked_masses_by_the_command_line(shell):
    laid = ("20kg@780:0.120..0.100", "20kg@1420:0.120..0.101")
    answer = shell.json("load", *laid, "--park", "1100", "--set-up", "across")
    assert [row["set_up"] for row in answer["recorded"]] == ["across", "across"]
    assert shell("load", laid[0]).returncode == 2, "where did the carriage stand?"
    known = shell.json("load")
    assert known["loads"] == 2 and any("clamp" in line for line in known["how"])

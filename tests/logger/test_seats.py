"""Feet felt with a leaf, through the command line: what is recorded, what is refused, and that the advice uses it."""

from __future__ import annotations

import re

import numpy as np
import pytest

from fixtures.layouts import LAYOUTS
from fixtures.workshop import draw_machine
from logger import advice
from logger.advising import inputs
from logger.advising.ground import ground_of
from logger.advising.seats import felt_data, felt_of, hung_words, parse_all
from logger.errors import NotAllowed
from logger.job import Job
from tests.benchmarks import workbench
from tests.logger.shell import MACHINE, Inside

NAMES = re.findall(r"\{name: (B\d+),", MACHINE)
EVERY = [f"{name}=..0.05" for name in NAMES]


def felt(job, warnings=None):
    found = felt_of(job, warnings)
    assert found is not None
    return found


def advise(job):
    """A job in memory stands for one in a folder."""
    return advice.advise(job)


@pytest.fixture
def in_memory(monkeypatch):
    monkeypatch.setattr(inputs, "_findings_of", workbench.find_in_memory)


@pytest.fixture
def shell(tmp_path):
    shell = Inside(tmp_path)
    text = MACHINE.replace("kind: screw_and_locknut", "kind: rest_only")
    (shell.folder / "machine.yaml").write_text(text, encoding="utf-8")
    return shell


@pytest.fixture
def job(shell):
    return Job.open(shell.folder)


def test_leaves_in_millimetres_inches_and_thousandths(job):
    found = parse_all([*EVERY[1:], "B1=4..6thou"], job.machine)
    assert found["B1"] == pytest.approx((0.1016, 0.1524)) and found["B2"] == (0.0, 0.05)
    assert parse_all([*EVERY[1:], "B1=0,10..0,15"], job.machine)["B1"] == (0.10, 0.15)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("B1=0.1", "not understood"),
        ("B1=0.15..0.10", "0.15 mm goes and 0.1 mm does not"),
        ("B1=..9", "9 mm does not"),
        ("B1=..0.05furlong", "furlong"),
        ("B99=..0.05", "B99"),
        ("B1=..0.05 B1=..0.10", "named twice"),
    ],
)
def test_what_is_no_foot_is_named(job, text, said):
    with pytest.raises(NotAllowed, match=said):
        parse_all([*EVERY[1:], text], job.machine)


def test_a_foot_left_out_is_not_taken_for_one_that_carries(job):
    with pytest.raises(NotAllowed, match=f"{NAMES[-1]} is missing"):
        parse_all(EVERY[:-1], job.machine)


def test_a_machine_whose_bolts_hold_both_ways_has_no_feet_to_feel(tmp_path):
    whole = Inside(tmp_path)
    answer = whole("seats", *EVERY, "--park", "1100")
    assert answer.returncode == 2 and "only rests" in answer.stderr
    assert "nothing to feel" in whole("seats").stdout


def test_what_was_felt_is_recorded_and_said(shell):
    feet = ["B1=..0.05", "B2=0.10..0.15", *EVERY[2:]]
    assert shell("seats", *feet).returncode == 2, "where did the carriage stand?"
    assert shell("seats", *feet, "--park", "9999").returncode == 2
    answer = shell.json("seats", *feet, "--park", "1100")
    assert [row["bolt"] for row in answer["felt"]["feet"] if row["hangs"]] == ["B2"]
    assert "B2 hangs by 0.10 to 0.15 mm" in shell("seats").stdout
    assert any("lock out" in line for line in shell.json("seats")["how"])


def test_turns_before_are_counted_and_a_damaged_entry_is_said(job):
    job.append("seats", **felt_data(job.machine, parse_all(EVERY, job.machine), 1100.0))
    assert felt(job).turns == 0 and hung_words(felt(job), NAMES) == "Every foot carries."
    job.append("turned", turned=[{"bolt": "B1", "raise_mm": 0.1, "uncertainty_mm": 0.01, "form": "thread"}])
    job.append("seats", **felt_data(job.machine, parse_all(EVERY, job.machine), 1100.0))
    assert felt(job).turns == 1
    job.append("seats", park_mm="x", feet=[{}])
    said: list[str] = []
    assert felt(job, said).turns == 1 and len(said) == 1


@pytest.mark.usefixtures("in_memory")
def test_the_response_of_a_saw_whose_feet_were_felt_is_nearer_the_truth_before_any_turn():
    """Four saws of the simulated workshop: its feet are found by its own physics, and felt every 0.05 mm."""
    wrong: dict[bool, list[float]] = {True: [], False: []}
    for seed in (8022, 8043, 8074, 8029):
        machine = draw_machine(50_000 + seed, LAYOUTS["rests"].key)
        for known in (True, False):
            job = workbench.job_for(machine, 0.05)
            if known:
                workbench.feel(job, machine)
            job.swept([workbench.sweep(machine.copy(), job.machine, "across")])
            ground = ground_of(job, None, ())  # type: ignore[arg-type]
            inside = np.clip(ground.sweeps["across"].s_mm, *machine.stations("across")[[0, -1]])
            believed = ground.situation.response.mean(axis=0)[ground.rows]
            wrong[known].append(float(np.sqrt(np.mean((believed - machine.response("across", inside)) ** 2))))
    assert np.mean(wrong[True]) < 0.7 * np.mean(wrong[False])


@pytest.mark.usefixtures("in_memory")
def test_bolts_asks_for_the_feet_before_the_first_turn_and_no_more_once_they_were_felt():
    machine = draw_machine(58_000, LAYOUTS["rests"].key)
    job = workbench.job_for(machine, 0.05)
    job.swept([workbench.sweep(machine, job.machine, "across")])
    assert any("truestroke seats" in warning for warning in advise(job).warnings)
    workbench.feel(job, machine)
    assert not any("truestroke seats" in warning for warning in advise(job).warnings)

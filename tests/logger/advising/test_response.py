"""What a bolt does to the reading, believed and learned, held to the true response of simulated saws."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fixtures.workshop import draw_machine
from logger import advice
from logger.advising import inputs
from logger.advising.response import responses_of
from logger.errors import NotAllowed
from logger.job import TurnedBolt
from tests.benchmarks.workbench import find_in_memory, job_for, sweep


@pytest.fixture(autouse=True)
def in_memory(monkeypatch):
    monkeypatch.setattr(inputs, "_findings_of", find_in_memory)


def swept(seed):
    machine = draw_machine(seed, "kiln-street")
    job: Any = job_for(machine, 0.05)
    job.swept([sweep(machine, job.machine, "across")])
    return machine, job


def error_of(machine, found):
    """Root mean square of learned less true, over stations and bolts; the truth is the simulator's own."""
    true = machine.response("across", found.x_mm)
    return float(np.sqrt(np.mean((found.learned - true) ** 2))), float(np.sqrt(np.mean((found.believed - true) ** 2)))


def test_before_anything_is_turned_what_is_learned_is_what_is_believed():
    _, job = swept(0)
    found = responses_of(job)
    assert found.turns == 0
    assert found.learned.shape == found.believed.shape == (found.x_mm.size, len(found.bolts))
    assert found.learned == pytest.approx(found.believed, abs=1e-9)
    assert found.unit == "mm"


def test_after_a_round_the_learned_response_is_nearer_the_truth_than_the_believed_one():
    nearer = 0
    for seed in (0, 1, 2):
        machine, job = swept(seed)
        plan = advice.advise(job)
        for move in plan.moves:
            done = machine.turn_until(move.bolt, plan.set_up, move.park_mm, move.reading_target)
            turned = TurnedBolt(
                move.bolt,
                move.raise_mm,
                abs(move.raise_mm),
                "parked",
                move.park_mm,
                done.before,
                done.after,
                plan.set_up,
            )
            job.turned([turned])
        job.swept([sweep(machine, job.machine, "across")])
        found = responses_of(job)
        assert found.turns == len(plan.moves)
        learned, believed = error_of(machine, found)
        nearer += learned < believed
    assert nearer >= 2


def test_the_true_response_lies_within_the_stated_uncertainty_nearly_everywhere():
    machine, job = swept(3)
    found = responses_of(job)
    true = machine.response("across", found.x_mm)
    assert np.mean(np.abs(found.learned - true) <= found.uncertainty + 0.02) > 0.85


def test_without_a_sweep_it_says_what_is_missing():
    job: Any = job_for(draw_machine(0, "kiln-street"), 0.05)
    with pytest.raises(NotAllowed):
        responses_of(job)

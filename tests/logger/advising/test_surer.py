"""A machine at the edge of its band: a turn that makes it surer, a bolt hardly seen, or what would help else."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.chebyshev import Group
from analysis.response import SetUp
from analysis.results import Plan, Verdict
from analysis.situation import Outcome, Situation, Step, loss_of
from fixtures.workshop import draw_machine
from logger import advice
from logger.advising import inputs, surer
from logger.advising.ground import plan
from logger.job import TurnedBolt
from tests.benchmarks.workbench import find_in_memory, job_for, sweep

ROWS = np.arange(3)


def ground_at(value, doubt_mm, least_gain=0.12, kind="carried", mapped=False, hidden_mm=0.0) -> Any:
    """One set-up, three stations, two bolts: the display shows 0.8 of the first and 0.06 of the second."""
    response = np.zeros((50, 3, 2))
    response[:, :, 0] = [0.8, 0.0, -0.4]
    response[:, :, 1] = [0.06, 0.0, 0.06]
    situation = Situation(
        np.asarray(value, float), 1e-8 * np.eye(3), response, (Group("along", ROWS, 0.05),), ROWS,
        np.full(2, -1.2), np.full(2, 1.2), np.full(2, 0.01), least_gain=np.full(2, least_gain),
    )  # fmt: skip
    return SimpleNamespace(
        situation=situation,
        contact=None,
        main="along",
        mapped=mapped,
        sweeps={"along": SimpleNamespace(set_up=SetUp(kind))},
        findings=SimpleNamespace(
            profile=SimpleNamespace(value=situation.value),
            extremes=SimpleNamespace(
                peak_to_valley=float(np.ptp(situation.value)) + hidden_mm, peak_to_valley_uncertainty=doubt_mm
            ),
        ),
    )


def standing(ground):
    value = np.repeat(ground.situation.value[None], 50, axis=0)
    return Outcome((), value, np.zeros((50, 0)), np.ptp(value, axis=1) / 0.05, 0.0)


def test_the_chance_counts_what_every_draw_has_wrong():
    """0.045 mm of 0.050 allowed, +-0.010 (k = 2): one standard deviation inside, 84 in 100 by the normal distribution;
    the draws alone say 100."""
    ground = ground_at([0.1, 0.1, 0.145], 0.010)
    still = standing(ground)
    assert still.chance_inside == 1.0
    assert surer.chance_with_doubt(ground, still) == pytest.approx(0.8413, abs=1e-3)


def test_it_is_planned_in_the_band_the_verdict_leaves_and_a_bolt_hardly_seen_by_little():
    ground = ground_at([0.1, 0.1, 0.145], 0.010)
    assert ground.situation.turnable() == [0]
    inner = surer.guarded(ground, ground.situation)
    assert inner.groups[0].limit == pytest.approx(0.040)
    assert inner.turnable() == [0, 1]
    assert inner.lowest_mm.tolist() == [-1.2, -surer.ONE_STEP_mm]
    assert surer.guarded(ground_at([0.1, 0.1, 0.145], 0.045), ground.situation).groups[0].limit == pytest.approx(0.025)


def test_what_an_unmapped_table_hides_is_kept_free_in_the_band_and_lowers_the_chance():
    """0.040 mm were read of 0.050, a table may hide 0.005 of it, +-0.010 (k = 2): one standard deviation inside."""
    ground = ground_at([0.1, 0.1, 0.140], 0.010, hidden_mm=0.005)
    assert surer.chance_with_doubt(ground, standing(ground)) == pytest.approx(0.8413, abs=1e-3)
    assert surer.guarded(ground, ground.situation).groups[0].limit == pytest.approx(0.035)


def test_a_turn_that_makes_it_surer_is_found_and_its_chance_told_in_the_band_itself():
    ground = ground_at([0.1, 0.1, 0.147], 0.010)
    found = surer.surer(ground, ground.situation, 0.02, standing(ground))
    assert found is not None and found.steps
    assert surer.chance_with_doubt(ground, found) > 0.95 > surer.chance_with_doubt(ground, standing(ground))
    assert np.median(found.ratio) == pytest.approx(np.median(np.ptp(found.value, axis=1) / 0.05))


def test_a_bolt_hardly_seen_is_turned_where_it_makes_a_round_much_surer():
    """By hand: the ends 0.055 under the middle; the first bolt tips them, 0.3 mm of the second raises both by 0.018."""
    ground = ground_at([0.1, 0.155, 0.1], 0.010)
    found = surer.with_hardly_seen(ground, standing(ground), 0.02)
    assert found is not None and 1 in [step.bolt for step in found.steps]
    assert surer.chance_with_doubt(ground, found) > 0.9
    assert surer.with_hardly_seen(ground, found, 0.02) is None, "likely enough as it is"
    every_bolt_seen = ground_at([0.1, 0.155, 0.1], 0.010, least_gain=0.02)
    assert surer.with_hardly_seen(every_bolt_seen, standing(every_bolt_seen), 0.02) is None
    tipped = ground_at([0.2, 0.1, 0.05], 0.010)  # what the first bolt alone can put right
    plain, _ = plan(tipped, tipped.situation, 0.02)
    assert surer.with_hardly_seen(tipped, plain, 0.02) is None


def test_from_far_off_a_bolt_hardly_seen_is_turned_where_it_brings_much_nearer():
    """By hand: the ends 0.2 under the middle; 0.6 mm of the second bolt, all it may, raises both by 0.036: 0.164 left,
    18 in 100 nearer, and no chance of being inside either way. 0.4 under the middle: 9 in 100 are not much.
    """
    ground = ground_at([0.1, 0.3, 0.1], 0.010)
    found = surer.with_hardly_seen(ground, standing(ground), 0.02)
    assert found is not None and [step.bolt for step in found.steps] == [1]
    assert np.median(found.ratio) == pytest.approx(0.164 / 0.05, rel=0.02)
    farther = ground_at([0.1, 0.5, 0.1], 0.010)
    assert surer.with_hardly_seen(farther, standing(farther), 0.02) is None


def test_a_machine_that_is_surely_inside_is_left_alone():
    ground = ground_at([0.1, 0.1, 0.115], 0.010)
    assert surer.surer(ground, ground.situation, 0.02, standing(ground)) is None


def base_of(word):
    verdict = Verdict(word, 0.06, 0.008, None, 0.05, "mm", "")
    return Plan(2, "along", verdict, "stop", "pitch", True, 0.02, 0.01, (), (), None, (), (), ())


def test_words_say_what_else_would_help_and_a_third_sweep_is_not_asked_for():
    machine: Any = SimpleNamespace(bolts=[SimpleNamespace(name="B1"), SimpleNamespace(name="B2")])
    ground = ground_at([0.1, 0.1, 0.147], 0.010)
    first = surer.no_turn_helps(machine, base_of("cannot tell"), ground, True, False)
    assert first.next == "sweep" and first.next_set_up == "along" and "measure again" in first.why[0]
    again = surer.no_turn_helps(machine, base_of("cannot tell"), ground, True, True)
    assert again.next_set_up == "pitch" and "truestroke map" in again.why[0]
    assert (
        "truestroke map"
        not in surer.no_turn_helps(
            machine, base_of("cannot tell"), ground_at([0.1, 0.1, 0.147], 0.01, mapped=True), True, True
        ).why[0]
    )
    outside = surer.no_turn_helps(machine, base_of("outside"), ground, False, True)
    assert outside.next == "sweep" and "hardly sees B2" in outside.why[0]
    seen = ground_at([0.1, 0.1, 0.147], 0.010, least_gain=0.02)
    assert surer.no_turn_helps(machine, base_of("outside"), seen, False, True).next == "stop"


def test_a_saw_swept_again_and_again_at_the_edge_of_its_band_gets_a_turn(monkeypatch):
    """Through the whole chain: the first round leaves it where sweep after sweep would say "cannot tell"."""
    monkeypatch.setattr(inputs, "_findings_of", find_in_memory)
    machine = draw_machine(50_100, "short")
    job: Any = job_for(machine, 0.05)
    truth = []
    for _ in range(2):
        truth.append(machine.truth_peak_to_valley("along"))
        job.swept([sweep(machine, job.machine, "along")])
        plan = advice.advise(job)
        assert plan.next == "turn"
        made = []
        for move in plan.moves:
            assert move.park_mm is not None and move.reading_target is not None
            assert move.raise_at_most_mm is not None
            most = abs(move.raise_at_most_mm)
            done = machine.turn_until(move.bolt, plan.set_up, move.park_mm, move.reading_target, most)
            made.append(
                TurnedBolt(
                    move.bolt, move.raise_mm, abs(move.raise_mm), "parked", move.park_mm, done.before, done.after,
                    plan.set_up,
                )
            )  # fmt: skip
        job.turned(made)
    assert plan.verdict.word == "cannot tell"
    assert machine.truth_peak_to_valley("along") < truth[1] < truth[0]


def test_a_round_that_leads_hardly_anywhere_is_known_for_one():
    """0.080 mm of 0.050 allowed: to 0.078 is next to nothing, to 0.060 is on the way."""
    ground = ground_at([0.1, 0.1, 0.180], 0.010)

    def ending(width):
        value = np.tile([0.1, 0.1, 0.1 + width], (50, 1))
        return Outcome((), value, np.zeros((50, 0)), np.full(50, width / 0.05), 0.0)

    assert surer.hopeless(ground, ending(0.078), standing(ground))
    assert not surer.hopeless(ground, ending(0.060), standing(ground))
    assert not surer.hopeless(ground_at([0.1, 0.1, 0.140], 0.010), ending(0.040), ending(0.040))


def test_swept_again_any_gain_is_better_than_a_third_sweep():
    """A turn that gains three points of a hundred is not worth its risk at once, and is once sweeping says no more."""
    ground = ground_at([0.1, 0.1, 0.1415], 0.010)
    still = standing(ground)
    assert 0.95 < surer.chance_with_doubt(ground, still) < 0.98
    assert surer.surer(ground, ground.situation, 0.02, still) is None
    found = surer.surer(ground, ground.situation, 0.02, still, again=True)
    assert found is not None and found.steps


@pytest.mark.parametrize(("lift_mm", "made"), [(-0.009, True), (-0.013, False)])
def test_stuck_at_the_edge_a_round_is_made_for_what_it_teaches_if_it_hardly_risks_anything(monkeypatch, lift_mm, made):
    """A bolt lowers the far end by 0.3 of its lift or raises it by all of it, nobody knows which: turned by 0.009 mm it
    tells, at worst 0.058 of 0.050 mm allowed, and the next round is sure. By 0.013 it is 0.062 in half the draws.
    """
    ground = ground_at([0.1, 0.1, 0.149], 0.010)
    response = np.zeros((50, 3, 2))
    response[:, :, 0] = np.stack([np.full(50, 0.2), np.zeros(50), np.tile([0.3, -1.0], 25)], axis=1)
    ground.situation = replace(ground.situation, response=response)
    still = standing(ground)
    value = still.value + lift_mm * response[:, :, 0]
    step = Step(0, 0, 0.1 + 0.2 * lift_mm, lift_mm, 0.1)
    turning = Outcome((step,), value, np.full((50, 1), lift_mm), np.ptp(value, axis=1) / 0.04, 1.2)
    unmoved = replace(still, loss=float(loss_of(np.ptp(still.value, axis=1) / 0.04).mean()))
    monkeypatch.setattr(surer, "plan", lambda *_, **__: (turning, unmoved))
    assert surer.surer(ground, ground.situation, 0.02, still, again=True) is None, "no gain of its own"
    taught = surer.surer(ground, ground.situation, 0.02, still, again=True, stuck=True)
    assert (taught is not None) == made

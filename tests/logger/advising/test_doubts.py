"""What is wrong with the world, said from the rounds themselves."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fixtures.workshop import draw_machine
from logger import advice
from logger.advising import inputs
from logger.advising.doubts import lifts_so_far, refuse_roll_on_one_line, thread_words, unmoved_words
from logger.advising.turned import TypedMove
from logger.errors import NotAllowed
from logger.job import Round, TurnedBolt
from logger.machines import machine_from_text
from tests.benchmarks.workbench import find_in_memory, job_for, sweep
from tests.logger.shell import MACHINE

SAW = machine_from_text(MACHINE, "kiln-street")


@pytest.fixture(autouse=True)
def in_memory(monkeypatch):
    monkeypatch.setattr(inputs, "_findings_of", find_in_memory)


def two_rounds(set_up="across", wrong=(), turn=("B2", 0.15), seed=0):
    """Swept, one bolt turned and recorded as it was meant, swept again."""
    machine = draw_machine(seed)
    machine.wrong_sense = frozenset(wrong)
    job: Any = job_for(machine, 0.05)
    job.swept([sweep(machine, job.machine, set_up)])
    machine.turn(turn[0], turn[1], exact=True)
    job.turned([TurnedBolt(turn[0], turn[1], 0.01)])
    job.swept([sweep(machine, job.machine, set_up)])
    return machine, job


def test_a_round_that_made_it_worse_is_named_with_both_figures():
    machine, job = two_rounds(turn=("B3", 0.3))
    assert machine.truth_peak_to_valley("across") > 0.2
    said = [warning for warning in advice.advise(job).warnings if "made it worse" in warning]
    assert len(said) == 1 and "sign" in said[0] and "take a wrong entry back" in said[0]


def test_a_round_that_helped_is_not():
    _, job = two_rounds()
    found = job.kept["across:2"]
    calm = replace(found, extremes=replace(found.extremes, peak_to_valley=0.01))
    job.kept["across:2"] = calm
    assert not any("made it worse" in warning for warning in advice.advise(job).warnings)


def test_a_bolt_that_turns_the_other_way_than_written_is_named():
    _, job = two_rounds(wrong=("B3",), turn=("B3", 0.25))
    said = " ".join(advice.advise(job).warnings)
    assert "B3: the readings went the opposite way" in said and "raises" in said


def test_a_bolt_with_no_effect_is_named():
    machine = draw_machine(0)
    job: Any = job_for(machine, 0.05)
    job.swept([sweep(machine, job.machine, "across")])
    job.turned([TurnedBolt("B3", 0.25, 0.01)])  # written down; the nut was loose and nothing moved
    job.swept([sweep(machine, job.machine, "across")])
    said = " ".join(advice.advise(job).warnings)
    assert "B3: the readings did not follow its turn" in said and "loose nut" in said


def test_an_unmapped_table_under_a_carried_tip_is_offered_to_be_mapped():
    machine = draw_machine(0)
    job: Any = job_for(machine, 0.05)
    job.swept([sweep(machine, job.machine, "along")])
    assert any("truestroke map" in warning for warning in advice.advise(job).warnings)
    mapped: Any = job_for(machine, 0.05, mapped=True)
    mapped.swept([sweep(machine, mapped.machine, "along")])
    assert not any("truestroke map" in warning for warning in advice.advise(mapped).warnings)


@pytest.mark.parametrize(("off_mm_per_m", "zero", "denied"), [(0.0, None, False), (0.4, None, True), (0.4, 0.05, True)])
def test_a_level_that_cannot_have_shown_that_on_the_table_is_named_as_its_display_shows(off_mm_per_m, zero, denied):
    """What the stands say is told to some hundredths; a foot touched by half a millimetre is told from it."""
    machine = draw_machine(0)
    job: Any = job_for(machine, 0.05, mapped=True)
    shown = machine.truth.base_pitch_mm_per_m + off_mm_per_m
    pitch = job.machine.set_up("pitch").model_copy(
        update={"on_table_mm_per_m": shown, "on_table_u_mm_per_m": 0.006, "zero_mm_per_m": zero}
    )
    job.machine = job.machine.model_copy(update={"set_ups": {**job.machine.set_ups, "pitch": pitch}})
    stops = tuple(float(x) for x in np.linspace(20.0, 2580.0, 14))
    job.swept(
        [sweep(machine, job.machine, "pitch", stations_mm=stops)]
        + [sweep(machine, job.machine, name) for name in ("spindle", "across")]
    )
    said = [warning for warning in advice.advise(job).warnings if "on_table_mm_per_m" in warning]
    assert len(said) == denied
    assert not denied or f"{shown:+.3f} is written" in said[0]


def test_roll_is_not_asked_of_bolts_that_all_stand_on_one_line():
    with pytest.raises(NotAllowed, match="All 6 bolts stand on one line"):
        refuse_roll_on_one_line(SAW, "roll")
    refuse_roll_on_one_line(SAW, "pitch")
    beside = machine_from_text(MACHINE.replace("name: B3, x_mm: 1150, y_mm: 0", "name: B3, x_mm: 1150, y_mm: 40"), "m")
    refuse_roll_on_one_line(beside, "roll")


def test_a_bolt_turned_beyond_its_thread_is_said_with_the_sum_of_all_moves():
    line = next(each for each in MACHINE.splitlines() if "name: B2" in each)
    short = machine_from_text(MACHINE.replace(line, line.replace("pitch_mm", "travel_mm: [2, 1], pitch_mm")), "m")
    rounds = [Round(1, ("0001-across",), (TurnedBolt("B2", 0.8, 0.01),))]
    move = TypedMove("B2", 0.5, 0.01, "thread")
    assert "+1.30 mm" in thread_words(short, lifts_so_far(rounds), [move])[0]
    assert thread_words(short, lifts_so_far([]), [move]) == []
    assert thread_words(SAW, lifts_so_far(rounds), [move]) == [], "no thread is known there"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("B9=+0.1mm", "no bolt 'B9'"),
        ("B2=+45mm", "thread has"),
        ("B2=+30turns", "thread has"),
        ("B2@9000:0..0.1", "outside the stroke"),
        ("B2=+0.1mm B2=+0.1mm", "named 2 times"),
    ],
)
def test_a_move_that_cannot_have_been_is_refused_and_the_journal_stays_as_it_was(tmp_path, text, said):
    import argparse

    from logger.commands._findings import turned
    from logger.job import Job

    (tmp_path / "machine.yaml").write_text(MACHINE, encoding="utf-8")
    with pytest.raises(NotAllowed, match=said):
        turned(argparse.Namespace(job=str(tmp_path), moves=text.split(), set_up=None, units="mm"))
    assert Job.open(tmp_path).entries() == []


def test_a_resting_foot_told_by_a_display_that_did_not_move_is_asked_for_its_turn():
    rests = machine_from_text(MACHINE.replace("kind: screw_and_locknut", "kind: rest_only"), "rests")
    still = TurnedBolt("B2", 0.0, 0.01, "parked", 1020.0, 0.260, 0.261, "across")
    assert "B2=-1/4turn@1020:BEFORE..AFTER" in unmoved_words(rests, [still])[0]
    followed, counted = replace(still, after=0.275), replace(still, form="turns", raise_mm=-0.375)
    assert unmoved_words(rests, [followed, counted]) == []
    assert unmoved_words(machine_from_text(MACHINE, "held"), [still]) == []

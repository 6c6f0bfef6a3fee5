"""A bolt from park to lock nut, said for each kind of support; cautions at the step where they matter."""

from __future__ import annotations

from dataclasses import replace

import pytest

from analysis.results import Move
from logger.advising.turn_steps import cautions_for, steps_of
from logger.advising.turn_words import turn_words
from logger.machines import machine_from_text
from tests.logger.shell import MACHINE

SAW = machine_from_text(MACHINE, "kiln-street")


def saw(**bolt):
    third = next(line for line in MACHINE.splitlines() if "name: B3" in line)
    words = ", ".join(f"{key}: {value}" for key, value in bolt.items())
    kept = ["x_mm: 1150", "pitch_mm: 1.5"]
    return machine_from_text(MACHINE.replace(third, f"  - {{name: B3, {', '.join(kept)}, {words}}}"), "changed")


def move(machine=SAW, raise_mm=0.25, **more):
    bolt = machine.bolt("B3")
    turns = raise_mm / bolt.travel_per_turn_mm
    made = Move(
        1, "B3", raise_mm, turns, turns * bolt.flats, turn_words(bolt, raise_mm, 200.0), 1310.0, 0.036, 0.084, 0.036,
        0.084, 0.004, "mm", "across",
    )  # fmt: skip
    return replace(made, **more)


def said(machine=SAW, **more):
    return steps_of(machine, move(machine, **more))


def test_a_screw_and_lock_nut_from_park_to_reading_again():
    park, slack, turn, stop, lock, again = said()
    assert "1310 mm" in park and "+0.036" in park and "clamp" in park
    assert "screw carries" in slack and "nut only locks" in slack
    assert turn == "Turn B3 clockwise, seen from below: 1/6 of a turn, about one flat."
    assert "+0.084" in stop and lock.endswith("tighten the lock nut.")
    assert again.startswith("Read again")


def test_where_to_stop_short_and_how_to_record_it_is_said_in_turns_that_can_be_typed():
    *_, short, _, _ = said(raise_mm=-0.25, raise_at_most_mm=-0.85, turns=-1 / 6, flats=-1.0)
    assert short.startswith("Not there after 7/12 of a turn")
    assert "stop, turn no further" in short and "further from it than before" not in short
    assert "truestroke turned B3=-7/12turn@1310:BEFORE..AFTER" in short


def test_a_foot_that_only_rests_is_turned_one_way_only():
    """Held both ways a bolt follows its display; on a foot that hangs, the other way is another foot's doing."""
    *_, short, _, _ = said(saw(kind="rest_only"), raise_mm=-0.25, raise_at_most_mm=-0.85, turns=-1 / 6, flats=-1.0)
    assert "or 0.030 mm further from it than before: stop" in short


def test_of_two_nuts_on_a_stud_the_lower_carries_and_the_upper_locks():
    machine = saw(kind="stud_two_nuts", raises="anticlockwise", seen_from="above")
    _, slack, turn, _, lock, _ = said(machine)
    assert "under the bracket carries" in slack and "Slack the upper one" in slack
    assert "lower (carrying) nut of B3 anticlockwise, seen from above" in turn
    assert lock == "Hold the lower nut and tighten the upper one."


def test_a_foot_that_only_rests_is_seen_to_follow_when_it_is_lowered():
    machine = saw(kind="rest_only")
    lowered = said(machine, raise_mm=-0.25, turns=-1 / 6, flats=-1.0)
    assert "no leaf of 0.05 mm" in lowered[1] and "anticlockwise" in lowered[2]
    assert "no lock nut" in lowered[4]
    assert "nothing locks it" in said(machine)[1]


def test_a_clamped_foot_has_its_clamp_slacked_too():
    steps = said(saw(kind="clamped"))
    assert "slack the clamp" in steps[1] and "then the clamp" in steps[4]


def test_a_differential_screw_moves_by_the_difference_of_its_pitches():
    machine = saw(counter_pitch_mm="1.25")
    assert machine.bolt("B3").travel_per_turn_mm == pytest.approx(0.25)
    turn = said(machine, raise_mm=0.125, turns=0.5, flats=3.0)[2]
    assert "1/2 of a turn, about 3 flats" in turn and "a whole turn moves it 0.25 mm" in turn


def test_inches_are_said_where_they_are_asked_for():
    assert any("thou" in step for step in steps_of(SAW, move(), "in"))


def test_the_cautions_come_in_one_place_and_name_what_this_round_needs():
    plain = cautions_for(SAW, [move()])
    assert any("lock out" in each for each in plain) and any("Never slack all supports" in each for each in plain)
    assert any("clamp" in each.casefold() and "take it off" in each for each in plain)
    assert any("cable" in each for each in plain) and any("maker's manual" in each for each in plain)
    assert not any("tip the machine" in each for each in plain)
    assert any("tip the machine" in each for each in cautions_for(SAW, [move(park_mm=2590.0)]))


def test_a_stand_that_rides_on_the_carriage_is_not_left_to_its_magnet():
    riding = cautions_for(SAW, [move(set_up="along")])
    assert any("does not hold on aluminium" in each for each in riding)


def test_a_tight_brace_is_propped_loosened_and_swept_before_and_after():
    braced = machine_from_text(MACHINE + "\nbraces:\n  - {name: outfeed strut, x_mm: 1700}\n", "braced")
    tight = " ".join(cautions_for(braced, [move()]))
    assert tight.index("Prop the overhanging rail") < tight.index("loosen outfeed strut")
    assert "sweep again" in tight and "tightening moves the rail" in tight
    loose = machine_from_text(MACHINE + "\nbraces:\n  - {name: strut, x_mm: 1700, tight: false}\n", "loose")
    assert "outfeed strut" not in " ".join(cautions_for(loose, [move()]))

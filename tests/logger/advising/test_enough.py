"""A machine is done when its ends, the other sweeps of its state and the goals between its set-ups say so too."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np

from analysis.chebyshev import Group
from analysis.response import SetUp
from analysis.results import PlaceFinding, Verdict
from analysis.rounds import Round, Sweep, Turn
from logger.advising import enough


def ground_of(value, doubt_mm=0.004, other="inside", goal=(0.0, 0.08)) -> Any:
    """A carried set-up of three stations 50 mm apart, band 0.05 mm, and a goal of 0.1 mm between set-ups."""
    heights = np.asarray(value, float)
    sweep = Sweep(SetUp("carried"), np.array([0.0, 50.0, 100.0]), heights, 1e-8 * np.eye(3))
    groups = (Group("along", np.arange(3), 0.05), Group("the whole stroke", np.array([3, 4]), 0.1))
    return SimpleNamespace(
        main="along",
        sweeps={"along": sweep, "spindle": sweep},
        situation=SimpleNamespace(groups=groups, value=np.concatenate([heights, goal])),
        findings=SimpleNamespace(
            profile=SimpleNamespace(value=heights),
            extremes=SimpleNamespace(peak_to_valley=float(np.ptp(heights)), peak_to_valley_uncertainty=doubt_mm),
        ),
        state=SimpleNamespace(
            rounds=(Round({"along": sweep}),),
            current={"spindle": SimpleNamespace(verdict=SimpleNamespace(word=other))},
        ),
    )


INSIDE = Verdict("inside", 0.040, 0.004, None, 0.05, "mm", "")


def test_inside_stays_inside_where_the_ends_say_so_too():
    assert enough.with_its_ends(INSIDE, ground_of([0.1, 0.14, 0.12])) is INSIDE


def test_the_ends_carried_on_past_the_band_cannot_be_told_inside():
    """The stations of the verdict span 0.040 mm; to the ends of the stretch it is 0.0495 of 0.050 mm."""
    told = enough.with_its_ends(INSIDE, ground_of([0.1, 0.14, 0.1495]))
    assert told.word == "cannot tell" and "Carried on to the ends" in told.reason and "0.050 mm allowed" in told.reason


def test_a_verdict_that_is_not_inside_is_left_as_it_is():
    outside = replace(INSIDE, word="outside")
    assert enough.with_its_ends(outside, ground_of([0.1, 0.14, 0.12])) is outside


def test_another_set_up_outside_keeps_the_machine_from_being_done():
    assert enough.rest_is_fine(ground_of([0.1, 0.1, 0.1]), [])
    assert not enough.rest_is_fine(ground_of([0.1, 0.1, 0.1], other="outside"), [])


def test_a_seen_place_outside_does_and_one_not_seen_does_not():
    seen = PlaceFinding("blade", "outside", 0.07, 0.01, 0.05, True, "")
    assert not enough.rest_is_fine(ground_of([0.1, 0.1, 0.1]), [seen])
    assert enough.rest_is_fine(ground_of([0.1, 0.1, 0.1]), [replace(seen, seen=False)])


def test_a_goal_between_the_set_ups_that_is_nearly_at_its_limit_does():
    assert not enough.rest_is_fine(ground_of([0.1, 0.1, 0.1], goal=(0.0, 0.09)), [])


def test_a_run_over_the_stroke_whose_doubt_may_take_it_out_does():
    """0.083 of 0.1 mm: with half of 0.03 mm it is 0.098, half of 0.04 mm 0.103. One set-up alone has no such goal."""
    run = PlaceFinding("the whole stroke", "cannot tell", 0.083, 0.03, 0.1, True, "")
    ground = ground_of([0.1, 0.1, 0.1])
    assert enough.rest_is_fine(ground, [], run)
    assert not enough.rest_is_fine(ground, [], replace(run, uncertainty=0.04))
    assert enough.rest_is_fine(ground, [], replace(run, peak_to_valley=None, uncertainty=None, seen=False))
    ground.situation.groups = ground.situation.groups[:1]
    assert enough.rest_is_fine(ground, [], replace(run, uncertainty=0.04))


def test_swept_often_enough_one_sweep_is_inside_by_luck_and_is_not_believed():
    """0.047, 0.047 and 0.040 mm of 0.050 +-0.007: their mean, 0.0447, is not inside by the uncertainty."""

    def swept(width):
        return Sweep(
            SetUp("carried"), np.array([0.0, 50.0, 100.0]), np.array([0.1, 0.1 + width, 0.1]), np.zeros((3, 3))
        )

    ground = ground_of([0.1, 0.14, 0.1], 0.007)
    rounds = [Round({"along": swept(width)}) for width in (0.047, 0.047, 0.040)]
    ground.state = SimpleNamespace(rounds=tuple(rounds))
    inside = Verdict("inside", 0.040, 0.007, None, 0.05, "mm", "")
    assert enough.as_the_same_state_said(inside, ground).word == "cannot tell"
    rounds[1] = replace(rounds[1], turns=(Turn(0, 0.1, 0.01),))  # what was swept before a turn is another state's
    ground.state = SimpleNamespace(rounds=tuple(rounds))
    assert enough.as_the_same_state_said(inside, ground) is inside


def test_a_table_hides_as_much_in_every_sweep_of_a_state():
    """Read as 0.042 and 0.036 mm, 0.004 of a table's form hidden in both: 0.043 +-0.006 in the mean, inside; at +-0.008
    not, though without what is hidden it would be."""

    def swept(width):
        return Sweep(
            SetUp("carried"), np.array([0.0, 50.0, 100.0]), np.array([0.1, 0.1 + width, 0.1]), np.zeros((3, 3))
        )

    for doubt_mm, word in ((0.006, "inside"), (0.008, "cannot tell")):
        ground = ground_of([0.1, 0.136, 0.1], doubt_mm)
        ground.findings.extremes.peak_to_valley += 0.004
        ground.state = SimpleNamespace(rounds=tuple(Round({"along": swept(width)}) for width in (0.042, 0.036)))
        inside = Verdict("inside", 0.040, doubt_mm, None, 0.05, "mm", "")
        assert enough.as_the_same_state_said(inside, ground).word == word
